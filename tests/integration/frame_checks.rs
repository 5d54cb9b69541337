//! Frames that end with their check sequence though the file does not say so, and intervals as they are told.

use serde_json::Value;

use crate::support::judged;
use crate::support::media::Scene;
use crate::support::media::sender;

const WHOLE: u32 = 65_535;

/// CRC-32 bit by bit, as IEEE 802.3 clause 3.2.9 has it (from memory).
fn check(octets: &[u8]) -> [u8; 4] {
    let mut register = u32::MAX;
    for octet in octets {
        register ^= u32::from(*octet);
        for _ in 0..8 {
            register = if register & 1 == 1 { register >> 1 ^ 0xEDB8_8320 } else { register >> 1 };
        }
    }
    (!register).to_le_bytes()
}

/// The check value of the catalogues: that of the digits 1 to 9.
#[test]
fn the_check_sequence_of_nine_digits_is_the_known_one() {
    assert_eq!(check(b"123456789"), 0xCBF4_3926_u32.to_le_bytes());
}

/// A second of audio of 1 ms a packet.
fn audio() -> Scene {
    let mut scene = Scene::default();
    scene.audio(&sender(1), 1001, (48, 48_000), 288, 0);
    scene
}

fn with_checks(which: impl Fn(usize) -> bool) -> Scene {
    let mut scene = audio();
    for (index, frame) in scene.frames.iter_mut().enumerate() {
        if which(index) {
            frame.octets.extend(check(&frame.octets));
        }
    }
    scene
}

fn report(scene: Scene, snap: u32) -> Value {
    judged::files(&[("made.pcap", scene.file(snap))]).value()
}

fn found(report: &Value) -> u64 {
    report["captures"][0]["undeclared_frame_checks"].as_u64().unwrap()
}

/// 342 octets and 24 more, 1000 times a second.
fn assert_rate(report: &Value, what: &str) {
    for of in [&report["streams"][0], &report["link"]] {
        assert_eq!(of["mean_bps"], 2_928_000, "{what}: {of}");
    }
}

#[test]
fn an_undeclared_check_sequence_is_found_and_counts_once() {
    let without = report(audio(), WHOLE);
    assert_eq!(found(&without), 0);
    assert_rate(&without, "none");
    let all = report(with_checks(|_| true), WHOLE);
    assert_eq!(found(&all), 1001);
    assert_rate(&all, "all");
    // Where only what was received has it, each frame counts as it is.
    let some = report(with_checks(|index| index % 3 > 0), WHOLE);
    assert_eq!(found(&some), 667);
    assert_rate(&some, "some");
}

#[test]
fn four_more_octets_that_are_no_check_sequence_are_none() {
    for (what, last) in [("zeros", None), ("one bit off", Some(0x10))] {
        let mut scene = audio();
        for frame in &mut scene.frames {
            let mut check = check(&frame.octets);
            match last {
                Some(bit) => check[2] ^= bit,
                None => check = [0; 4],
            }
            frame.octets.extend(check);
        }
        assert_eq!(found(&report(scene, WHOLE)), 0, "{what}");
    }
}

#[test]
fn frames_that_were_cut_are_judged_by_whole_ones_on_their_interface_alone() {
    // None is whole, so nothing is known.
    assert_eq!(found(&report(with_checks(|_| true), 128)), 0);
    // Short ones are: 42 octets of a datagram's headers, 48 of payload, and the check sequence.
    let mut scene = with_checks(|_| true);
    let mut short = Scene::default();
    let other = sender(2);
    for index in 0..10_u16 {
        let mut octets = other.frame(&other.rtp(index, u32::from(index) * 48, false, 36));
        octets.extend(check(&octets));
        short.pass(i64::from(index) * 1_000_000 - 20_000_000, octets);
    }
    scene.frames.extend(short.frames);
    let report = report(scene, 128);
    assert_eq!(found(&report), 1011);
    let stream = report["streams"].as_array().unwrap().iter().find(|stream| stream["ssrc"] == 0x5E00_0001);
    assert_eq!(stream.unwrap()["mean_bps"], 2_928_000);
}

#[test]
fn a_millisecond_reads_as_one_also_where_packets_are_lost_or_stamps_swing() {
    let every = |scene: Scene| report(scene, 128)["streams"][0]["interval_ns"]["every"].as_i64().unwrap();
    assert_eq!(every(audio()), 1_000_000);
    assert_eq!(report(audio(), 128)["streams"][0]["interval_ns"]["median"], 1_000_000);
    let mut lossy = audio();
    let mut index = 0;
    lossy.frames.retain(|_| {
        index += 1;
        index % 20 != 0
    });
    assert_eq!(every(lossy), 1_000_000);
    let mut swinging = audio();
    for (index, frame) in swinging.frames.iter_mut().enumerate() {
        frame.stamp_ns += if index % 2 == 0 { 0 } else { 45_000 };
    }
    assert_eq!(every(swinging), 1_000_000);
    // A pause is no interval: the median stands.
    let mut paused = audio();
    paused.frames.iter_mut().skip(500).for_each(|frame| frame.stamp_ns += 10_000_000_000);
    assert_eq!(every(paused), 1_000_000);
}
