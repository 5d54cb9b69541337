//! Records that come one by one, analysed in batches: one thread reads and unpacks, the other analyses, or one does both.
//!
//! A batch of one file alone is looked at as a part of a plain file is, which is quicker than record by record and the same.

use std::sync::mpsc;
use std::thread;

use super::digest::Digest;
use super::reading::Reading;
use crate::capture::Input;
use crate::capture::Joined;
use crate::capture::JoinedSummary;
use crate::capture::LinkType;
use crate::capture::Record;
use crate::capture::Taker;
use crate::units::CaptureTime;

/// Octets and records handed over at once (chosen: they stay in the cache on the way).
const OCTETS: usize = 256 << 10;
const RECORDS: usize = 4096;
/// Batches on their way.
const AHEAD: usize = 4;

/// All of a record but its octets.
struct Head {
    file: u32,
    number: u64,
    time: Option<CaptureTime>,
    link: LinkType,
    interface: u32,
    original_len: u32,
    fcs_octets: Option<u8>,
    length: usize,
}

#[derive(Default)]
struct Batch {
    octets: Vec<u8>,
    heads: Vec<Head>,
}

impl Batch {
    fn push(&mut self, file: u32, record: &Record<'_>) {
        self.octets.extend_from_slice(record.octets);
        self.heads.push(Head {
            file,
            number: record.number,
            time: record.time,
            link: record.link,
            interface: record.interface,
            original_len: record.original_len,
            fcs_octets: record.fcs_octets,
            length: record.octets.len(),
        });
    }

    fn is_full(&self) -> bool {
        self.octets.len() >= OCTETS || self.heads.len() >= RECORDS
    }

    /// How many records of the one file come before, where all are of that and stand in a row.
    fn before(&self) -> Option<u64> {
        let before = self.heads.first()?.number.checked_sub(1)?;
        let in_a_row = self
            .heads
            .iter()
            .zip(before..)
            .all(|(head, earlier)| head.number.checked_sub(1) == Some(earlier));
        (in_a_row && self.heads.iter().all(|head| head.file == 0)).then_some(before)
    }

    /// Hands over each record and where in the octets its own are.
    fn each(&self, mut take: impl FnMut(u32, Record<'_>, usize)) {
        let mut at = 0_usize;
        for head in &self.heads {
            let until = at.saturating_add(head.length);
            let record = Record {
                number: head.number,
                time: head.time,
                link: head.link,
                interface: head.interface,
                original_len: head.original_len,
                fcs_octets: head.fcs_octets,
                octets: self.octets.get(at..until).unwrap_or_default(),
            };
            take(head.file, record, at);
            at = until;
        }
    }

    fn give(&mut self, digest: &mut Digest, reading: &mut Reading) {
        match self.before().filter(|_| reading.knows_span()) {
            Some(before) => {
                let digest = digest.of(reading.span());
                self.each(|_, record, at| {
                    digest.take(Record { number: record.number.saturating_sub(before), ..record }, at);
                });
                digest.close();
                digest.give(before, |range| self.octets.get(range).unwrap_or_default(), reading);
            }
            None => self.each(|file, record, _| reading.push(file, &record)),
        }
        self.heads.clear();
        self.octets.clear();
    }
}

/// The same on this thread alone.
pub(super) fn read_alone(reading: &mut Reading, inputs: Vec<Input>) -> JoinedSummary {
    let mut joined = Joined::new(inputs);
    let (mut batch, mut digest) = (Batch::default(), Digest::default());
    while let Some((file, record)) = joined.next_record() {
        batch.push(file, &record);
        if batch.is_full() {
            batch.give(&mut digest, reading);
        }
    }
    batch.give(&mut digest, reading);
    joined.finish()
}

/// Reads all of `inputs` into `reading` and says what the files held.
pub(super) fn read(reading: &mut Reading, inputs: Vec<Input>) -> JoinedSummary {
    let (full, to_analyse) = mpsc::sync_channel::<Batch>(AHEAD);
    let (empty, to_fill) = mpsc::channel::<Batch>();
    thread::scope(|scope| {
        let reader = scope.spawn(move || {
            let mut joined = Joined::new(inputs);
            let mut batch = Batch::default();
            while let Some((file, record)) = joined.next_record() {
                batch.push(file, &record);
                if batch.is_full() {
                    // Nobody listens only where the other side has panicked, which ends both.
                    let _ = full.send(std::mem::take(&mut batch));
                    batch = to_fill.try_recv().unwrap_or_default();
                }
            }
            let _ = full.send(batch);
            joined.finish()
        });
        let mut digest = Digest::default();
        while let Ok(mut batch) = to_analyse.recv() {
            batch.give(&mut digest, reading);
            let _ = empty.send(batch);
        }
        reader.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic))
    })
}
