//! How many threads read a capture, and how it is cut for them, shows nowhere in the reports.

use std::io::Cursor;
use std::num::NonZeroUsize;
use std::sync::LazyLock;

use downbeat::analysis;
use downbeat::analysis::Bound;
use downbeat::analysis::Range;
use downbeat::analysis::Reading;
use downbeat::analysis::Settings;
use downbeat::analysis::Threads;
use downbeat::capture::ChunkWalker;
use downbeat::capture::Input;
use downbeat::capture::Joined;
use downbeat::capture::Lent;
use downbeat::capture::Octets;
use downbeat::capture::Record;
use downbeat::units::Nanos;
use proptest::prelude::*;

use crate::support::judged;
use crate::support::judged::captures_in;
use crate::support::judged::in_project;
use crate::traffic;
use crate::traffic::Kind;

/// Threads and octets of the parts: from less than a frame to more than most captures here.
const WAYS: [(usize, usize); 8] =
    [(1, STREAM), (1, 700), (1, 30_000), (2, STREAM), (2, 512), (2, 100_000), (3, 5000), (7, 65_536)];

/// In place of the octets of a part: the file comes as a stream, and is looked at in batches.
const STREAM: usize = 0;

fn said(settings: &Settings, files: &[(&str, &[u8])], threads: usize, part: usize) -> judged::Judged {
    let inputs = files.iter().map(|(name, octets)| {
        let octets = octets.to_vec();
        if part == STREAM {
            Input::reopening(*name, move || Ok(Box::new(Cursor::new(octets.clone()))))
        } else {
            Input::seekable(*name, move || Ok(Box::new(Cursor::new(octets.clone()))))
        }
    });
    let mut reading = Reading::new(settings.clone());
    let threads = Threads { count: NonZeroUsize::new(threads).unwrap(), part };
    let files = analysis::read(&mut reading, inputs.collect(), threads);
    judged::said_of(&reading.finish(files))
}

/// Every record is taken in by itself, as it comes.
fn said_one_by_one(settings: &Settings, files: &[(&str, &[u8])]) -> judged::Judged {
    let inputs = files.iter().map(|(name, octets)| {
        let octets = octets.to_vec();
        Input::reopening(*name, move || Ok(Box::new(Cursor::new(octets.clone()))))
    });
    let mut reading = Reading::new(settings.clone());
    let mut joined = Joined::new(inputs.collect());
    while let Some((file, record)) = joined.next_record() {
        reading.push(file, &record);
    }
    judged::said_of(&reading.finish(joined.finish()))
}

/// Says the first line that differs, not both reports.
fn assert_alike(what: &str, one: &str, other: &str) {
    for (number, (one, other)) in one.lines().zip(other.lines()).enumerate() {
        assert_eq!(other, one, "{what}, line {}", number + 1);
    }
    assert_eq!(other.lines().count(), one.lines().count(), "{what}");
}

fn assert_no_trace_with(settings: &Settings, what: &str, files: &[(&str, &[u8])]) -> judged::Judged {
    let alone = said_one_by_one(settings, files);
    for (threads, part) in WAYS {
        let together = said(settings, files, threads, part);
        let what = format!("{what} on {threads} threads in parts of {part}");
        assert_alike(&what, &alone.json, &together.json);
        assert_alike(&what, &alone.text, &together.text);
    }
    alone
}

fn assert_no_trace(what: &str, octets: &[u8]) -> judged::Judged {
    assert_no_trace_with(&Settings::default(), what, &[("capture", octets)])
}

fn generated(kind: Kind, is_pcapng: bool) -> Vec<u8> {
    let mut file = Vec::new();
    traffic::generate(kind, 400_000, 7, is_pcapng, &mut file).unwrap();
    file
}

static AUDIO: LazyLock<Vec<u8>> = LazyLock::new(|| generated(Kind::Audio, false));
static CONTROL: LazyLock<Vec<u8>> = LazyLock::new(|| generated(Kind::Control, true));

#[test]
fn threads_show_nowhere_in_the_report_of_a_clock_that_is_set_back() {
    assert_no_trace("set back", &crate::set_clock::file_of_a_set_clock());
}

#[test]
fn threads_show_nowhere_in_the_reports_of_the_committed_captures() {
    for folder in ["captures", "captures/lab", "captures/media"] {
        let captures = captures_in(&in_project(folder));
        assert!(!captures.is_empty());
        for (name, octets) in captures {
            assert_no_trace(&name, &octets);
        }
    }
}

#[test]
fn threads_show_nowhere_in_the_reports_of_generated_captures() {
    for kind in [Kind::Video, Kind::Audio, Kind::Control] {
        for is_pcapng in [false, true] {
            let said = assert_no_trace(&format!("{kind:?} {is_pcapng}"), &generated(kind, is_pcapng)).value();
            // The two would agree on nothing as well.
            assert!(said["span"]["ptp_messages"].as_u64().unwrap() > 10);
            assert!(said["streams"].as_array().unwrap().len() >= 12);
        }
    }
}

#[test]
fn a_part_of_the_capture_is_the_same_part_on_every_number_of_threads() {
    for (from, until) in [
        (Some(Bound::FromStart(Nanos(5_000_000))), None),
        (None, Some(Bound::FromStart(Nanos(12_000_000)))),
        (Some(Bound::FromStart(Nanos(3_000_000))), Some(Bound::FromStart(Nanos(9_000_000)))),
    ] {
        let settings = Settings { range: Range { from, until }, ..Settings::default() };
        let said = assert_no_trace_with(&settings, "a span", &[("capture", &AUDIO)]).value();
        assert!(said["span"]["frames"].as_u64().unwrap() > 100);
    }
}

/// A capture whose datagrams carry `inner`, which looks like records wherever one looks.
fn carrying(inner: &[u8]) -> Vec<u8> {
    let mut file = AUDIO[..24].to_vec();
    for (index, piece) in inner.chunks(1400).enumerate() {
        let length = u16::try_from(piece.len()).unwrap();
        let mut frame = vec![1, 0, 0x5e, 20, 0, 99, 2, 0, 0x5e, 0x30, 0, 99, 8, 0, 0x45, 0];
        frame.extend((28 + length).to_be_bytes());
        frame.extend([0, 0, 0x40, 0, 32, 17, 0, 0, 10, 20, 100, 99, 239, 20, 0, 99, 0x13, 0x8c, 0x13, 0x8c]);
        frame.extend((8 + length).to_be_bytes());
        frame.extend([0, 0]);
        frame.extend(piece);
        let captured = u32::try_from(frame.len()).unwrap();
        let nanos = u32::try_from(index).unwrap() * 10_000;
        for word in [1_780_000_000, nanos, captured, captured] {
            file.extend(word.to_le_bytes());
        }
        file.extend(frame);
    }
    file
}

#[test]
fn a_capture_that_holds_a_capture_is_not_taken_for_the_one_it_holds() {
    let file = carrying(&AUDIO);
    let said = assert_no_trace("a capture in a capture", &file).value();
    assert_eq!(said["span"]["frames"], AUDIO.chunks(1400).count());
    assert_no_trace("a capture in a capture in a capture", &carrying(&file));
}

#[test]
fn silence_is_not_taken_for_records() {
    assert_no_trace("zeros", &carrying(&vec![0; 300_000]));
    let mut file = AUDIO.clone();
    file.extend(vec![0; 70_000]);
    assert_no_trace("a file that was given its size before it was written", &file);
}

#[test]
fn a_file_cut_off_anywhere_is_read_alike() {
    for file in [&*AUDIO, &*CONTROL] {
        for cut in [1, 2, 15, 17, 60, 100, 5000] {
            assert_no_trace(&format!("all but {cut}"), &file[..file.len() - cut]);
        }
    }
}

/// Flips, wrong lengths and noise over stretches of the file.
fn damaged(file: &[u8], places: &[(usize, usize, u8)]) -> Vec<u8> {
    let mut file = file.to_vec();
    for (at, length, octet) in places {
        let at = 24 + at % (file.len() - 24);
        for (step, place) in file.iter_mut().skip(at).take(*length).enumerate() {
            *place = octet.wrapping_mul(u8::try_from(step % 251).unwrap()).wrapping_add(*octet);
        }
    }
    file
}

#[test]
fn damage_is_told_alike() {
    for (what, file) in [("pcap", &*AUDIO), ("pcapng", &*CONTROL)] {
        let places = [(100_000, 40, 3), (150_001, 3000, 77), (200_000, 70_000, 5), (390_000, 4, 255)];
        let said = assert_no_trace(what, &damaged(file, &places)).value();
        assert!(!said["captures"][0]["damage"].as_array().unwrap().is_empty());
    }
}

/// Octets of a pcapng block.
fn block(kind: u32, body: &[u8]) -> Vec<u8> {
    let length = u32::try_from(body.len()).unwrap() + 12;
    [&kind.to_le_bytes(), &length.to_le_bytes(), body, &length.to_le_bytes()].concat()
}

/// Where the blocks of a pcapng file begin.
fn blocks(file: &[u8]) -> Vec<usize> {
    let mut at = 0;
    let mut places = Vec::new();
    while at < file.len() {
        places.push(at);
        at += u32::from_le_bytes(file[at + 4..at + 8].try_into().unwrap()) as usize;
    }
    places
}

#[test]
fn what_a_file_tells_on_its_way_holds_from_there_on() {
    let places = blocks(&CONTROL);
    let (one, two) = (places[places.len() / 3], places[places.len() / 2]);
    let (first, middle, last) = (&CONTROL[..one], &CONTROL[one..two], &CONTROL[two..]);
    // One more interface; losses of the first one: 7 so far, then 9; and the file once more, as a section of its own.
    let interface = block(1, &[1, 0, 0, 0, 0, 0, 4, 0, 9, 0, 1, 0, 6, 0, 0, 0, 0, 0, 0, 0]);
    let losses = |count: u8| block(5, &[&[0; 12][..], &[5, 0, 8, 0, count, 0, 0, 0, 0, 0, 0, 0]].concat());
    let file = [first, &losses(7), middle, &interface, &losses(9), last, &CONTROL].concat();
    let said = assert_no_trace("news", &file).value();
    assert_eq!(said["captures"][0]["drops_reported"], 9);
    assert_eq!(said["captures"][0]["packets"].as_u64().unwrap() % 2, 0);
}

#[test]
fn several_files_are_joined_alike() {
    let half = blocks(&CONTROL)[500];
    let head = blocks(&CONTROL)[2];
    let second = [&CONTROL[..head], &CONTROL[half..]].concat();
    let files: [(&str, &[u8]); 3] = [("b", &second), ("a", &CONTROL[..half]), ("audio", &AUDIO)];
    let said = assert_no_trace_with(&Settings::default(), "three files", &files).value();
    assert_eq!(said["captures"].as_array().unwrap().len(), 3);
}

/// The records of the audio capture, each with its header.
fn records() -> Vec<Vec<u8>> {
    let (mut at, mut records) = (24, Vec::new());
    while at < AUDIO.len() {
        let length = u32::from_le_bytes(AUDIO[at + 8..at + 12].try_into().unwrap()) as usize;
        records.push(AUDIO[at..at + 16 + length].to_vec());
        at += 16 + length;
    }
    records
}

fn file_of<'a>(records: impl IntoIterator<Item = &'a Vec<u8>>) -> Vec<u8> {
    AUDIO[..24].iter().chain(records.into_iter().flatten()).copied().collect()
}

/// Later by so many seconds.
fn later(records: &[Vec<u8>], seconds: u32) -> Vec<Vec<u8>> {
    let mut records = records.to_vec();
    for record in &mut records {
        let time = u32::from_le_bytes(record[..4].try_into().unwrap()) + seconds;
        record[..4].copy_from_slice(&time.to_le_bytes());
    }
    records
}

fn assert_ring(what: &str, files: &[Vec<u8>]) -> serde_json::Value {
    let names: Vec<String> = (0..files.len()).map(|number| format!("ring-{number}")).collect();
    let files: Vec<(&str, &[u8])> =
        names.iter().zip(files).rev().map(|(name, file)| (name.as_str(), file.as_slice())).collect();
    assert_no_trace_with(&Settings::default(), what, &files).value()
}

#[test]
fn the_files_of_a_ring_are_read_alike() {
    let records = records();
    let whole = assert_no_trace("whole", &AUDIO).value();
    let ring: Vec<_> = records.chunks(records.len() / 5 + 1).map(file_of).collect();
    let said = assert_ring("a ring", &ring);
    assert_eq!(said["captures"].as_array().unwrap().len(), 5);
    assert_eq!(said["streams"], whole["streams"]);
    assert_eq!(said["gaps"].as_array().unwrap().len(), 0);
    // A hole between two of them.
    let third = records.len() / 3;
    let late = later(&records[third..], 3);
    let said = assert_ring("a hole", &[file_of(&records[..third]), file_of(&late)]);
    assert_eq!(said["gaps"].as_array().unwrap().len(), 1);
    // Each begins before the one before it ends: by three records, by a third.
    for shared in [3, third / 3] {
        let odd = |from: usize, until: usize| {
            let own = records.iter().enumerate().take(until + shared).skip(from.saturating_sub(shared));
            // Where two overlap, each has every second record.
            file_of(
                own.filter(|(at, _)| {
                    let is_shared = *at < from + shared && from > 0 || *at >= until - shared;
                    !is_shared || (at % 2 == 0) == (from == third)
                })
                .map(|(_, record)| record),
            )
        };
        let files = [odd(0, third), odd(third, 2 * third), odd(2 * third, records.len())];
        assert_ring(&format!("shared {shared}"), &files);
    }
    // One whose last record was stamped far ahead, and one that is damaged.
    let mut ahead = records[..third].to_vec();
    ahead[third - 2] = later(&ahead[third - 2..third - 1], 1000).remove(0);
    let rest = file_of(&records[third..]);
    assert_ring("ahead", &[file_of(&ahead), rest.clone()]);
    let damage = [(rest.len() / 2, 300, 9)];
    assert_ring(
        "damaged",
        &[file_of(&records[..third]), damaged(&rest, &damage), file_of(&later(&records, 1))],
    );
}

#[test]
fn files_of_one_time_are_read_alike() {
    let records = records();
    let every = |step: usize, of: usize| file_of(records.iter().skip(step).step_by(of));
    let files = [every(0, 3), every(1, 3), every(2, 3)];
    let said = assert_ring("thirds", &files);
    let whole = assert_no_trace("whole", &AUDIO).value();
    assert_eq!(said["span"]["frames"], whole["span"]["frames"]);
    // One of them ends early, so that the other goes on alone, with problems told of each by its own name.
    let mut cut = records.clone();
    for record in cut.iter_mut().skip(5).step_by(7) {
        // No IPv4 header is so short.
        record[16 + 14] = 0x41;
    }
    let early = file_of(records.iter().step_by(2).take(records.len() / 6));
    let said = assert_ring("early", &[early, file_of(cut.iter().skip(1).step_by(2))]);
    assert!(said["captures"].as_array().unwrap().iter().any(|capture| capture["undecodable"] != 0));
}

#[test]
fn a_file_of_several_that_fails_on_its_way_is_told_alike() {
    let records = records();
    let half = records.len() / 2;
    let (first, second) = (file_of(&records[..half]), file_of(&records[half..]));
    let read = |(threads, part): (usize, usize)| {
        let failing = first.clone();
        let open = move || Ok(Box::new(Failing(Cursor::new(failing.clone()), 120_000)) as Box<_>);
        let second = second.clone();
        let inputs = vec![
            Input::seekable("fails", open),
            Input::seekable("goes on", move || Ok(Box::new(Cursor::new(second.clone())))),
        ];
        let mut reading = Reading::new(Settings::default());
        let threads = Threads { count: NonZeroUsize::new(threads).unwrap(), part };
        let files = analysis::read(&mut reading, inputs, threads);
        assert_eq!(files.unreadable.len(), 1);
        let analysis = reading.finish(files);
        (judged::said_of(&analysis).json, analysis.unreadable)
    };
    let alone = read((1, 10_000_000));
    for way in WAYS.into_iter().filter(|(_, part)| *part != STREAM) {
        let together = read(way);
        assert_alike("a failing file", &alone.0, &together.0);
        assert_eq!(alone.1, together.1);
    }
}

/// A file that fails when it is read from `fails_at` on.
struct Failing(Cursor<Vec<u8>>, u64);

impl std::io::Read for Failing {
    fn read(&mut self, into: &mut [u8]) -> std::io::Result<usize> {
        if self.0.position() >= self.1 {
            return Err(std::io::Error::other("the disk is gone"));
        }
        let room = usize::try_from(self.1 - self.0.position()).unwrap().min(into.len());
        self.0.read(&mut into[..room])
    }
}

impl std::io::Seek for Failing {
    fn seek(&mut self, to: std::io::SeekFrom) -> std::io::Result<u64> {
        self.0.seek(to)
    }
}

#[test]
fn a_disk_that_fails_on_the_way_is_told_alike() {
    let read = |(threads, part): (usize, usize)| {
        let open = || Ok(Box::new(Failing(Cursor::new(AUDIO.clone()), 200_000)) as Box<_>);
        let mut reading = Reading::new(Settings::default());
        let threads = Threads { count: NonZeroUsize::new(threads).unwrap(), part };
        let files = analysis::read(&mut reading, vec![Input::seekable("disk", open)], threads);
        let analysis = reading.finish(files);
        assert_eq!(analysis.unreadable.len(), 1);
        (judged::said_of(&analysis).json, analysis.unreadable)
    };
    let alone = read((1, 1));
    for way in WAYS {
        let together = read(way);
        assert_alike("a failing disk", &alone.0, &together.0);
        assert_eq!(alone.1, together.1);
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(12))]

    #[test]
    fn damage_anywhere_is_told_alike(
        places in proptest::collection::vec((any::<usize>(), 1_usize..3000, any::<u8>()), 1..6),
        is_pcapng in any::<bool>(), threads in 2_usize..5, part in 300_usize..50_000,
    ) {
        let file = damaged(if is_pcapng { &CONTROL } else { &AUDIO }, &places);
        let files: [(&str, &[u8]); 1] = [("capture", &file)];
        let alone = said_one_by_one(&Settings::default(), &files);
        let together = said(&Settings::default(), &files, threads, part);
        assert_alike("damage", &alone.json, &together.json);
    }
}

/// How many parts of a file are taken as they were walked apart, of all.
fn taken(file: &[u8], part: usize) -> (usize, usize) {
    let octets = file.to_vec();
    let input = Input::seekable("capture", move || Ok(Box::new(Cursor::new(octets.clone()))));
    let mut joined = Joined::new(vec![input]);
    let mut records = 0;
    while !joined.lends(part) {
        records += u64::from(joined.next_record().is_some());
    }
    // What the first frames tell of check sequences is known then.
    assert_eq!(records, 64);
    let Lent { mut chunks, open, .. } = joined.lend(part).unwrap();
    let layout = chunks.layout();
    let told = chunks.told();
    let mut walker = ChunkWalker::new(open().unwrap());
    let mut octets = Octets::default();
    let (mut taken, mut all) = (0, 0);
    for index in 0..layout.count() {
        let mut own = 0;
        let range = layout.range(index);
        let walked = walker.walk(range.clone(), &told, &mut octets, &mut |record: &Record<'_>, at| {
            let place = usize::try_from(range.start).unwrap() + at;
            assert_eq!(&file[place..place + record.octets.len()], record.octets);
            own += 1;
        });
        let before = records;
        if walked.is_some_and(|walked| chunks.take(&walked)) {
            taken += 1;
            records += own;
        }
        chunks.walk_on(layout.range(index).end, |_| records += 1).unwrap();
        // In the last few octets no record may begin.
        all += usize::from(records > before);
        assert_eq!(chunks.records(), records);
    }
    (taken, all)
}

#[test]
fn every_part_of_a_sound_file_is_taken_and_few_of_one_that_holds_another() {
    for file in [&*AUDIO, &*CONTROL] {
        for part in [20_000, 100_000] {
            let (taken, all) = taken(file, part);
            assert_eq!(taken, all, "in parts of {part}");
        }
    }
    let (taken, all) = taken(&carrying(&carrying(&AUDIO)), 5000);
    assert!(taken < all && all > 50, "{taken} of {all}");
}

#[test]
fn a_disk_that_fails_before_the_first_record_gives_no_capture() {
    for (threads, part) in WAYS.into_iter().chain([(1, 1)]) {
        let open = || Ok(Box::new(Failing(Cursor::new(AUDIO.clone()), 30)) as Box<_>);
        let mut reading = Reading::new(Settings::default());
        let threads = Threads { count: NonZeroUsize::new(threads).unwrap(), part };
        let files = analysis::read(&mut reading, vec![Input::seekable("disk", open)], threads);
        assert_eq!((files.captures.len(), files.unreadable.len()), (0, 1));
    }
}
