//! Octets flipped, files cut, blocks in another order, lengths enlarged.

use downbeat::capture::Reader;

use super::committed;
use super::unpacked;
use crate::capture_files::Kept;
use crate::capture_files::read_all;
use crate::fuzz_bodies;
use crate::support::craft::random::Random;

/// Records, where the file can be read as a capture at all.
fn records(file: &[u8]) -> Option<Vec<Kept>> {
    Reader::new(file).is_ok().then(|| read_all(file).0)
}

fn below(random: &mut Random, limit: usize) -> usize {
    usize::try_from(random.next() % limit as u64).unwrap()
}

fn flipped(file: &[u8], count: usize, random: &mut Random) -> Vec<u8> {
    let mut file = file.to_vec();
    for _ in 0..count {
        let at = below(random, file.len());
        file[at] ^= 1 << (random.next() % 8);
    }
    file
}

/// Every report is written and agrees with itself, as the fuzzer asks.
fn survives(what: &str, file: &[u8]) {
    println!("{what}");
    fuzz_bodies::whole(file);
}

#[test]
fn flipped_bits_leave_every_report_whole() {
    let mut random = Random::seeded(1);
    for (name, file) in unpacked() {
        for count in [3, 300] {
            survives(&format!("{name}, {count} bits flipped"), &flipped(&file, count, &mut random));
        }
    }
}

#[test]
fn one_flipped_bit_costs_few_records() {
    let mut random = Random::seeded(2);
    for (name, file) in unpacked() {
        let whole = records(&file).unwrap().len();
        for _ in 0..40 {
            // Behind the headers of the file, which are a few hundred octets at the most.
            let at = 512 + below(&mut random, file.len() - 512);
            let mut changed = file.clone();
            changed[at] ^= 1 << (random.next() % 8);
            let kept = records(&changed).unwrap().len();
            assert!(whole - kept.min(whole) <= 8, "{name}: {kept} of {whole} with a bit flipped at {at}");
            assert!(kept <= whole + 8, "{name}: {kept} of {whole} with a bit flipped at {at}");
        }
    }
}

#[test]
fn packed_files_with_flipped_bits_are_read_as_far_as_they_go() {
    let mut random = Random::seeded(3);
    let packed: Vec<_> = committed().into_iter().filter(|(name, _)| name.ends_with(".gz")).collect();
    assert_eq!(packed.len(), 2);
    for (name, file) in packed {
        let mut told = 0;
        for _ in 0..6 {
            let at = 64 + below(&mut random, file.len() - 64);
            let mut changed = file.clone();
            changed[at] ^= 1 << (random.next() % 8);
            let (_, summary) = read_all(&changed[..]);
            told += usize::from(!summary.damage.is_empty());
        }
        // The check sum at the end holds every octet, so that none goes unnoticed.
        assert_eq!(told, 6, "{name}");
    }
}

#[test]
fn a_capture_cut_anywhere_keeps_every_record_before_the_cut() {
    let mut random = Random::seeded(4);
    for (name, file) in unpacked() {
        let whole = records(&file).unwrap();
        for _ in 0..12 {
            let cut = below(&mut random, file.len());
            let Some(kept) = records(&file[..cut]) else {
                assert!(cut < 32, "{name} cut at {cut} is no capture any more");
                continue;
            };
            let before = kept.len().saturating_sub(1);
            assert!(kept[..before] == whole[..before], "{name} cut at {cut}");
            let octets: usize = kept.iter().map(|record| record.octets.len()).sum();
            // Framing and file headers are less than the rest; all but the last record's is there.
            assert!(octets + kept.len() * 64 + 2048 >= cut, "{name} cut at {cut}: {octets} octets kept");
        }
        survives(&format!("{name} cut in its middle"), &file[..file.len() / 2 + 1]);
    }
}

/// A pcapng file's blocks.
fn blocks(file: &[u8]) -> Vec<&[u8]> {
    let mut blocks = Vec::new();
    let mut rest = file;
    while let Some(length) = rest.get(4..8) {
        let length = u32::from_le_bytes(length.try_into().unwrap()) as usize;
        let Some((block, after)) = rest.split_at_checked(length) else { break };
        blocks.push(block);
        rest = after;
    }
    blocks
}

fn shuffled<'a>(blocks: &[&'a [u8]], random: &mut Random) -> Vec<&'a [u8]> {
    let mut blocks = blocks.to_vec();
    for last in (1..blocks.len()).rev() {
        blocks.swap(last, below(random, last + 1));
    }
    blocks
}

#[test]
fn blocks_in_any_order_give_every_packet_that_can_be_placed() {
    let mut random = Random::seeded(5);
    let mut seen = 0;
    for (name, file) in unpacked().into_iter().filter(|(_, file)| file.starts_with(&[0x0A, 0x0D, 0x0D, 0x0A]))
    {
        seen += 1;
        let blocks = blocks(&file);
        let first_packet = blocks.iter().position(|block| block[0] == 6).unwrap();
        let whole = read_all(&blocks.concat()[..]);
        assert!(first_packet >= 2 && blocks.len() > 300, "{name}");

        // Packets only: all are there, and their stamps go to and fro.
        let packets = shuffled(&blocks[first_packet..], &mut random);
        let mixed = [&blocks[..first_packet], &packets].concat().concat();
        let (records, summary) = read_all(&mixed[..]);
        assert_eq!(records.len(), whole.0.len(), "{name}");
        assert_eq!(
            (summary.octets, summary.first, summary.last),
            (whole.1.octets, whole.1.first, whole.1.last)
        );
        assert!(summary.time_backsteps > 100 && summary.damage.is_empty(), "{name}: {summary:?}");
        survives(&format!("{name}, its packets in another order"), &mixed);

        // The interfaces among them: packets before theirs are left out, once told.
        let all = shuffled(&blocks[1..], &mut random);
        let mixed = [blocks[0].to_vec(), all.concat()].concat();
        let (records, summary) = read_all(&mixed[..]);
        let left_out = "a packet of an interface that was not described; it is left out";
        assert!(records.len() <= whole.0.len());
        if records.len() < whole.0.len() {
            assert!(summary.damage.iter().any(|damage| damage.text.starts_with(left_out)), "{name}");
        }
        survives(&format!("{name}, all its blocks in another order"), &mixed);

        // The section header behind them all is no beginning.
        let backwards: Vec<u8> = blocks.iter().rev().copied().collect::<Vec<_>>().concat();
        assert!(Reader::new(&backwards[..]).is_err(), "{name}");
    }
    assert!(seen >= 6);
}

/// Where the records of a file begin, and where in one its length stands.
fn lengths(file: &[u8]) -> Vec<usize> {
    if file.starts_with(&[0x0A, 0x0D, 0x0D, 0x0A]) {
        let mut at = 0;
        let mut places = Vec::new();
        for block in blocks(file) {
            if block[0] == 6 {
                places.push(at + 4);
            }
            at += block.len();
        }
        return places;
    }
    let mut at = 24;
    let mut places = Vec::new();
    while let Some(length) = file.get(at + 8..at + 12) {
        places.push(at + 8);
        at += 16 + u32::from_le_bytes(length.try_into().unwrap()) as usize;
    }
    places
}

#[test]
fn an_enlarged_length_costs_its_own_record_and_none_other() {
    let mut random = Random::seeded(6);
    for (name, file) in unpacked() {
        assert!(file[0] != 0xA1, "{name}: the lengths here are little-endian");
        let whole = records(&file).unwrap().len();
        let places = lengths(&file);
        for length in [300_000, (16 << 20) + 4, 1 << 31, u32::MAX - 3, u32::MAX] {
            let mut changed = file.clone();
            // Neither the first nor the last ones, around which there is less to go by.
            let place = places[4 + below(&mut random, places.len() - 8)];
            changed[place..place + 4].copy_from_slice(&u32::to_le_bytes(length));
            let (records, summary) = read_all(&changed[..]);
            assert!(records.len() + 1 >= whole, "{name}: {} of {whole} with {length}", records.len());
            assert!(summary.damage.iter().any(|damage| damage.text.contains(&length.to_string())), "{name}");
        }
        let mut changed = file.clone();
        for (place, length) in places.iter().step_by(7).zip((0..32).cycle()) {
            changed[*place..place + 4].copy_from_slice(&(u32::MAX >> length).to_le_bytes());
        }
        survives(&format!("{name}, every seventh length wrong"), &changed);
    }
}
