//! One capture from a stream, record by record.

use std::io::Read;
use std::io::Seek;

use crate::units::BitsPerSecond;
use crate::units::CaptureTime;

use super::buffer::Buffer;
use super::buffer::PAGE;
use super::compression;
use super::compression::Source;
use super::damage::DamageList;
use super::error::Error;
use super::frame_check::FrameChecks;
use super::order::ByteOrder;
use super::order::position;
use super::pcap;
use super::pcap::Pcap;
use super::pcapng;
use super::pcapng::Pcapng;
use super::record::CaptureSummary;
use super::record::Compression;
use super::record::FileFormat;
use super::record::Record;
use super::sniff;
use super::tally::Tally;
use super::walk::Frame;
use super::walk::Place;
use super::walk::Step;
use super::walk::Walker;

/// Reads records from a pcap or pcapng capture, plain or packed.
///
/// Records are lent: each stays until the next is asked for. Memory: some 330 KiB, more where a record is
/// longer than 64 KiB (at most 16 MiB longer), plus what the unpacking takes (zstd: up to 128 MiB for a file
/// packed with the largest window).
pub struct Reader<R: Read> {
    source: Source<R>,
    buffer: Buffer,
    walker: Walker,
    compression: Option<Compression>,
    /// The record at hand: what is at the front of the window.
    frame: Option<Frame>,
    tally: Tally,
    checks: FrameChecks,
    damage: DamageList,
    done: bool,
    /// Whether the source is not where the buffer ends.
    is_elsewhere: bool,
}

impl<R: Read> Reader<R> {
    /// Reads as much of `source` as tells its format.
    ///
    /// # Errors
    /// Any [`Error`]: what is no capture is found out here.
    pub fn new(source: R) -> Result<Self, Error> {
        let mut source = Source::plain(source);
        let mut buffer = Buffer::new();
        fill(&mut buffer, &mut source, pcap::HEADER)?;
        let compression = compression::recognise(buffer.window());
        if let Some(packing) = compression {
            let io_error = |source| Error::Io { offset: 0, source };
            source = source.unpack(packing, buffer.window().to_vec()).map_err(io_error)?;
            buffer = Buffer::new();
            fill(&mut buffer, &mut source, pcap::HEADER)?;
            if let (true, Some(reason)) = (buffer.window().is_empty(), source.broken()) {
                return Err(Error::Unpacking { compression: packing, reason: reason.to_owned() });
            }
            if let Some(inner) = compression::recognise(buffer.window()) {
                return Err(Error::PackedTwice { outer: packing, inner });
            }
        }
        let walker = match recognise(buffer.window()) {
            Err(Error::NotACapture { .. }) => {
                // A closer look; that it may fail adds nothing.
                let _ = fill(&mut buffer, &mut source, sniff::LOOK);
                recognise(buffer.window())?
            }
            other => other?,
        };
        if let Walker::Pcap(_) = walker {
            buffer.consume(pcap::HEADER);
        }
        let damage = DamageList::default();
        Ok(Self {
            source,
            buffer,
            walker,
            compression,
            frame: None,
            tally: Tally::default(),
            checks: FrameChecks::default(),
            damage,
            done: false,
            is_elsewhere: false,
        })
    }

    /// The layout that was recognised.
    #[must_use]
    pub fn format(&self) -> FileFormat {
        self.walker.format()
    }

    /// The packing that was recognised.
    #[must_use]
    pub fn compression(&self) -> Option<Compression> {
        self.compression
    }

    /// Octets of the unpacked capture that were walked.
    #[must_use]
    pub fn position(&self) -> u64 {
        self.buffer.offset()
    }

    /// Goes to the next record and lends it; `None` at the end.
    ///
    /// # Errors
    /// [`Error::Io`] where the source fails; what was read before stays counted.
    pub fn next_record(&mut self) -> Result<Option<Record<'_>>, Error> {
        self.advance()?;
        Ok(self.record())
    }

    /// The record at hand, once more.
    #[must_use]
    pub fn record(&self) -> Option<Record<'_>> {
        let frame = self.frame.as_ref()?;
        Some(frame.record(self.tally.packets, self.buffer.window().get(frame.data.clone())?))
    }

    /// Stamp of the record at hand; the outer `None` is no record.
    pub(super) fn time_at_hand(&self) -> Option<Option<CaptureTime>> {
        self.frame.as_ref().map(|frame| frame.time)
    }

    /// What the file held, as far as it was read; `file` is the name to give it.
    #[must_use]
    pub fn finish(mut self, file: &str) -> CaptureSummary {
        self.tally.settle();
        let resolution = self.tally.resolution(|interface| self.walker.resolution(interface));
        CaptureSummary {
            file: file.to_owned(),
            format: self.walker.format(),
            compression: self.compression,
            packets: self.tally.packets,
            octets: self.tally.octets,
            first: self.tally.first,
            last: self.tally.last,
            resolution,
            snapped: self.tally.snapped,
            snapped_to: self.tally.snapped_to,
            time_backsteps: self.tally.time_backsteps,
            undeclared_checks: self.checks.found,
            drops_reported: self.walker.drops_reported(),
            link_speed: self.walker.link_speed().map(BitsPerSecond),
            link_speeds: self.walker.link_speeds().into_iter().map(BitsPerSecond).collect(),
            link_types: self.tally.link_types,
            damage: self.damage.into_list(),
        }
    }

    /// Records counted so far.
    pub(super) const fn packets(&self) -> u64 {
        self.tally.packets
    }

    /// The earliest stamp so far.
    pub(super) const fn first(&self) -> Option<CaptureTime> {
        self.tally.first
    }

    /// Whether there is nothing behind the record at hand, or nothing that can be read.
    pub(super) const fn is_done(&self) -> bool {
        self.done
    }

    /// Where what follows the record at hand begins.
    pub(super) fn behind(&self) -> u64 {
        let taken = self.frame.as_ref().map_or(0, |frame| position(frame.taken));
        self.position().saturating_add(taken)
    }

    /// Gives up the record at hand.
    pub(super) fn pass(&mut self) {
        if let Some(frame) = self.frame.take() {
            self.buffer.consume(frame.taken);
        }
    }

    /// Gives up the record at hand and finds the next.
    pub(super) fn advance(&mut self) -> Result<(), Error> {
        self.advance_before(u64::MAX)
    }

    /// The same, but finds none that begins at `limit` or behind it.
    pub(super) fn advance_before(&mut self, limit: u64) -> Result<(), Error> {
        self.pass();
        while !self.done {
            if self.buffer.offset() >= limit && !self.walker.is_lost() {
                break;
            }
            let place = Place { at: self.buffer.offset(), ended: self.buffer.ended() };
            if place.ended && self.buffer.window().is_empty() {
                self.end(place.at);
                break;
            }
            match self.walker.step(self.buffer.window(), place, &mut self.damage) {
                Step::Frame(mut frame) => {
                    self.tally.count(&frame);
                    let octets = self.buffer.window().get(frame.data.clone()).unwrap_or_default();
                    self.checks.fill_in(&mut frame, octets);
                    self.frame = Some(frame);
                    break;
                }
                Step::Pass(count) => self.buffer.consume(count),
                Step::Need(count) => {
                    fill(&mut self.buffer, &mut self.source, count).inspect_err(|_| self.done = true)?
                }
            }
        }
        Ok(())
    }

    fn end(&mut self, at: u64) {
        self.done = true;
        self.walker.end(at, &mut self.damage);
        if let (Some(packing), Some(reason)) = (self.compression, self.source.broken()) {
            let text = format!(
                "the {packing} data cannot be unpacked further ({reason}); what came out before is read"
            );
            self.damage.add(at, text);
        }
    }
}

impl<R: Read + Seek> Reader<R> {
    /// What walks parts of this capture.
    pub(super) fn walker(&self) -> &Walker {
        &self.walker
    }

    /// What is known of check sequences so far.
    pub(super) fn checks(&self) -> &FrameChecks {
        &self.checks
    }

    /// Goes on behind a part that begins where this stands and that was walked apart.
    pub(super) fn adopt(&mut self, walker: &Walker, tally: &Tally, checks: u64, end: u64) {
        self.walker.adopt(walker);
        self.tally.join(tally);
        self.checks.adopt(checks);
        self.frame = None;
        self.buffer.restart(end);
        self.is_elsewhere = true;
    }

    /// Goes to the next record that begins before `limit`.
    pub(super) fn advance_within(&mut self, limit: u64) -> Result<Option<Record<'_>>, Error> {
        self.go_on()?;
        self.advance_before(limit)?;
        Ok(self.record())
    }

    /// Sees to it that the source is where this stands.
    pub(super) fn go_on(&mut self) -> Result<(), Error> {
        if std::mem::take(&mut self.is_elsewhere) {
            self.go_there().inspect_err(|_| self.done = true)?;
        }
        Ok(())
    }

    /// Moves the source to where this stands. Reads stay at whole pages of the file.
    fn go_there(&mut self) -> Result<(), Error> {
        let to = self.buffer.offset();
        let within = to % position(PAGE);
        let page = to.saturating_sub(within);
        self.source.seek_to(page).map_err(|source| Error::Io { offset: to, source })?;
        self.buffer.restart(page);
        let within = usize::try_from(within).unwrap_or_default();
        fill(&mut self.buffer, &mut self.source, within)?;
        self.buffer.consume(within);
        Ok(())
    }
}

impl<R: Read> std::fmt::Debug for Reader<R> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Reader")
            .field("walker", &self.walker)
            .field("position", &self.position())
            .finish_non_exhaustive()
    }
}

fn fill<R: Read>(buffer: &mut Buffer, source: &mut Source<R>, need: usize) -> Result<(), Error> {
    buffer.fill(source, need).map_err(|source| {
        let held = position(buffer.window().len());
        Error::Io { offset: buffer.offset().saturating_add(held), source }
    })
}

/// The walker for a capture that begins with `first`.
fn recognise(first: &[u8]) -> Result<Walker, Error> {
    if first.is_empty() {
        return Err(Error::Empty);
    }
    if let Some(order) = pcap::recognise(first) {
        return Pcap::new(first, order).map(Walker::Pcap);
    }
    if ByteOrder::Big.u32_at(first, 0) == Some(pcapng::SECTION_HEADER) {
        match pcapng::section_order(first) {
            Some(order) => return Pcapng::new(first, order).map(|walker| Walker::Pcapng(Box::new(walker))),
            None if first.len() < pcapng::SECTION_START => {
                return Err(Error::CutHeader { available: first.len(), needed: pcapng::SECTION_LEAST });
            }
            None => {}
        }
    }
    let head = first.get(..first.len().min(8)).unwrap_or_default();
    Err(Error::NotACapture { looks_like: sniff::looks_like(first), first: head.to_vec() })
}
