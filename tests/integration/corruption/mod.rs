//! Whatever is wrong with a file, a folder, a disk or a pipe: everything readable is read, what is wrong is told, time and
//! memory stay bounded, and nothing is left half-written. (Damage to small files octet by octet: `capture_damage`.)

mod ends;
mod frames;
mod octets;
mod packed;
mod places;

use std::fs;
use std::io::Read;
use std::path::PathBuf;
use std::process::Command;
use std::process::Output;

use flate2::read::GzDecoder;

use crate::support::judged::captures_in;
use crate::support::judged::in_project;

/// Octets of a capture that are kept for tests that read it many times.
const BEGINNING: usize = 96 << 10;

/// Every committed capture as it is on the disk.
fn committed() -> Vec<(String, Vec<u8>)> {
    let captures: Vec<_> = ["captures", "captures/lab", "captures/media"]
        .into_iter()
        .flat_map(|folder| captures_in(&in_project(folder)))
        .collect();
    assert!(captures.len() >= 18, "{}", captures.len());
    captures
}

/// Every committed capture unpacked, its beginning only.
fn unpacked() -> Vec<(String, Vec<u8>)> {
    let unpack = |(name, octets): (String, Vec<u8>)| {
        let mut plain = Vec::new();
        if octets.starts_with(&[0x1F, 0x8B]) {
            let limit = BEGINNING as u64;
            GzDecoder::new(&octets[..]).take(limit).read_to_end(&mut plain).unwrap();
        } else {
            plain = octets[..octets.len().min(BEGINNING)].to_vec();
        }
        (name, plain)
    };
    committed().into_iter().map(unpack).collect()
}

fn demo(name: &str) -> PathBuf {
    in_project("captures").join(name)
}

fn program() -> Command {
    Command::new(assert_cmd::cargo::cargo_bin("downbeat"))
}

fn status(output: &Output) -> i32 {
    output.status.code().unwrap_or_else(|| panic!("ended by a signal: {output:?}"))
}

fn text(octets: &[u8]) -> &str {
    std::str::from_utf8(octets).unwrap()
}

/// What is in a folder, hidden files too.
fn names(folder: &std::path::Path) -> Vec<String> {
    let mut names: Vec<String> = fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    names
}
