//! Counts what a file held while it is read.

use crate::units::CaptureTime;
use crate::units::Nanos;

use super::order::position;
use super::order::size;
use super::record::LinkType;
use super::walk::Frame;

/// Counters of one file. Memory: one stamp per interface.
#[derive(Debug, Default)]
pub(super) struct Tally {
    pub(super) packets: u64,
    pub(super) octets: u64,
    pub(super) first: Option<CaptureTime>,
    /// The latest of all.
    pub(super) last: Option<CaptureTime>,
    /// Of the last record that has one.
    pub(super) newest: Option<CaptureTime>,
    pub(super) snapped: u64,
    pub(super) snapped_to: Option<u32>,
    pub(super) time_backsteps: u64,
    pub(super) link_types: Vec<LinkType>,
    /// The first and the latest record's stamp, by interface.
    stamps: Vec<Option<(CaptureTime, CaptureTime)>>,
    /// The latest record, where the next that is like it would be nothing new: its stamp is then not among those yet.
    recent: Option<Recent>,
}

/// A record.
#[derive(Debug, Clone, Copy)]
struct Recent {
    link: LinkType,
    interface: u32,
    time: CaptureTime,
}

impl Tally {
    #[inline]
    pub(super) fn count(&mut self, frame: &Frame) {
        // Neither can run over: a frame is less than 2^32 octets.
        self.packets += 1;
        self.octets += u64::from(frame.original_len);
        // Nearly every frame: whole, and no earlier than the one before on the same interface.
        if let (Some(recent), Some(time)) = (&mut self.recent, frame.time)
            && time >= recent.time
            && frame.interface == recent.interface
            && frame.link == recent.link
            && frame.data.end == frame.data.start + size(frame.original_len)
        {
            recent.time = time;
            return;
        }
        self.look(frame);
    }

    fn look(&mut self, frame: &Frame) {
        self.settle();
        if position(frame.data.len()) < u64::from(frame.original_len) {
            self.snapped = self.snapped.saturating_add(1);
            self.snapped_to = self.snapped_to.max(u32::try_from(frame.data.len()).ok());
        }
        if self.link_types.last() != Some(&frame.link) && !self.link_types.contains(&frame.link) {
            self.link_types.push(frame.link);
        }
        if let Some(time) = frame.time {
            self.stamp(time, size(frame.interface));
            self.newest = Some(time);
            // What comes no earlier than the latest of all is the latest of all.
            let is_latest = self.last == Some(time);
            self.recent = is_latest.then_some(Recent { link: frame.link, interface: frame.interface, time });
        }
    }

    /// Puts the latest record's stamp among the others, before they are looked at.
    pub(super) fn settle(&mut self) {
        let Some(recent) = self.recent.take() else { return };
        self.last = Some(recent.time);
        self.newest = Some(recent.time);
        if let Some(Some((_, before))) = self.stamps.get_mut(size(recent.interface)) {
            *before = recent.time;
        }
    }

    #[inline]
    fn stamp(&mut self, time: CaptureTime, interface: usize) {
        if self.first.is_none_or(|first| time < first) {
            self.first = Some(time);
        }
        if self.last.is_none_or(|last| time > last) {
            self.last = Some(time);
        }
        if self.stamps.len() <= interface {
            self.stamps.resize(interface.saturating_add(1), None);
        }
        if let Some(stamps) = self.stamps.get_mut(interface) {
            let (first, before) = stamps.unwrap_or((time, time));
            if time < before {
                self.time_backsteps = self.time_backsteps.saturating_add(1);
            }
            *stamps = Some((first, time));
        }
    }

    /// Takes in the counts of what follows, which are settled.
    pub(super) fn join(&mut self, right: &Self) {
        self.settle();
        // Named one by one, so that no count to come is forgotten here.
        let Self {
            packets,
            octets,
            first,
            last,
            newest,
            snapped,
            snapped_to,
            time_backsteps,
            link_types,
            stamps,
            recent,
        } = right;
        debug_assert!(recent.is_none(), "what is joined was settled");
        self.packets = self.packets.saturating_add(*packets);
        self.octets = self.octets.saturating_add(*octets);
        self.snapped = self.snapped.saturating_add(*snapped);
        self.snapped_to = self.snapped_to.max(*snapped_to);
        self.time_backsteps = self.time_backsteps.saturating_add(*time_backsteps);
        for link in link_types {
            if !self.link_types.contains(link) {
                self.link_types.push(*link);
            }
        }
        for (interface, stamps) in stamps.iter().enumerate() {
            // Between the two parts as between two records.
            if let Some((first, last)) = stamps {
                self.stamp(*first, interface);
                if let Some(Some((_, before))) = self.stamps.get_mut(interface) {
                    *before = *last;
                }
            }
        }
        self.first = [self.first, *first].into_iter().flatten().min();
        self.last = self.last.max(*last);
        self.newest = newest.or(self.newest);
    }

    /// The coarsest of the interfaces that stamped a record.
    pub(super) fn resolution(&self, of: impl Fn(u32) -> Option<Nanos>) -> Option<Nanos> {
        (0_u32..)
            .zip(&self.stamps)
            .filter(|(_, stamp)| stamp.is_some())
            .filter_map(|(index, _)| of(index))
            .max()
    }
}
