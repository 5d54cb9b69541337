//! Capture files: whichever way the octets come, the same records come out, and they add up.

use std::io;
use std::io::Cursor;
use std::io::Read;
use std::io::Write;

use downbeat::capture::CaptureSummary;
use downbeat::capture::ChunkWalker;
use downbeat::capture::Error;
use downbeat::capture::Input;
use downbeat::capture::Joined;
use downbeat::capture::Lent;
use downbeat::capture::Octets;
use downbeat::capture::Reader;
use downbeat::capture::Record;
use flate2::Compression;
use flate2::write::GzEncoder;

/// The longest record or block that is believed (docs/DESIGN.md).
const LONGEST: usize = 16 << 20;
/// Entries of the list of damage, the one for those left out and one for each kind that repeats (docs/DESIGN.md).
const MOST_DAMAGE: usize = 128;

/// A record, so that two can be compared: number, time, link type, interface, length on the wire, octets.
type Kept = (u64, Option<i64>, u16, u32, u32, Option<u8>, Vec<u8>);

fn kept(record: &Record<'_>, before: u64) -> Kept {
    (
        before + record.number,
        record.time.map(|time| time.0),
        record.link.0,
        record.interface,
        record.original_len,
        record.fcs_octets,
        record.octets.to_vec(),
    )
}

/// Gives a few octets at a time, as a slow pipe does.
struct Trickle<'a>(&'a [u8], usize);

impl Read for Trickle<'_> {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        let count = self.1.min(into.len()).min(self.0.len());
        let (now, later) = self.0.split_at(count);
        into[..count].copy_from_slice(now);
        self.0 = later;
        Ok(count)
    }
}

fn read(source: impl Read) -> Result<(Vec<Kept>, CaptureSummary), Error> {
    let mut reader = Reader::new(source)?;
    let mut records = Vec::new();
    // Memory cannot fail, and a packed file that is broken ends as a damaged one.
    while let Some(record) = reader.next_record().expect("reading from memory") {
        records.push(kept(&record, 0));
    }
    assert!(reader.next_record().expect("the end stays the end").is_none());
    Ok((records, reader.finish("capture")))
}

/// A file: the first octet says how it comes, the rest is its octets.
pub fn capture_files(data: &[u8]) {
    let Some((way, file)) = super::choice(data) else { return };
    let whole = read(file);
    let trickled = read(Trickle(file, usize::from(way % 13) + 1));
    let (records, summary) = match (whole, trickled) {
        (Ok(whole), Ok(trickled)) => {
            // As below.
            let is_plain = whole.1.compression.is_none();
            assert!(whole == trickled || !is_plain, "octets that come slowly give other records");
            whole
        }
        // Of a broken packed file, more may come out where it comes slowly: nothing is unpacked with a fault behind it.
        (Err(Error::Unpacking { .. }), _) => return,
        (Err(whole), Err(trickled)) => {
            assert_eq!(whole.to_string(), trickled.to_string());
            return;
        }
        (whole, trickled) => panic!("{:?} but {:?}", whole.map(|_| ()), trickled.map(|_| ())),
    };
    adds_up(&records, &summary);
    if summary.compression.is_none() {
        let part = 64 + usize::from(way) * 9;
        in_parts(file, part, &records, &summary);
        if way % 16 == 0 {
            packed(file, &records, &summary);
        }
    }
}

fn adds_up(records: &[Kept], summary: &CaptureSummary) {
    assert_eq!(summary.packets, records.len() as u64);
    assert_eq!(summary.octets, records.iter().map(|record| u64::from(record.4)).sum::<u64>());
    assert!(records.iter().zip(1..).all(|(record, number)| record.0 == number), "numbers run from 1");
    assert!(records.iter().all(|record| record.6.len() <= LONGEST));
    let snapped = records.iter().filter(|record| (record.6.len() as u64) < u64::from(record.4)).count();
    assert_eq!(summary.snapped, snapped as u64);
    let times = || records.iter().filter_map(|record| record.1);
    assert_eq!(summary.first.map(|time| time.0), times().min());
    assert_eq!(summary.last.map(|time| time.0), times().max());
    assert!(summary.damage.len() <= MOST_DAMAGE, "{} entries of damage", summary.damage.len());
    assert!(summary.damage.is_sorted_by_key(|damage| damage.offset), "damage by offset");
}

/// The same file cut into parts that are walked apart.
fn in_parts(file: &[u8], part: usize, records: &[Kept], summary: &CaptureSummary) {
    let octets = file.to_vec();
    let input = Input::seekable("capture", move || Ok(Box::new(Cursor::new(octets.clone()))));
    let mut joined = Joined::new(vec![input]);
    let mut together: Vec<Kept> =
        joined.next_record().map(|(_, record)| kept(&record, 0)).into_iter().collect();
    let Some(mut lent) = joined.lend(part) else { return };
    let Lent { chunks, open, .. } = &mut lent;
    let layout = chunks.layout();
    let mut walker = ChunkWalker::new(open().expect("memory"));
    let mut buffer = Octets::default();
    let mut told = chunks.told();
    for index in 0..layout.count() {
        let before = chunks.records();
        let mut own = Vec::new();
        let walked = walker.walk(layout.range(index), &told, &mut buffer, &mut |record: &Record<'_>, _| {
            own.push(kept(record, before))
        });
        if walked.is_some_and(|walked| chunks.take(&walked)) {
            together.append(&mut own);
        }
        chunks.walk_on(layout.range(index).end, |record| together.push(kept(record, 0))).expect("memory");
        if chunks.tells_more(&told) {
            told = chunks.told();
        }
    }
    chunks.walk_on(u64::MAX, |record| together.push(kept(record, 0))).expect("memory");
    assert!(records == together, "parts give other records");
    joined.take_back(lent, None);
    assert!(joined.next_record().is_none(), "what was read to its end goes on");
    assert!(joined.finish().captures.first() == Some(summary), "parts give another summary");
}

/// The same file packed.
fn packed(file: &[u8], records: &[Kept], summary: &CaptureSummary) {
    let mut packer = GzEncoder::new(Vec::new(), Compression::fast());
    packer.write_all(file).expect("memory");
    let packed = packer.finish().expect("memory");
    let (unpacked, packed_summary) = read(&packed[..]).expect("what can be read plain can be read packed");
    assert!(unpacked == records);
    assert_eq!(
        (packed_summary.packets, packed_summary.damage.len()),
        (summary.packets, summary.damage.len())
    );
}
