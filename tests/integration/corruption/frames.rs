//! Frames whose headers go on and on.

use crate::fuzz_bodies;
use crate::support::capture_writer::Order;
use crate::support::capture_writer::PcapFile;
use crate::support::capture_writer::PcapKind;
use crate::support::judged;
use serde_json::Value;

const ETHERNET: [u8; 12] = [0x33, 0x33, 0, 0, 0, 1, 2, 0, 0x5E, 0x10, 0, 1];
/// From fe80::1 to ff02::1, hop limit 1.
fn ipv6(next: u8, payload: &[u8]) -> Vec<u8> {
    let mut header = vec![0x60, 0, 0, 0];
    header.extend(u16::try_from(payload.len()).unwrap().to_be_bytes());
    header.extend([next, 1]);
    for address in [[0xFE, 0x80], [0xFF, 0x02]] {
        header.extend(address);
        header.extend([0; 13]);
        header.push(1);
    }
    [&ETHERNET[..], &[0x86, 0xDD], &header, payload].concat()
}

fn report(frames: &[Vec<u8>]) -> Value {
    let mut file = PcapFile::new(Order::Little, PcapKind::Nanoseconds);
    for (number, frame) in (0..).zip(frames) {
        file.record(1_700_000_000 + number, 0, frame);
    }
    fuzz_bodies::whole(&file.octets);
    judged::files(&[("made.pcap", file.octets)]).value()
}

fn problems(report: &Value) -> Vec<String> {
    let problems = report["captures"][0]["problems"].as_array().unwrap().iter();
    problems.map(|problem| format!("{} {}", problem["count"], problem["text"].as_str().unwrap())).collect()
}

#[test]
fn any_number_of_tags_is_gone_through() {
    let message = [&[0x0B, 0x02, 0, 64][..], &[0; 60]].concat();
    let tagged = |tags: usize, ids: &[[u8; 2]]| {
        let stack: Vec<u8> =
            ids.iter().cycle().take(tags).flat_map(|id| [&id[..], &[0, 20]].concat()).collect();
        [&ETHERNET[..], &stack, &[0x88, 0xF7], &message].concat()
    };
    let kinds: [[u8; 2]; 3] = [[0x81, 0x00], [0x88, 0xA8], [0x91, 0x00]];
    let frames: Vec<_> = [1, 2, 5, 300, 16_000].into_iter().map(|tags| tagged(tags, &kinds)).collect();
    let said = report(&frames);
    assert_eq!(said["span"]["ptp_messages"], 5, "{:?}", problems(&said));
    assert_eq!(said["domains"][0]["vlan"], 20);
    // A stack with nothing behind it.
    let mut endless = tagged(16_000, &kinds);
    endless.truncate(endless.len() - 70);
    assert_eq!(problems(&report(&[endless])).len(), 1);
}

#[test]
fn chains_of_extension_headers_end() {
    // Each says that another of its kind follows: the shortest there is, 8 octets.
    for kind in [0_u8, 43, 44, 60] {
        let chain: Vec<u8> = std::iter::repeat_n([kind, 0, 0, 0, 0, 0, 0, 0], 8000).flatten().collect();
        let said = report(&[ipv6(kind, &chain), ipv6(kind, &chain[..24]), ipv6(kind, &[])]);
        assert_eq!(said["span"]["frames"], 3);
        assert!(!problems(&said).is_empty(), "{kind}");
        assert_eq!(said["captures"][0]["undecodable"], 3, "{kind}: {:?}", problems(&said));
    }
    // One that says it is longer than its packet.
    let said = report(&[ipv6(60, &[17, 255, 0, 0, 0, 0, 0, 0])]);
    assert_eq!(said["captures"][0]["undecodable"], 1);
}

#[test]
fn tunnels_in_tunnels_end() {
    let mut frame = [&ETHERNET[..], &[0x88, 0xF7], &[0x0B, 0x02, 0, 64], &[0; 60]].concat();
    for _ in 0..600 {
        let length = u16::try_from(frame.len() + 24).unwrap().to_be_bytes();
        let outer = [0x45, 0, length[0], length[1], 0, 0, 0, 0, 64, 47, 0, 0, 10, 0, 0, 1, 10, 0, 0, 2];
        frame = [&ETHERNET[..], &[8, 0], &outer, &[0, 0, 0x65, 0x58], &frame].concat();
    }
    assert_eq!(problems(&report(&[frame])), ["1 more encapsulations than are taken off"]);
}
