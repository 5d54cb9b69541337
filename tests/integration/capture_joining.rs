//! Several captures as one: rings given out of order, overlaps, gaps, and inputs that cannot be read.

use std::io;
use std::io::Read;
use std::sync::Arc;
use std::sync::atomic::AtomicUsize;
use std::sync::atomic::Ordering;

use downbeat::capture::Gap;
use downbeat::capture::Input;
use downbeat::capture::Joined;
use downbeat::capture::JoinedSummary;
use downbeat::units::CaptureTime;
use proptest::prelude::*;

use crate::support::capture_writer::Order;
use crate::support::capture_writer::PcapFile;
use crate::support::capture_writer::PcapKind;
use crate::support::capture_writer::PcapngFile;

/// A pcap of records at these instants (ns), each holding its instant.
fn file(instants: &[i64]) -> Vec<u8> {
    let mut file = PcapFile::new(Order::Little, PcapKind::Nanoseconds);
    for at in instants {
        file.record((at / 1_000_000_000) as u32, (at % 1_000_000_000) as u32, &at.to_be_bytes());
    }
    file.octets
}

fn input(name: &str, octets: Vec<u8>) -> Input {
    let octets: Arc<[u8]> = octets.into();
    Input::reopening(name, move || Ok(Box::new(io::Cursor::new(Arc::clone(&octets))) as Box<dyn Read + Send>))
}

/// File index and instant of each record, and the summary.
fn join(inputs: Vec<Input>) -> (Vec<(u32, Option<i64>)>, JoinedSummary) {
    let mut joined = Joined::new(inputs);
    let mut records = Vec::new();
    while let Some((index, record)) = joined.next_record() {
        records.push((index, record.time.map(|time| time.0)));
    }
    (records, joined.finish())
}

fn names(summary: &JoinedSummary) -> Vec<&str> {
    summary.captures.iter().map(|capture| capture.file.as_str()).collect()
}

const SECOND: i64 = 1_000_000_000;

#[test]
fn a_ring_given_out_of_order_is_read_in_order_with_its_gap() {
    let (records, summary) = join(vec![
        input("c", file(&[9 * SECOND, 10 * SECOND])),
        input("a", file(&[SECOND, 2 * SECOND])),
        input("b", file(&[3 * SECOND, 4 * SECOND])),
    ]);
    let expected =
        [(0, 1), (0, 2), (1, 3), (1, 4), (2, 9), (2, 10)].map(|(file, s)| (file, Some(s * SECOND)));
    assert_eq!(records, expected);
    assert_eq!(names(&summary), ["a", "b", "c"]);
    assert_eq!(summary.captures.iter().map(|capture| capture.packets).collect::<Vec<_>>(), [2, 2, 2]);
    // One second from a to b is no gap, five from b to c are.
    let (from, until) = (CaptureTime(4 * SECOND), CaptureTime(9 * SECOND));
    assert_eq!(summary.gaps, [Gap { after_file: 1, before_file: 2, from, until }]);
    assert!(summary.unreadable.is_empty());
}

#[test]
fn overlapping_files_are_merged_and_cover_each_others_gaps() {
    let (records, summary) = join(vec![
        input("long", file(&[SECOND, 50 * SECOND])),
        input("inner", file(&[10 * SECOND, 11 * SECOND])),
        input("later", file(&[20 * SECOND, 60 * SECOND])),
    ]);
    let expected =
        [(0, 1), (1, 10), (1, 11), (2, 20), (0, 50), (2, 60)].map(|(file, s)| (file, Some(s * SECOND)));
    assert_eq!(records, expected);
    assert_eq!(summary.gaps, []);
}

#[test]
fn equal_stamps_come_in_the_order_given_and_twins_are_both_read() {
    let twin = file(&[5, 6]);
    let (records, summary) = join(vec![input("x", twin.clone()), input("x", twin)]);
    assert_eq!(records, [(0, Some(5)), (1, Some(5)), (0, Some(6)), (1, Some(6))]);
    assert_eq!(names(&summary), ["x", "x"]);
}

#[test]
fn within_a_file_its_own_order_stands() {
    let (records, summary) = join(vec![input("a", file(&[10, 30, 20, 40])), input("b", file(&[15, 35]))]);
    assert_eq!(
        records,
        [(0, Some(10)), (1, Some(15)), (0, Some(30)), (0, Some(20)), (1, Some(35)), (0, Some(40))]
    );
    assert_eq!(summary.captures[0].time_backsteps, 1);
}

#[test]
fn records_without_time_follow_the_one_before() {
    let mut simple = PcapngFile::new(Order::Little);
    simple.interface(1, 0, &[]).packet(0, 5, b"at 5").simple_packet(2, b"ab").packet(0, 30, b"at 30");
    let (records, _) = join(vec![input("b", file(&[1_000, 10_000])), input("a", simple.octets)]);
    assert_eq!(
        records,
        [(0, Some(1_000)), (1, Some(5_000)), (1, None), (0, Some(10_000)), (1, Some(30_000))]
    );
}

#[test]
fn what_cannot_be_read_is_told_and_the_rest_goes_on() {
    let missing = Input::reopening("missing", || Err(io::Error::from(io::ErrorKind::NotFound)));
    let mut calls = 0;
    let good = file(&[7]);
    let vanishing = Input::reopening("vanishing", move || {
        calls += 1;
        if calls > 1 {
            return Err(io::Error::from(io::ErrorKind::NotFound));
        }
        Ok(Box::new(io::Cursor::new(good.clone())) as Box<dyn Read + Send>)
    });
    let (records, summary) = join(vec![
        missing,
        input("text", b"hello".to_vec()),
        vanishing,
        input("none", file(&[])),
        input("good", file(&[8, 9])),
    ]);
    assert_eq!(records, [(1, Some(8)), (1, Some(9))]);
    assert_eq!(names(&summary), ["vanishing", "good", "none"]);
    let told: Vec<_> = summary.unreadable.iter().map(|(name, error)| format!("{name}: {error}")).collect();
    assert_eq!(told.len(), 3);
    assert!(told[0].starts_with("missing: reading failed at offset 0: "), "{}", told[0]);
    assert!(told[1].starts_with("text: not a capture file: it looks like text"), "{}", told[1]);
    assert!(told[2].starts_with("vanishing: reading failed at offset 0: "), "{}", told[2]);
}

#[test]
fn a_stream_is_opened_once_and_loses_nothing() {
    let (records, summary) =
        join(vec![Input::once("-", io::Cursor::new(file(&[20, 21, 22]))), input("a", file(&[1, 2]))]);
    let times: Vec<_> = records.iter().map(|(_, time)| time.unwrap()).collect();
    assert_eq!(times, [1, 2, 20, 21, 22]);
    assert_eq!(names(&summary), ["a", "-"]);
}

/// Gives one piece per read and says how many were asked for.
struct Pieces {
    pieces: std::vec::IntoIter<Vec<u8>>,
    asked: Arc<AtomicUsize>,
}

impl Read for Pieces {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        self.asked.fetch_add(1, Ordering::SeqCst);
        let piece = self.pieces.next().unwrap_or_default();
        into[..piece.len()].copy_from_slice(&piece);
        Ok(piece.len())
    }
}

#[test]
fn a_live_stream_gives_each_record_as_soon_as_it_is_there() {
    let whole = file(&[1, 2, 3]);
    let record = (whole.len() - 24) / 3;
    let mut pieces = vec![whole[..24].to_vec()];
    pieces.extend(whole[24..].chunks(record).map(<[u8]>::to_vec));
    let asked = Arc::new(AtomicUsize::new(0));
    let source = Pieces { pieces: pieces.into_iter(), asked: Arc::clone(&asked) };
    let mut joined = Joined::new(vec![Input::once("-", source)]);
    for number in 1..=3 {
        assert!(joined.next_record().is_some());
        assert_eq!(asked.load(Ordering::SeqCst), number + 1);
    }
    assert!(joined.next_record().is_none());
}

#[test]
fn a_row_of_captures_can_go_to_another_thread() {
    fn sendable<T: Send>(value: T) -> T {
        value
    }
    assert!(sendable(Joined::new(Vec::new())).next_record().is_none());
}

/// Counts how many of its kind are open.
struct Counted {
    octets: io::Cursor<Vec<u8>>,
    open: Arc<AtomicUsize>,
}

impl Read for Counted {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        self.octets.read(into)
    }
}

impl Drop for Counted {
    fn drop(&mut self) {
        self.open.fetch_sub(1, Ordering::SeqCst);
    }
}

#[test]
fn a_long_ring_has_few_files_open_at_once() {
    let open = Arc::new(AtomicUsize::new(0));
    let inputs = (0..50).rev().map(|number| {
        let open = Arc::clone(&open);
        let octets = file(&[number * 100, number * 100 + 99]);
        Input::reopening(format!("ring-{number}"), move || {
            open.fetch_add(1, Ordering::SeqCst);
            let source = Counted { octets: io::Cursor::new(octets.clone()), open: Arc::clone(&open) };
            Ok(Box::new(source) as Box<dyn Read + Send>)
        })
    });
    let mut joined = Joined::new(inputs.collect());
    assert_eq!(open.load(Ordering::SeqCst), 0);
    assert_eq!(joined.names().next(), Some("ring-0"));
    let mut count = 0;
    while joined.next_record().is_some() {
        count += 1;
        assert!(open.load(Ordering::SeqCst) <= 1);
    }
    assert_eq!((count, open.load(Ordering::SeqCst)), (100, 0));
}

/// A file that can be read from anywhere.
fn seekable(name: &str, octets: Vec<u8>) -> Input {
    Input::seekable(name, move || Ok(Box::new(io::Cursor::new(octets.clone()))))
}

#[test]
fn a_file_is_lent_where_enough_of_it_comes_before_the_next() {
    let long = file(&(0..2000).map(|record| record * 1_000_000).collect::<Vec<_>>());
    let record = (long.len() - 24) / 2000;
    let lent_after = |begins: i64| {
        let inputs = vec![seekable("long", long.clone()), seekable("next", file(&[begins * 1_000_000]))];
        let mut joined = Joined::new(inputs);
        let mut given = 0;
        while !joined.lends(100 * record) && joined.next_record().is_some() {
            given += 1;
        }
        let lent = joined.lend(100 * record);
        lent.is_some().then(|| {
            joined.take_back(lent.unwrap(), None);
            // Whatever was lent, the rest is given.
            let rest = std::iter::from_fn(|| joined.next_record().map(|_| ())).count();
            assert_eq!(given + rest, 2001);
            given
        })
    };
    // Known from its first 64 records on; two parts are 200 records.
    assert_eq!(lent_after(400), Some(64));
    assert_eq!(lent_after(3000), Some(64));
    // Too near then; once the other one has ended, this one is alone to its end.
    assert_eq!(lent_after(250), Some(253));
    assert_eq!(lent_after(1900), Some(64));
    // Of less than two parts in all nothing is lent.
    let short = file(&(0..190).map(|record| record * 1_000_000).collect::<Vec<_>>());
    let mut joined = Joined::new(vec![seekable("short", short)]);
    while joined.next_record().is_some() {
        assert!(!joined.lends(100 * record));
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(128))]

    #[test]
    fn sorted_files_join_to_one_sorted_row_that_misses_nothing(
        files in prop::collection::vec(prop::collection::vec(0_i64..5_000_000_000, 0..30), 0..8),
    ) {
        let mut all: Vec<i64> = files.iter().flatten().copied().collect();
        all.sort_unstable();
        let inputs = files.into_iter().map(|mut instants| {
            instants.sort_unstable();
            input("part", file(&instants))
        });
        let (records, summary) = join(inputs.collect());
        let times: Vec<_> = records.iter().map(|(_, time)| time.unwrap()).collect();
        prop_assert_eq!(times, all);
        prop_assert_eq!(summary.captures.iter().map(|capture| capture.packets).sum::<u64>(), records.len() as u64);
    }
}
