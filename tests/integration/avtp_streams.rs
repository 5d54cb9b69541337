//! Streams of AVTP: what they are, what their numbers say, and how little of a frame is enough to list them. The octets are made
//! by the layout of IEEE 1722-2016, from memory.

use serde_json::Value;
use serde_json::json;

use crate::streams::in_pieces;
use crate::streams::streams;
use crate::streams::value;
use crate::support::craft::frame;
use crate::support::craft::octets::Octets;
use crate::support::judged;
use crate::support::media::Scene;
use crate::support::media::sender;
use crate::support::stage::actor;

const AAF: u8 = 0x02;
const CVF: u8 = 0x03;
const CRF: u8 = 0x04;
/// Of a header of its own.
const NTSCF: u8 = 0x82;

/// A frame of stream `number` in VLAN 2.
fn packet(subtype: u8, number: u8, sequence: u8) -> Vec<u8> {
    let mut octets = Octets::new()
        .u8(subtype)
        .u8(0x81)
        .u8(sequence)
        .u8(0)
        .u32(0x0200_5E10)
        .u32(0x0021_0000 | u32::from(number))
        .u32(7)
        .u16(if subtype == CRF { 64 } else { 0x0205 })
        .u16(0x0808)
        .u16(192)
        .u16(0)
        .0;
    octets.resize(24 + 192, 0x22);
    let to = [0x91, 0xE0, 0xF0, 0, 0, number];
    frame::ethernet_tagged(to, [0x02, 0, 0x5E, 0x10, 0, 0x21], (3, 2), 0x22F0, &octets)
}

/// Packets of a millisecond each, without those of which `is_gone`.
fn send(scene: &mut Scene, subtype: u8, number: u8, count: u32, is_gone: impl Fn(u32) -> bool) {
    for index in (0..count).filter(|index| !is_gone(*index)) {
        let sequence = u8::try_from(index % 256).unwrap();
        scene.pass(i64::from(index) * 1_000_000 + i64::from(number), packet(subtype, number, sequence));
    }
}

fn network() -> Scene {
    let mut scene = Scene::default();
    scene.clock(&actor(1).class(6), &actor(2), 6);
    scene.audio(&sender(7), 6000, (48, 48_000), 288, 0);
    send(&mut scene, AAF, 1, 6000, |index| (1000..1050).contains(&index));
    send(&mut scene, CVF, 2, 6000, |_| false);
    send(&mut scene, CRF, 3, 300, |index| index == 9);
    scene
}

fn of(report: &Value, number: u8) -> &Value {
    let key = format!("avtp 02005e10{:08x} vlan 2", 0x0021_0000 | u32::from(number));
    streams(report).iter().find(|stream| stream["key"] == key.as_str()).unwrap()
}

#[test]
fn streams_of_avtp_are_listed_as_what_they_are_with_what_is_missing() {
    // 18 octets of Ethernet with a tag, and 12 up to the end of the id.
    for snap in [65_535, 30] {
        let report = value(network(), snap);
        for (number, kind, codec, subtype, lost) in [
            (1, "audio", "AVTP AAF", "AAF", 50),
            (2, "video", "AVTP CVF", "CVF", 0),
            (3, "other", "AVTP CRF, a clock reference", "CRF", 1),
        ] {
            let stream = of(&report, number);
            assert_eq!((&stream["kind"], &stream["codec"]), (&json!(kind), &json!(codec)), "{snap}");
            assert_eq!(stream["avtp"], json!({"subtype": subtype, "lost": lost, "duplicated": 0}), "{snap}");
            assert_eq!((&stream["rtp"], &stream["pcp"]), (&Value::Null, &json!([3])));
        }
    }
    // An octet less.
    assert!(streams(&value(network(), 29)).iter().all(|stream| stream["avtp"].is_null()));
}

#[test]
fn what_avtp_lost_is_found_where_the_rest_is_whole() {
    let found = |report: &Value| -> Vec<String> {
        let findings = report["findings"].as_array().unwrap().iter();
        let lost = findings.filter(|finding| finding["id"] == "rtp-loss-or-reorder");
        lost.map(|finding| finding["title"].as_str().unwrap().to_owned()).collect()
    };
    let title = "avtp 02005e1000210001 vlan 2: 50 of 6000 packets are missing";
    assert_eq!(found(&value(network(), 128)), [title]);
    let mut alone = Scene::default();
    send(&mut alone, AAF, 1, 6000, |index| index % 100 == 7);
    assert_eq!(found(&value(alone, 128)), Vec::<String>::new());
}

#[test]
fn formats_with_a_header_of_their_own_are_no_streams() {
    let mut scene = Scene::default();
    send(&mut scene, NTSCF, 1, 100, |_| false);
    assert_eq!(streams(&value(scene, 128)).len(), 0);
}

#[test]
fn streams_of_avtp_are_the_same_however_a_capture_is_cut() {
    let file = network().file(128);
    let whole = in_pieces(&file, &[]);
    for cuts in [&[1][..], &[900, 1700, 3003], &[5, 6, 7, 8, 9, 70, 200, 4000, 12_000]] {
        assert_eq!(in_pieces(&file, cuts), whole, "{cuts:?}");
    }
}

/// Over UDP a message begins at octet 42; Sync and requests take 44 octets, answers 54, Announces 64.
#[test]
fn frames_of_ptp_that_are_cut_too_short_are_counted_and_said() {
    let scene = |with_ptp: bool| {
        let mut scene = Scene::default();
        if with_ptp {
            // 96 Syncs, and 12 each of Announces, requests and answers.
            scene.clock(&actor(1), &actor(20), 12);
        }
        scene.audio(&sender(7), 12_000, (48, 48_000), 288, 0);
        scene
    };
    for (snap, cut, wanted) in [
        (42, 132, 106),
        (54, 132, 106),
        (64, 132, 106),
        (85, 132, 106),
        (86, 24, 106),
        (105, 12, 106),
        (106, 0, 0),
    ] {
        let judged = judged::files(&[("made.pcap", scene(true).file(snap))]);
        let report = judged.value();
        let span = &report["span"];
        assert_eq!(span["ptp_messages"], 132 - cut, "{snap}");
        assert_eq!(span["ptp_frames_cut"], cut, "{snap}");
        assert_eq!(span["ptp_octets_wanted"].as_u64().unwrap_or(0), wanted, "{snap}");
        let text = judged.text.split_whitespace().collect::<Vec<_>>().join(" ");
        let words = format!("{cut} frames of PTP cut too short to read (106 octets of each would do)");
        assert_eq!(text.contains(&words), cut > 0, "{snap} {text}");
        assert!(!text.contains(" 0 PTP messages"), "{snap} {text}");
        let because = report["verdict_because"].as_str().unwrap();
        assert_eq!(because.contains("106 octets of each would do"), cut == 132, "{snap} {because}");
    }
    let without = value(scene(false), 54);
    assert_eq!(without["span"]["ptp_frames_cut"], 0);
}
