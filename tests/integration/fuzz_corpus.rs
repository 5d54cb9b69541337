//! What the fuzzer found worth keeping, once more: every octet string of fuzz/corpus, and of each fault that it met.

use std::fs;

use crate::fuzz_bodies;
use crate::support::judged::in_project;

/// Hands every file of a target's corpus to its body; how many there were.
fn replay(target: &str, body: fn(&[u8])) -> usize {
    let folder = in_project("fuzz/corpus").join(target);
    let mut paths: Vec<_> = fs::read_dir(&folder)
        .unwrap_or_else(|error| panic!("{}: {error}", folder.display()))
        .map(|entry| entry.unwrap().path())
        .collect();
    paths.sort();
    for path in &paths {
        // Shown where the body panics.
        println!("{}", path.display());
        body(&fs::read(path).unwrap());
    }
    paths.len()
}

#[test]
fn capture_files() {
    assert!(replay("capture_files", fuzz_bodies::capture_files) > 30);
}

#[test]
fn messages() {
    assert!(replay("messages", fuzz_bodies::messages) > 100);
}

#[test]
fn reports() {
    assert!(replay("reports", fuzz_bodies::reports) > 15);
}

#[test]
fn networks() {
    assert!(replay("networks", fuzz_bodies::networks) > 15);
}
