//! What the parts of a pass cost: one message of each kind, frames of the common and other kinds, a flow's packets, and a
//! whole small capture.
//!
//! `cargo bench --bench decoding`; README.md says what the numbers are good for.
#![allow(clippy::unwrap_used, clippy::indexing_slicing)]
#![allow(missing_docs)]

mod traffic;

use std::collections::BTreeMap;
use std::fs::File;
use std::hint::black_box;
use std::io::Cursor;
use std::num::NonZeroUsize;

use criterion::Criterion;
use criterion::Throughput;
use criterion::criterion_group;
use criterion::criterion_main;
use downbeat::analysis;
use downbeat::analysis::Reading;
use downbeat::analysis::Settings;
use downbeat::analysis::Threads;
use downbeat::capture::Input;
use downbeat::capture::LinkType;
use downbeat::capture::Reader;
use downbeat::capture::Record;
use downbeat::frame;
use downbeat::ptp;
use downbeat::streams::Streams;
use downbeat::units::CaptureTime;

use traffic::Kind;

/// Octets of a generated capture.
const OCTETS: u64 = 2 << 20;

fn generated(kind: Kind) -> Vec<u8> {
    let mut file = Vec::new();
    traffic::generate(kind, OCTETS, 1, false, &mut file).unwrap();
    file
}

/// A record that owns its octets.
struct Kept {
    time: Option<CaptureTime>,
    link: LinkType,
    octets: Vec<u8>,
}

impl Kept {
    fn record(&self) -> Record<'_> {
        let original_len = u32::try_from(self.octets.len()).unwrap();
        Record {
            number: 1,
            time: self.time,
            link: self.link,
            interface: 0,
            original_len,
            fcs_octets: None,
            octets: &self.octets,
        }
    }
}

fn records(capture: impl std::io::Read) -> Vec<Kept> {
    let mut reader = Reader::new(capture).unwrap();
    let mut records = Vec::new();
    while let Some(record) = reader.next_record().unwrap() {
        records.push(Kept { time: record.time, link: record.link, octets: record.octets.to_vec() });
    }
    records
}

/// The first message of each type in committed captures, by version and type.
fn messages() -> BTreeMap<(u8, u8), Vec<u8>> {
    let mut found = BTreeMap::new();
    for name in ["playhouse-healthy.pcapng", "playhouse-v1-beside-v2.pcap", "lab/peer-delay-ethernet.pcap"] {
        let path = format!("{}/captures/{name}", env!("CARGO_MANIFEST_DIR"));
        for kept in records(File::open(path).unwrap()) {
            let record = kept.record();
            let frame = frame::decode(&record);
            let is_udp = frame.udp.is_some_and(|udp| matches!(udp.destination_port, 319 | 320));
            if (is_udp || frame.ethertype == Some(ptp::ETHERTYPE)) && ptp::decode(frame.payload).is_ok() {
                let version = frame.payload[1] & 0x0F;
                // Version 1 tells its type by the control field (from memory: octet 32).
                let kind = if version == 1 { frame.payload[32] } else { frame.payload[0] & 0x0F };
                found.entry((version, kind)).or_insert_with(|| frame.payload.to_vec());
            }
        }
    }
    assert!(found.len() >= 8, "only {:?}", found.keys());
    found
}

fn decode_messages(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("message");
    for ((version, kind), octets) in messages() {
        group.bench_function(format!("version {version} type {kind}"), |bencher| {
            bencher.iter(|| ptp::decode(black_box(&octets)));
        });
    }
    group.finish();
}

fn decode_frames(criterion: &mut Criterion) {
    let records = records(Cursor::new(generated(Kind::Audio)));
    let common = records.iter().find(|kept| kept.octets[23] == 17).unwrap();
    // IGMP comes with an option in its IP header, which the fixed offsets leave to the general way.
    let other = records.iter().find(|kept| kept.octets[23] == 2).unwrap();
    let mut group = criterion.benchmark_group("frame");
    for (name, kept) in [("common", common), ("with options", other)] {
        group.bench_function(name, |bencher| {
            bencher.iter(|| frame::decode(black_box(&kept.record())).payload.len());
        });
    }
    group.finish();
}

fn take_in_flows(criterion: &mut Criterion) {
    let records = records(Cursor::new(generated(Kind::Audio)));
    let mut group = criterion.benchmark_group("flows");
    group.throughput(Throughput::Elements(u64::try_from(records.len()).unwrap()));
    group.bench_function("40 audio flows", |bencher| {
        bencher.iter(|| {
            let mut streams = Streams::from_the_beginning();
            for kept in &records {
                let record = kept.record();
                streams.record(&record, &frame::decode(&record));
            }
            streams
        });
    });
    group.finish();
}

fn read_captures(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("capture");
    for kind in [Kind::Video, Kind::Audio, Kind::Control] {
        let file = generated(kind);
        group.throughput(Throughput::Bytes(u64::try_from(file.len()).unwrap()));
        for threads in [1, 2] {
            group.bench_function(format!("{kind:?} on {threads}"), |bencher| {
                bencher.iter(|| {
                    let octets = file.clone();
                    let input = Input::seekable("capture", move || Ok(Box::new(Cursor::new(octets.clone()))));
                    let mut reading = Reading::new(Settings::default());
                    let threads = Threads::new(NonZeroUsize::new(threads).unwrap());
                    let files = analysis::read(&mut reading, vec![input], threads);
                    reading.finish(files).frames
                });
            });
        }
    }
    group.finish();
}

criterion_group!(benches, decode_messages, decode_frames, take_in_flows, read_captures);
criterion_main!(benches);
