//! The reference data beside the project: captures and worked-out values.

use std::path::{Path, PathBuf};

/// A file of the reference folder beside the project, or `None` with a line said.
pub(crate) fn shared(name: &str) -> Option<Vec<u8>> {
    let path: PathBuf = Path::new(env!("CARGO_MANIFEST_DIR")).join("../shared").join(name);
    let octets = std::fs::read(&path).ok();
    if octets.is_none() {
        println!("passed over: {name} is not beside the project");
    }
    octets
}

pub(crate) fn json(octets: &[u8]) -> serde_json::Value {
    serde_json::from_slice(octets).unwrap()
}

pub(crate) fn hex(text: &str) -> Vec<u8> {
    text.as_bytes()
        .chunks(2)
        .map(|pair| u8::from_str_radix(std::str::from_utf8(pair).unwrap(), 16).unwrap())
        .collect()
}

/// The records of a little-endian classic capture with µs stamps: 24 octets of header, 16 a record.
pub(crate) fn walk(file: &[u8]) -> Vec<&[u8]> {
    assert_eq!(file[..4], [0xd4, 0xc3, 0xb2, 0xa1]);
    let mut rest = &file[24..];
    let mut records = Vec::new();
    while let Some((header, after)) = rest.split_first_chunk::<16>() {
        let captured = u32::from_le_bytes(header[8..12].try_into().unwrap()) as usize;
        records.push(&after[..captured]);
        rest = &after[captured..];
    }
    records
}
