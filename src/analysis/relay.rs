//! Records that come one by one, analysed in batches: one thread reads and unpacks, the other analyses, or one does both.
//!
//! A batch is looked at as a part of a plain file is, which is quicker than record by record and the same.

use std::sync::mpsc;
use std::thread;

use super::digest::Digest;
use super::reading::Reading;
use super::threads::Threads;
use crate::capture::Joined;
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
        if reading.knows_span() {
            let span = reading.span();
            let mut number = 0_u64;
            self.each(|file, record, at| {
                number += 1;
                digest.of(file, span).take(Record { number, ..record }, at);
            });
            digest.close();
            digest.give_control(|number| self.place(number), reading);
            digest.give_media(|range| self.octets.get(range).unwrap_or_default(), reading.media());
        } else {
            self.each(|file, record, _| reading.push(file, &record));
        }
        self.heads.clear();
        self.octets.clear();
    }

    /// File and number of a record, by its number here.
    fn place(&self, number: u64) -> (u32, u64) {
        let index = usize::try_from(number.saturating_sub(1)).unwrap_or(usize::MAX);
        self.heads.get(index).map_or((0, number), |head| (head.file, head.number))
    }
}

/// Fills `batch` with what comes next. `false` where nothing more comes, or a file can be lent first.
fn fill(batch: &mut Batch, joined: &mut Joined, part: usize) -> bool {
    while !batch.is_full() {
        if joined.lends(part) {
            return false;
        }
        let Some((file, record)) = joined.next_record() else { return false };
        batch.push(file, &record);
    }
    true
}

/// Reads on until all files have ended or one can be lent; whether one can.
pub(super) fn read_until_lent(
    reading: &mut Reading,
    joined: &mut Joined,
    threads: Threads,
    digest: &mut Digest,
) -> bool {
    if threads.count.get() == 1 {
        read_alone(reading, joined, threads.part, digest);
    } else {
        read(reading, joined, threads.part, digest);
    }
    joined.lends(threads.part)
}

/// The same on this thread alone.
fn read_alone(reading: &mut Reading, joined: &mut Joined, part: usize, digest: &mut Digest) {
    let mut batch = Batch::default();
    loop {
        let goes_on = fill(&mut batch, joined, part);
        batch.give(digest, reading);
        if !goes_on {
            break;
        }
    }
}

fn read(reading: &mut Reading, joined: &mut Joined, part: usize, digest: &mut Digest) {
    let (full, to_analyse) = mpsc::sync_channel::<Batch>(AHEAD);
    let (empty, to_fill) = mpsc::channel::<Batch>();
    thread::scope(|scope| {
        scope.spawn(move || {
            loop {
                let mut batch = to_fill.try_recv().unwrap_or_default();
                let goes_on = fill(&mut batch, joined, part);
                // Nobody listens only where the other side has panicked, which ends both.
                let _ = full.send(batch);
                if !goes_on {
                    break;
                }
            }
        });
        while let Ok(mut batch) = to_analyse.recv() {
            batch.give(digest, reading);
            let _ = empty.send(batch);
        }
    });
}
