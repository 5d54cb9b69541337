//! A capture cut into the files that a capturing program's ring buffer would leave.

use std::fs;
use std::path::Path;
use std::path::PathBuf;

use super::capture_writer::Opt;
use super::capture_writer::Order;
use super::capture_writer::PcapngFile;
use super::judged::in_project;

/// An Enhanced Packet Block.
struct Packet<'a> {
    interface: u32,
    ticks: u64,
    original: u32,
    kept: &'a [u8],
}

/// The Enhanced Packet Blocks of a little-endian pcapng file without damage.
fn packets(file: &[u8]) -> Vec<Packet<'_>> {
    let word = |at: usize| u32::from_le_bytes(file[at..at + 4].try_into().unwrap());
    let mut at = 0;
    let mut packets = Vec::new();
    while at < file.len() {
        if word(at) == 6 {
            let kept = word(at + 20) as usize;
            packets.push(Packet {
                interface: word(at + 8),
                ticks: u64::from(word(at + 12)) << 32 | u64::from(word(at + 16)),
                original: word(at + 24),
                kept: &file[at + 28..at + 28 + kept],
            });
        }
        at += word(at + 4) as usize;
    }
    packets
}

/// Writes the demo capture `name` into `folder` as so many `pieces`, named `ring-0.pcapng` and so on.
pub(crate) fn ring(folder: &Path, name: &str, pieces: usize) -> Vec<PathBuf> {
    let whole = fs::read(in_project("captures").join(name)).unwrap();
    let packets = packets(&whole);
    let write = |(number, packets): (usize, &[Packet<'_>])| {
        let mut file = PcapngFile::new(Order::Little);
        // The demo captures have one or two taps, with nanosecond stamps (if_tsresol 9).
        for _ in 0..2 {
            file.interface(1, 0, &[Opt(9, vec![9])]);
        }
        for Packet { interface, ticks, original, kept } in packets {
            file.packet_with(*interface, *ticks, *original, kept, &[]);
        }
        let path = folder.join(format!("ring-{number}.pcapng"));
        fs::write(&path, file.octets).unwrap();
        path
    };
    packets.chunks(packets.len().div_ceil(pieces)).enumerate().map(write).collect()
}
