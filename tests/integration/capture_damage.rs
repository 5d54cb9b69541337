//! Broken capture files: whatever is readable is read, and the rest is told with its place.

use std::io;

use downbeat::capture::Reader;
use proptest::prelude::*;

use crate::capture_files::Trickle;
use crate::capture_files::read_all;
use crate::support::capture_writer::Opt;
use crate::support::capture_writer::Order;
use crate::support::capture_writer::PcapFile;
use crate::support::capture_writer::PcapKind;
use crate::support::capture_writer::PcapngFile;
use crate::support::capture_writer::gzip;
use crate::support::capture_writer::zstd_frame;

const NOON: u32 = 1_700_000_000;

/// Frame number `number` of a file: 40 to 60 octets none of which looks like a header.
fn frame(number: u32) -> Vec<u8> {
    vec![0xA0 | (number % 16) as u8; 40 + (number % 21) as usize]
}

fn pcap(order: Order, kind: PcapKind, records: std::ops::Range<u32>) -> PcapFile {
    let mut file = PcapFile::new(order, kind);
    records.for_each(|number| {
        file.record(NOON + number, number, &frame(number));
    });
    file
}

fn pcapng(order: Order, records: u32) -> PcapngFile {
    let mut file = PcapngFile::new(order);
    file.interface(1, 0, &[Opt(9, vec![6])]);
    (0..records).for_each(|number| {
        file.packet(0, u64::from(NOON + number) * 1_000_000, &frame(number));
    });
    file
}

/// Numbers of the frames that came back whole, in order.
fn whole_frames(octets: &[u8]) -> (Vec<u32>, Vec<(u64, String)>) {
    let (records, summary) = read_all(octets);
    let numbers = records
        .iter()
        .filter_map(|record| {
            let number = u32::try_from(record.time? / 1_000_000_000 - i64::from(NOON)).ok()?;
            (record.octets == frame(number)).then_some(number)
        })
        .collect();
    (numbers, summary.damage.into_iter().map(|damage| (damage.offset, damage.text)).collect())
}

#[test]
fn a_pcap_cut_anywhere_gives_every_record_before_the_cut() {
    for kind in [PcapKind::Microseconds, PcapKind::Nanoseconds, PcapKind::Modified] {
        let mut ends = vec![24_usize];
        let header = if kind == PcapKind::Modified { 24 } else { 16 };
        ends.extend((0..6).scan(24, |end, number| {
            *end += header + frame(number).len();
            Some(*end)
        }));
        let file = pcap(Order::Big, kind, 0..6).octets;
        assert_eq!(ends.last(), Some(&file.len()));
        for cut in 0..24 {
            assert!(Reader::new(&file[..cut]).is_err(), "cut at {cut}");
        }
        for cut in 24..=file.len() {
            let (records, summary) = read_all(&file[..cut]);
            let whole = ends.iter().filter(|end| **end <= cut).count() - 1;
            let begun = cut - ends[whole];
            let kept = usize::from(begun > header);
            assert_eq!(records.len(), whole + kept, "cut at {cut}");
            for (number, record) in (0..).zip(&records) {
                let expected = frame(number);
                let there = if (number as usize) < whole { expected.len() } else { begun - header };
                assert_eq!(record.octets, expected[..there], "cut at {cut}");
                assert_eq!(record.original_len as usize, expected.len(), "cut at {cut}");
            }
            assert_eq!(summary.snapped as usize, kept, "cut at {cut}");
            let offsets: Vec<_> = summary.damage.iter().map(|damage| damage.offset as usize).collect();
            let expected = if begun == 0 { vec![] } else { vec![ends[whole]] };
            assert_eq!(offsets, expected, "cut at {cut}");
        }
    }
}

#[test]
fn a_pcapng_cut_anywhere_gives_every_record_before_the_cut() {
    for order in [Order::Little, Order::Big] {
        let file = pcapng(order, 5).octets;
        let mut ends = vec![28_usize, 28 + 32];
        ends.extend((0..5).scan(60, |end, number| {
            *end += 32 + frame(number).len().next_multiple_of(4);
            Some(*end)
        }));
        assert_eq!(ends.last(), Some(&file.len()));
        for cut in 0..14 {
            assert!(Reader::new(&file[..cut]).is_err(), "cut at {cut}");
        }
        for cut in 14..=file.len() {
            let (records, summary) = read_all(&file[..cut]);
            let blocks = ends.iter().filter(|end| **end <= cut).count();
            let whole = blocks.saturating_sub(2);
            let start = blocks.checked_sub(1).map_or(0, |last| ends[last]);
            let kept = usize::from(blocks >= 2 && cut - start > 28);
            assert_eq!(records.len(), whole + kept, "cut at {cut}");
            for (number, record) in (0..).zip(&records) {
                let expected = frame(number);
                let there = if (number as usize) < whole {
                    expected.len()
                } else {
                    (cut - start - 28).min(expected.len())
                };
                assert_eq!(record.octets, expected[..there], "cut at {cut}");
                assert_eq!(record.original_len as usize, expected.len(), "cut at {cut}");
            }
            let offsets: Vec<_> = summary.damage.iter().map(|damage| damage.offset as usize).collect();
            let expected = if cut == start { vec![] } else { vec![start] };
            assert_eq!(offsets, expected, "cut at {cut}");
        }
    }
}

#[test]
fn a_cut_is_told_in_words() {
    let file = pcap(Order::Little, PcapKind::Microseconds, 0..3).octets;
    let last = file.len() - 16 - frame(2).len();
    let (_, damage) = whole_frames(&file[..file.len() - 2]);
    let text = "the file ends inside a record, after 40 of its 42 octets; they are kept";
    assert_eq!(damage, [(last as u64, text.to_owned())]);
    let (_, damage) = whole_frames(&file[..last + 5]);
    assert_eq!(
        damage,
        [(last as u64, "the file ends inside a record header, after 5 of 16 octets".to_owned())]
    );
}

#[test]
fn garbage_between_pcap_records_is_passed_over_and_told() {
    for kind in [PcapKind::Microseconds, PcapKind::Nanoseconds, PcapKind::Modified] {
        for length in [1_usize, 3, 16, 77, 1_000, 700_000] {
            let mut file = pcap(Order::Little, kind, 0..5);
            let at = file.octets.len() as u64;
            file.raw(&vec![0xFF; length]);
            let rest = pcap(Order::Little, kind, 5..40).octets;
            file.raw(&rest[24..]);
            let (numbers, damage) = whole_frames(&file.octets);
            assert_eq!(numbers, (0..40).collect::<Vec<_>>(), "{kind:?} {length}");
            let after = at + length as u64;
            assert_eq!(damage.len(), 1);
            assert_eq!(damage[0].0, at);
            let skipped = format!("; skipped {length} octets to the next plausible record at {after}");
            assert!(damage[0].1.ends_with(&skipped), "{}", damage[0].1);
        }
    }
}

#[test]
fn garbage_between_pcapng_blocks_is_passed_over_and_told() {
    for order in [Order::Little, Order::Big] {
        for length in [1_usize, 2, 4, 13, 400, 700_000] {
            let mut file = pcapng(order, 5);
            let at = file.octets.len() as u64;
            file.raw(&vec![0xEE; length]);
            for number in 5..10 {
                file.packet(0, u64::from(NOON + number) * 1_000_000, &frame(number));
            }
            let (numbers, damage) = whole_frames(&file.octets);
            assert_eq!(numbers, (0..10).collect::<Vec<_>>(), "{order:?} {length}");
            let after = at + length as u64;
            assert_eq!(damage.len(), 1);
            assert_eq!(damage[0].0, at);
            assert!(
                damage[0]
                    .1
                    .ends_with(&format!("; skipped {length} octets to the next plausible block at {after}")),
                "{}",
                damage[0].1
            );
        }
    }
}

#[test]
fn an_impossible_length_costs_its_own_record_only() {
    for length in [0xFFFF_FFFF_u32, 300_000, 20 << 20] {
        let mut file = pcap(Order::Little, PcapKind::Microseconds, 0..10);
        let second = 24 + 16 + frame(0).len();
        file.octets[second + 8..second + 12].copy_from_slice(&length.to_le_bytes());
        let (numbers, damage) = whole_frames(&file.octets);
        assert_eq!(numbers, [0, 2, 3, 4, 5, 6, 7, 8, 9], "{length}");
        assert_eq!((damage.len(), damage[0].0), (1, second as u64));
        assert!(damage[0].1.contains(&length.to_string()), "{}", damage[0].1);

        let mut file = pcapng(Order::Little, 10);
        file.octets[60 + 4..60 + 8].copy_from_slice(&length.to_le_bytes());
        let (numbers, damage) = whole_frames(&file.octets);
        assert_eq!(numbers, (1..10).collect::<Vec<_>>(), "{length}");
        assert_eq!((damage.len(), damage[0].0), (1, 60));
    }
}

#[test]
fn a_length_past_the_end_does_not_swallow_the_records_after_it() {
    for records in [2, 10] {
        let mut file = pcap(Order::Little, PcapKind::Microseconds, 0..records);
        file.octets[24 + 8..24 + 12].copy_from_slice(&50_000_u32.to_le_bytes());
        file.octets[24 + 12..24 + 16].copy_from_slice(&50_000_u32.to_le_bytes());
        let (numbers, damage) = whole_frames(&file.octets);
        assert_eq!(numbers, (1..records).collect::<Vec<_>>());
        let start = "a record says it holds 50000 octets, past the file's end";
        assert!(damage[0].1.starts_with(start), "{}", damage[0].1);
    }
}

#[test]
fn one_header_that_makes_sense_is_not_enough_after_damage() {
    let mut file = pcap(Order::Little, PcapKind::Microseconds, 0..5);
    let at = file.octets.len() as u64;
    file.raw(&[0xFF; 20]).record(NOON, 0, &[0xFF; 30]).raw(&[0xFF; 20]);
    let after = file.octets.len();
    file.raw(&pcap(Order::Little, PcapKind::Microseconds, 5..20).octets[24..]);
    let (numbers, damage) = whole_frames(&file.octets);
    assert_eq!(numbers, (0..20).collect::<Vec<_>>());
    assert_eq!((damage.len(), damage[0].0), (1, at));
    assert!(damage[0].1.ends_with(&format!("plausible record at {after}")), "{}", damage[0].1);
}

#[test]
fn zeros_before_the_first_record_are_one_piece_of_damage() {
    let mut file = PcapFile::new(Order::Little, PcapKind::Microseconds);
    file.raw(&[0; 1_000]).raw(&pcap(Order::Little, PcapKind::Microseconds, 0..9).octets[24..]);
    let (numbers, damage) = whole_frames(&file.octets);
    assert_eq!(numbers, (0..9).collect::<Vec<_>>());
    let text = "a record header is all zero; skipped 1000 octets to the next plausible record at 1024";
    assert_eq!(damage, [(24, text.to_owned())]);
}

#[test]
fn a_wrong_stamp_before_the_damage_does_not_mislead_the_search() {
    let mut file = pcap(Order::Big, PcapKind::Microseconds, 0..5);
    file.record(1, 0, b"the clock was not set").raw(&[0xFF; 50]);
    file.raw(&pcap(Order::Big, PcapKind::Microseconds, 5..7).octets[24..]);
    let (numbers, damage) = whole_frames(&file.octets);
    assert_eq!(numbers, [0, 1, 2, 3, 4, 5, 6]);
    assert_eq!(damage.len(), 1);
}

#[test]
fn odd_but_readable_fields_keep_their_record() {
    let mut file = PcapFile::new(Order::Little, PcapKind::Microseconds);
    file.record(NOON, 0, b"frame 0")
        .record(NOON, 1_000_000, b"frame 1")
        .raw_record(NOON, 5, 7, 3, b"frame 2");
    file.record(NOON, 9, b"frame 3").record(NOON, 2_000_000, b"frame 4");
    let (records, summary) = read_all(&file.octets[..]);
    let texts: Vec<_> =
        records.iter().map(|r| (String::from_utf8_lossy(&r.octets).into_owned(), r.time.is_some())).collect();
    let expected = [(0, true), (1, false), (2, true), (3, true), (4, false)];
    assert_eq!(texts, expected.map(|(n, timed)| (format!("frame {n}"), timed)));
    assert_eq!(records[2].original_len, 7);
    assert_eq!(summary.damage.len(), 2);

    let mut file = pcapng(Order::Big, 4);
    let second_end = 60 + 2 * 32 + 40 + 44;
    file.octets[second_end - 1] ^= 1;
    let (numbers, damage) = whole_frames(&file.octets);
    assert_eq!(numbers, [0, 1, 2, 3]);
    assert_eq!(damage[0].1, "a block's second length differs from its first; the first is believed");
}

#[test]
fn blocks_and_records_are_believed_up_to_sixteen_mebibytes() {
    let mut file = PcapngFile::new(Order::Little);
    file.interface(1, 0, &[]).block(0x0BAD, &vec![0xEE; 3 << 20]).packet(0, 1, &vec![7; 1 << 20]);
    let at = file.octets.len() as u64;
    file.block(0x0BAD, &vec![0xEE; 16 << 20]).packet(0, 2, b"after");
    let (records, summary) = read_all(&file.octets[..]);
    assert_eq!(records.iter().map(|record| record.octets.len()).collect::<Vec<_>>(), [1 << 20, 5]);
    assert_eq!((summary.damage.len(), summary.damage[0].offset), (1, at));
    let start = "a block of type 0xbad says it is 16777228 octets long; skipped 16777228 octets";
    assert!(summary.damage[0].text.starts_with(start), "{}", summary.damage[0].text);

    let mut file = PcapFile::new(Order::Little, PcapKind::Microseconds);
    file.octets[16..20].copy_from_slice(&(2_u32 << 20).to_le_bytes());
    file.record(NOON, 0, &vec![7; 1 << 20]).record(NOON, 1, b"after");
    let (records, summary) = read_all(&file.octets[..]);
    assert_eq!(records.iter().map(|record| record.octets.len()).collect::<Vec<_>>(), [1 << 20, 5]);
    assert_eq!(summary.damage, []);
}

#[test]
fn a_file_full_of_damage_gives_a_short_list() {
    let mut file = PcapngFile::new(Order::Little);
    file.interface(1, 0, &[]);
    for number in 0..300 {
        file.raw(&[0xEE; 10]).packet(0, u64::from(NOON + number) * 1_000_000, &frame(number));
    }
    let (numbers, damage) = whole_frames(&file.octets);
    assert_eq!((numbers.len(), damage.len()), (300, 101));
    assert_eq!(damage[100].1, "200 more places of damage from here on are not listed");
}

#[test]
fn a_tail_of_zeros_is_no_row_of_empty_records() {
    let mut file = pcap(Order::Little, PcapKind::Microseconds, 0..3);
    let at = file.octets.len() as u64;
    file.raw(&[0; 1_000_000]);
    let (numbers, damage) = whole_frames(&file.octets);
    assert_eq!(numbers, [0, 1, 2]);
    let text =
        "a record header is all zero; no plausible record follows, the last 1000000 octets are not read";
    assert_eq!(damage, [(at, text.to_owned())]);
}

#[test]
fn packets_that_cannot_be_placed_are_left_out_and_told() {
    let mut file = PcapngFile::new(Order::Little);
    file.packet(0, 1, b"no interface yet").simple_packet(2, b"no").interface(1, 0, &[]).packet(
        3,
        1,
        b"wrong one",
    );
    file.statistics(9, 0, &[])
        .block(6, &[0; 8])
        .block(3, &[])
        .block(1, &[0; 4])
        .packet(0, 5_000_000, b"right");
    let (records, summary) = read_all(&file.octets[..]);
    assert_eq!(records.iter().map(|record| record.octets.as_slice()).collect::<Vec<_>>(), [b"right"]);
    let texts: Vec<_> = summary.damage.iter().map(|damage| damage.text.as_str()).collect();
    assert_eq!(
        texts,
        [
            "a packet of an interface that was not described; it is left out (3 times, first here)",
            "statistics of an interface that was not described; they are left out",
            "a packet block is too short for its fields; it is left out (2 times, first here)",
            "an interface description is too short; it is left out",
        ]
    );
}

#[test]
fn a_packet_longer_than_its_block_keeps_what_the_block_holds() {
    let mut file = PcapngFile::new(Order::Little);
    file.interface(1, 0, &[]).packet(0, 1, b"12345678");
    let captured = 28 + 20 + 20;
    file.octets[captured..captured + 4].copy_from_slice(&500_u32.to_le_bytes());
    let (records, summary) = read_all(&file.octets[..]);
    assert_eq!((records[0].octets.as_slice(), records[0].original_len), (&b"12345678"[..], 500));
    assert_eq!(summary.damage.len(), 2);
}

#[test]
fn a_packed_file_that_breaks_off_or_is_broken_keeps_what_came_out() {
    let mut file = PcapFile::new(Order::Little, PcapKind::Microseconds);
    let mut noise = 1_u32;
    for number in 0..3_000 {
        let data: Vec<u8> = std::iter::repeat_with(|| {
            noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (noise >> 24) as u8
        })
        .take(200)
        .collect();
        file.record(NOON + number, 0, &data);
    }
    let all = read_all(&file.octets[..]).0;
    for packed in [gzip(&file.octets), zstd_frame(&file.octets)] {
        let (records, summary) = read_all(&packed[..packed.len() / 2]);
        assert!(records.len() > 500 && records.len() < 2_000, "{}", records.len());
        assert_eq!(records[..records.len() - 1], all[..records.len() - 1]);
        let told = summary.damage.last().unwrap();
        assert!(told.text.contains("cannot be unpacked further (it breaks off)"), "{}", told.text);
        assert_eq!(told.offset, summary.damage.iter().map(|damage| damage.offset).max().unwrap());
    }
    let mut wrong_sum = gzip(&file.octets);
    let sum = wrong_sum.len() - 8;
    wrong_sum[sum] ^= 0xFF;
    let (records, summary) = read_all(&wrong_sum[..]);
    assert_eq!(records, all);
    assert_eq!((summary.damage.len(), summary.damage[0].offset), (1, file.octets.len() as u64));
    let (records, summary) = read_all(&[gzip(&file.octets), b"trailing words".to_vec()].concat()[..]);
    assert_eq!((records.len(), summary.damage.len()), (3_000, 1));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(256))]

    /// Nothing panics or hangs, no record is out of thin air, and the list of damage stays short.
    #[test]
    fn changed_octets_never_harm_the_reader(
        changes in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..40),
        cut in prop::option::of(any::<prop::sample::Index>()),
        format in 0_usize..4,
        lengths in prop::collection::vec(1_usize..500, 1..4),
    ) {
        let mut octets = match format {
            0 => pcap(Order::Little, PcapKind::Microseconds, 0..60).octets,
            1 => pcap(Order::Big, PcapKind::Modified, 0..60).octets,
            2 => pcapng(Order::Big, 60).octets,
            _ => gzip(&pcapng(Order::Little, 60).octets),
        };
        for (at, value) in changes {
            let at = at.index(octets.len());
            octets[at] = value;
        }
        if let Some(cut) = cut {
            octets.truncate(cut.index(octets.len()));
        }
        let total = octets.len();
        let at_once = (format < 3 && Reader::new(&octets[..]).is_ok()).then(|| read_all(&octets[..]));
        if let Ok(mut reader) = Reader::new(Trickle { octets: io::Cursor::new(octets), lengths, turn: 0 }) {
            let mut count = 0_u64;
            while let Some(record) = reader.next_record().unwrap() {
                count += 1;
                prop_assert_eq!(record.number, count);
                prop_assert!(record.octets.len() as u64 <= u64::from(record.original_len));
                prop_assert!(count <= 1 + total as u64 * 100);
            }
            let summary = reader.finish("test");
            prop_assert_eq!(summary.packets, count);
            prop_assert!(summary.damage.len() < 120);
            // How the octets come in must not show in what is made of them.
            if let Some((_, whole)) = at_once {
                prop_assert_eq!(summary, whole);
            }
        }
    }
}
