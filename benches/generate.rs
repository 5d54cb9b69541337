//! Writes the three captures that speed is measured on, of any length: a day at Harbour Playhouse, made up.
//!
//! `cargo run --release --example generate -- video --octets 2G --out video.pcap`
//!
//! - `video`: 12 RTP flows of 6 sources, frames of 1,454 octets, 5 % PTP, 0.3 % IGMP and mDNS
//! - `audio`: 40 RTP flows, frames of 90 to 290 octets, 5 % PTP
//! - `control`: 40 RTP flows of smaller frames, 10 of them silent and 4 tagged, 19 % PTP: 152 octets on average
//!
//! Payload is fresh random octets (a recycled pool would let a packed file shrink to nothing), zero where a flow is
//! silent. The same seed gives the same octets. What was lost and reordered on purpose is said at the end.
#![allow(clippy::indexing_slicing)]
#![allow(clippy::print_stderr)]

mod traffic;

use std::fs::File;
use std::io::{self, BufWriter};
use std::process::ExitCode;

use traffic::Kind;

fn size(text: &str) -> Option<u64> {
    let (digits, unit) = match text.strip_suffix(['K', 'M', 'G']) {
        Some(digits) => (digits, text.as_bytes()[digits.len()]),
        None => (text, b'1'),
    };
    let factor = match unit {
        b'K' => 1 << 10,
        b'M' => 1 << 20,
        b'G' => 1 << 30,
        _ => 1,
    };
    digits.parse::<u64>().ok()?.checked_mul(factor)
}

fn main() -> ExitCode {
    let usage = "generate video|audio|control [--octets 64M] [--seed 1] [--pcapng] [--out FILE]";
    let mut kind = None;
    let (mut octets, mut seed, mut is_pcapng, mut path) = (64 << 20, 1, false, None);
    let mut arguments = std::env::args().skip(1);
    while let Some(argument) = arguments.next() {
        let understood = match argument.as_str() {
            "video" => kind.replace(Kind::Video).is_none(),
            "audio" => kind.replace(Kind::Audio).is_none(),
            "control" => kind.replace(Kind::Control).is_none(),
            "--octets" => arguments.next().and_then(|text| size(&text)).map(|size| octets = size).is_some(),
            "--seed" => {
                arguments.next().and_then(|text| text.parse().ok()).map(|number| seed = number).is_some()
            }
            "--pcapng" => {
                is_pcapng = true;
                true
            }
            "--out" => arguments.next().map(|name| path = Some(name)).is_some(),
            _ => false,
        };
        if !understood {
            eprintln!("{usage}");
            return ExitCode::from(2);
        }
    }
    let Some(kind) = kind else {
        eprintln!("{usage}");
        return ExitCode::from(2);
    };
    let done = match path {
        Some(path) => File::create(path).and_then(|file| {
            traffic::generate(kind, octets, seed, is_pcapng, BufWriter::with_capacity(1 << 20, file))
        }),
        None => traffic::generate(
            kind,
            octets,
            seed,
            is_pcapng,
            BufWriter::with_capacity(1 << 20, io::stdout().lock()),
        ),
    };
    match done {
        Ok(planted) => {
            eprintln!(
                "{} frames, {} octets, {} packets lost and {} reordered on purpose",
                planted.frames, planted.octets, planted.lost, planted.reordered
            );
            ExitCode::SUCCESS
        }
        Err(error) => {
            eprintln!("{error}");
            ExitCode::FAILURE
        }
    }
}
