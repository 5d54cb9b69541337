//! Small files that unpack to huge ones.

use std::fs;
use std::io;
use std::io::Read;
use std::io::Write;
use std::process::Command;
use std::time::Duration;
use std::time::Instant;

use flate2::Compression;
use flate2::write::GzEncoder;
use serde_json::Value;

use super::text;
use crate::capture_files::read_all;
use crate::support::capture_writer::Order;
use crate::support::capture_writer::PcapFile;
use crate::support::capture_writer::PcapKind;
use crate::support::capture_writer::gzip;
use crate::support::capture_writer::zstd_frame;

const MIB: u64 = 1 << 20;

fn header_and_record() -> Vec<u8> {
    let mut file = PcapFile::new(Order::Little, PcapKind::Microseconds);
    file.record(1_700_000_000, 0, &[0xA5; 60]);
    file.octets
}

fn gzip_bomb(octets: u64) -> Vec<u8> {
    let mut packer = GzEncoder::new(Vec::new(), Compression::best());
    io::copy(&mut header_and_record().chain(io::repeat(0).take(octets)), &mut packer).unwrap();
    packer.finish().unwrap()
}

fn zstd_bomb(octets: u64) -> Vec<u8> {
    let mut packer = zstd::stream::Encoder::new(Vec::new(), 3).unwrap();
    io::copy(&mut header_and_record().chain(io::repeat(0).take(octets)), &mut packer).unwrap();
    packer.finish().unwrap()
}

/// Runs `downbeat check` on a file with at most so much address space; the report and how long it took.
fn check_within(mebibytes: u64, file: &[u8]) -> (Value, Duration) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("packed");
    fs::write(&path, file).unwrap();
    let begun = Instant::now();
    let output = Command::new("sh")
        .args(["-c", "ulimit -v \"$1\"; exec \"$2\" check --threads 2 --format json \"$3\"", "sh"])
        .arg((mebibytes * 1024).to_string())
        .arg(assert_cmd::cargo::cargo_bin("downbeat"))
        .arg(&path)
        .output()
        .unwrap();
    let took = begun.elapsed();
    let report = serde_json::from_str(text(&output.stdout));
    (report.unwrap_or_else(|error| panic!("{error}: {output:?}")), took)
}

#[cfg(target_os = "linux")]
#[test]
fn a_bomb_takes_little_memory_and_time_and_is_told() {
    let (gzip, zstd) = (gzip_bomb(192 * MIB), zstd_bomb(2048 * MIB));
    assert!(gzip.len() < 256 << 10 && zstd.len() < 256 << 10, "{} {}", gzip.len(), zstd.len());
    for (name, bomb) in [("gzip", gzip), ("zstd", zstd)] {
        let (report, took) = check_within(256, &bomb);
        let capture = &report["captures"][0];
        assert_eq!((&capture["packets"], &capture["compression"]), (&1.into(), &name.into()));
        let damage = capture["damage"].as_array().unwrap();
        let said: Vec<&str> = damage.iter().map(|damage| damage["text"].as_str().unwrap()).collect();
        assert!(said[0].starts_with("a record header is all zero"), "{said:?}");
        // Two gibibytes of nothing are not gone through.
        assert_eq!(said.iter().any(|text| text.contains("times its size")), name == "zstd", "{said:?}");
        assert!(took < Duration::from_secs(20), "{name} took {took:?}");
    }
}

/// A large window is what a packer may ask the reader to hold.
#[test]
fn a_window_larger_than_is_held_is_told() {
    let pack = |log| {
        let mut packer = zstd::stream::Encoder::new(Vec::new(), 3).unwrap();
        packer.window_log(log).unwrap();
        packer.include_contentsize(false).unwrap();
        packer.write_all(&header_and_record()).unwrap();
        packer.finish().unwrap()
    };
    assert_eq!(read_all(&pack(27)[..]).0.len(), 1);
    let refused = downbeat::capture::Reader::new(&pack(28)[..]).unwrap_err().to_string();
    assert!(refused.starts_with("zstd data at offset 0 cannot be unpacked"), "{refused}");
}

#[test]
fn a_packed_file_in_a_packed_file_is_refused_and_not_unpacked_on() {
    let file = header_and_record();
    for (inner, outer) in [(gzip(&file), "gzip"), (zstd_frame(&file), "zstd")] {
        let packed = if outer == "gzip" { zstd_frame(&inner) } else { gzip(&inner) };
        let refused = downbeat::capture::Reader::new(&packed[..]).unwrap_err().to_string();
        assert!(refused.starts_with("packed twice"), "{refused}");
    }
}

/// A capture that packs well is none that does harm.
#[test]
fn a_capture_of_the_same_frame_over_and_over_is_read_to_its_end() {
    let mut file = PcapFile::new(Order::Little, PcapKind::Nanoseconds);
    let black = [0x80; 9000];
    for number in 0..9000 {
        file.record(1_700_000_000, number * 1000, &black);
    }
    let packed = zstd_frame(&file.octets);
    assert!(file.octets.len() / packed.len() > 500, "{}", packed.len());
    let (records, summary) = read_all(&packed[..]);
    assert_eq!((records.len(), summary.damage.len()), (9000, 0));
}

/// What comes of a small file before a fault in it is not lost with it.
#[test]
fn what_stands_before_a_fault_in_a_small_packed_file_is_read() {
    let mut random = crate::support::craft::random::Random::seeded(7);
    let mut file = PcapFile::new(Order::Little, PcapKind::Nanoseconds);
    for number in 0..200 {
        let octets: Vec<u8> = (0..60).map(|_| random.next().to_le_bytes()[3] & 0x3F).collect();
        file.record(1_700_000_000 + number, 0, &octets);
    }
    let mut packed = gzip(&file.octets);
    let at = packed.len() / 2;
    packed[at..at + 64].fill(0xFF);
    let (records, summary) = read_all(&packed[..]);
    assert!((80..110).contains(&records.len()), "{} of 200", records.len());
    assert!(!summary.damage.is_empty());
}
