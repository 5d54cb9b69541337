//! One thread reads and unpacks, the other analyses.

use std::sync::mpsc;
use std::thread;

use super::reading::Reading;
use crate::capture::Input;
use crate::capture::Joined;
use crate::capture::JoinedSummary;
use crate::capture::LinkType;
use crate::capture::Record;
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

    fn give(&mut self, reading: &mut Reading) {
        let mut octets = self.octets.as_slice();
        for head in self.heads.drain(..) {
            let (own, rest) = octets.split_at_checked(head.length).unwrap_or_default();
            octets = rest;
            let record = Record {
                number: head.number,
                time: head.time,
                link: head.link,
                interface: head.interface,
                original_len: head.original_len,
                fcs_octets: head.fcs_octets,
                octets: own,
            };
            reading.push(head.file, &record);
        }
        self.octets.clear();
    }
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
        while let Ok(mut batch) = to_analyse.recv() {
            batch.give(reading);
            let _ = empty.send(batch);
        }
        reader.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic))
    })
}
