//! Rules about media streams: made captures on which each fires, near misses, and captures that cannot tell.

use serde_json::Value;
use serde_json::json;

use crate::support::craft::capture_file::CapturedFrame;
use crate::support::judged;
use crate::support::media::BEGINNING_NS;
use crate::support::media::Scene;
use crate::support::media::Sender;
use crate::support::media::TAI_NS;
use crate::support::media::sender;
use crate::support::membership::SECOND;
use crate::support::membership::SWITCH;
use crate::support::script::said;
use crate::support::stage::Actor;
use crate::support::stage::actor;

const WHOLE: u32 = 65_535;
const NOTHING: [&str; 0] = [];

fn report(scene: Scene) -> Value {
    judged::files(&[("made.pcap", scene.file(WHOLE))]).value()
}

fn found(report: &Value, id: &str) -> Value {
    let all = report["findings"].as_array().unwrap();
    all.iter().find(|finding| finding["id"] == id).unwrap().clone()
}

/// The lines that name `clock` in domain 0, and say that RTP time is PTP's.
fn by_ptp(clock: &Actor, domain: u8) -> [String; 2] {
    let octets: Vec<String> = clock.port.clock.iter().map(|octet| format!("{octet:02X}")).collect();
    [format!("a=ts-refclk:ptp=IEEE1588-2008:{}:{domain}", octets.join("-")), "a=mediaclk:direct=0".to_owned()]
}

fn announce(scene: &mut Scene, sender: &Sender, lines: &[String]) {
    let lines: Vec<&str> = lines.iter().map(String::as_str).collect();
    scene.announce_audio(1, sender, &lines);
}

/// Audio of 1 ms a packet whose timestamps are PTP time `late_ns` before it passes; from packet `jump.0` on, `jump.1`
/// ticks further.
fn timed(scene: &mut Scene, sender: &Sender, count: u32, late_ns: i64, jump: (u32, u32)) {
    let epoch = (i128::from(BEGINNING_NS) + i128::from(TAI_NS)) * 48_000 / 1_000_000_000;
    for index in 0..count {
        let further = if index >= jump.0 { jump.1 } else { 0 };
        let timestamp = u32::try_from((epoch + i128::from(index) * 48) & 0xFFFF_FFFF).unwrap();
        let sequence = u16::try_from(index % 65_536).unwrap();
        let packet = sender.rtp(sequence, timestamp.wrapping_add(further), false, 288);
        scene.pass(i64::from(index) * 1_000_000 + late_ns, sender.frame(&packet));
    }
}

fn never() -> (u32, u32) {
    (u32::MAX, 0)
}

#[test]
fn a_media_clock_of_its_own_is_grave_where_the_description_claims_ptp() {
    for (ppb, claims, expected) in
        [(40_000, true, vec!["critical"]), (40_000, false, vec!["info"]), (0, true, vec![])]
    {
        let mut scene = Scene::default();
        scene.clock(&actor(1), &actor(20), 40);
        let sender = sender(7);
        scene.audio(&sender, 39_000, (48, 48_000), 288, ppb);
        if claims {
            let lines = by_ptp(&actor(1), 0);
            announce(&mut scene, &sender, &[lines[0].clone(), "a=mediaclk:direct".to_owned()]);
        }
        let report = report(scene);
        assert_eq!(said(&report, "media-clock-rate-off"), expected, "{ppb} {claims}");
        if !expected.is_empty() {
            let finding = found(&report, "media-clock-rate-off");
            assert_eq!(finding["stream"], "192.168.20.7>239.20.1.7:5004 ssrc 5e000007");
        }
    }
}

#[test]
fn senders_that_are_off_alike_have_one_cause() {
    for (third_ppb, expected) in [(20_000, vec!["critical"]), (26_000, vec!["info", "critical"])] {
        let mut scene = Scene::default();
        scene.clock(&actor(1), &actor(20), 40);
        for (number, ppb) in [(7, 20_000), (8, 20_000), (9, third_ppb)] {
            scene.audio(&sender(number), 39_000, (48, 48_000), 288, ppb);
        }
        let lines = by_ptp(&actor(1), 0);
        announce(&mut scene, &sender(9), &[lines[0].clone(), "a=mediaclk:direct".to_owned()]);
        let report = report(scene);
        let mut found_to_be = said(&report, "media-clock-rate-off");
        found_to_be.sort_by_key(|severity| severity == "critical");
        assert_eq!(found_to_be, expected, "{third_ppb}");
        let senders = if expected.len() == 1 { 3 } else { 2 };
        let alike = format!("of {senders} senders run alike, +20.0");
        let findings = report["findings"].as_array().unwrap();
        let titles: Vec<&str> = findings.iter().filter_map(|finding| finding["title"].as_str()).collect();
        assert_eq!(titles.iter().filter(|title| title.contains(&alike)).count(), 1, "{titles:?}");
    }
}

#[test]
fn a_media_clock_that_is_said_to_be_the_senders_own_may_run_as_it_likes() {
    let mut scene = Scene::default();
    scene.clock(&actor(1), &actor(20), 40);
    let sender = sender(7);
    scene.audio(&sender, 39_000, (48, 48_000), 288, 40_000);
    announce(&mut scene, &sender, &["a=mediaclk:sender".to_owned()]);
    assert_eq!(said(&report(scene), "media-clock-rate-off"), NOTHING);
}

#[test]
fn a_sender_that_claims_ptp_and_sends_none_is_named() {
    for (claims, ppb, expected) in [
        (true, 40_000, vec!["critical"]),
        // By design, for all that is known.
        (false, 40_000, vec![]),
        // At the leader's rate it asks by a way that is not seen.
        (true, 0, vec![]),
    ] {
        let mut scene = Scene::default();
        scene.clock(&actor(1), &actor(20), 40);
        let sender = sender(7);
        scene.audio(&sender, 39_000, (48, 48_000), 288, ppb);
        if claims {
            announce(&mut scene, &sender, &by_ptp(&actor(1), 0));
        }
        assert_eq!(said(&report(scene), "follower-silent"), expected, "{claims} {ppb}");
    }
}

#[test]
fn timestamps_far_from_ptp_time_are_named() {
    for (late_ms, lines, expected) in [
        (500, true, vec!["critical"]),
        (-500, true, vec!["critical"]),
        (21, true, vec!["critical"]),
        (19, true, vec![]),
        (1, true, vec![]),
        // Nothing says that they are meant to be PTP time.
        (500, false, vec![]),
    ] {
        let mut scene = Scene::default();
        scene.clock(&actor(1), &actor(20), 20);
        let sender = sender(7);
        timed(&mut scene, &sender, 18_000, late_ms * 1_000_000 + SECOND, (0, 48_000));
        if lines {
            announce(&mut scene, &sender, &by_ptp(&actor(1), 0));
        }
        assert_eq!(said(&report(scene), "rtp-offset-not-from-ptp"), expected, "{late_ms} {lines}");
    }
}

#[test]
fn a_stream_that_began_before_its_senders_first_request_says_so() {
    let mut scene = Scene::default();
    scene.clock(&actor(1), &actor(20), 20);
    let sender = sender(7);
    timed(&mut scene, &sender, 18_000, SECOND, never());
    announce(&mut scene, &sender, &by_ptp(&actor(1), 0));
    let mut late = Scene::default();
    late.clock(&actor(1), &actor(7), 20);
    let asks = |frame: &&CapturedFrame| frame.octets[11] == 7 && frame.stamp_ns > BEGINNING_NS + 10 * SECOND;
    scene.frames.extend(late.frames.iter().filter(asks).cloned());
    let evidence = found(&report(scene), "rtp-offset-not-from-ptp")["evidence"].to_string();
    assert!(evidence.contains("first request of the delay at 10."), "{evidence}");
}

#[test]
fn a_description_that_names_another_clock_or_domain_is_named() {
    for (clock, domain, expected) in [
        (actor(1), 0, vec![]),
        (actor(2), 0, vec!["major"]),
        (actor(1), 7, vec!["major"]),
        // Of that domain nothing is in view.
        (actor(2), 7, vec![]),
    ] {
        let mut scene = Scene::default();
        scene.clock(&actor(1), &actor(20), 20);
        let sender = sender(7);
        scene.audio(&sender, 18_000, (48, 48_000), 288, 0);
        announce(&mut scene, &sender, &by_ptp(&clock, domain));
        let report = report(scene);
        let said = said(&report, "session-description-clock-mismatch");
        assert_eq!(said, expected, "{:?} {domain}", clock.port);
        if !expected.is_empty() {
            let finding = found(&report, "session-description-clock-mismatch");
            assert_eq!(finding["stream"], "192.168.20.7>239.20.1.7:5004 ssrc 5e000007");
            assert_eq!(finding["domain"], "v2 domain 0");
        }
    }
}

#[test]
fn packets_that_are_not_as_described_are_named() {
    for (map, expected) in [
        ("L24/48000/2", vec![]),
        ("L16/48000/3", vec![]),
        ("L16/48000/2", vec!["major"]),
        ("L24/48000/8", vec!["major"]),
        ("L24/96000/2", vec!["major"]),
        // Of what is no linear audio the size tells nothing.
        ("opus/48000/2", vec![]),
    ] {
        let mut scene = Scene::default();
        let sender = sender(7);
        scene.audio(&sender, 2_000, (48, 48_000), 288, 0);
        scene.announce(1, &sender, map, &[]);
        assert_eq!(said(&report(scene), "format-or-rate-mismatch"), expected, "{map}");
    }
}

/// 1 ms of L24 x2 at 48 kHz in packets of payload type 97, described with other lines.
fn described(map: &str, lines: &[&str], payload_type: u8, rate: u32) -> Value {
    let mut scene = Scene::default();
    let mut sender = sender(7);
    sender.payload_type = payload_type;
    scene.audio(&sender, 2_000, (48, rate), 288, 0);
    scene.announce(1, &sender, map, lines);
    report(scene)
}

#[test]
fn a_description_that_packets_contradict_is_not_shown_as_what_the_stream_is() {
    let right = described("L24/48000/2", &["a=ptime:1"], 97, 48_000);
    let stream = &right["streams"][0];
    assert_eq!((&stream["known_by"], &stream["codec"]), (&json!("sdp"), &json!("L24 x2")));
    assert_eq!(stream["session"]["contradictions"], json!([]));
    for (map, payload_type, rate, wanted) in [
        ("L24/48000/2", 98, 48_000, "described with payload type 97, its packets have 98"),
        ("L24/96000/2", 97, 48_000, "described with 96000 Hz, its timestamps run at 48000 Hz"),
        (
            "L16/48000/2",
            97,
            48_000,
            "described as L16 with 2 channels, 48 samples take 192 octets; its packets have 288",
        ),
    ] {
        let report = described(map, &[], payload_type, rate);
        let stream = &report["streams"][0];
        assert_eq!(stream["session"]["contradictions"], json!([wanted]));
        // L24 x2 or L16 x3, as 288 octets of 48 samples may be.
        assert_eq!(stream["known_by"], "inferred", "{map}");
        assert_eq!(stream["clock_rate_hz"], 48_000);
        assert_eq!(said(&report, "format-or-rate-mismatch"), ["major"]);
        let finding = found(&report, "format-or-rate-mismatch");
        assert!(finding["title"].as_str().unwrap().ends_with(wanted), "{finding}");
    }
}

#[test]
fn packets_of_another_time_than_described_are_named_and_rounded_ones_are_not() {
    for (time, rate, expected) in [
        ("4", 48_000, vec!["minor"]),
        ("0.125", 48_000, vec!["minor"]),
        ("1", 48_000, vec![]),
        // 48 samples are 1.088 ms.
        ("1.09", 44_100, vec![]),
        ("1", 44_100, vec![]),
        ("0.88", 48_000, vec!["minor"]),
        ("0.89", 48_000, vec![]),
        ("0", 48_000, vec![]),
    ] {
        let map = format!("L24/{rate}/2");
        let report = described(&map, &[&format!("a=ptime:{time}")], 97, rate);
        assert_eq!(said(&report, "format-or-rate-mismatch"), expected, "{time} {rate}");
        let stream = &report["streams"][0];
        assert_eq!(stream["codec"], "L24 x2", "the encoding is not in doubt");
        assert_eq!(stream["session"]["contradictions"].as_array().unwrap().len(), expected.len());
    }
}

#[test]
fn timestamps_that_jump_are_named_unless_all_jump() {
    for (others_too, ticks, expected) in
        [(false, 4_800, vec!["major"]), (true, 4_800, vec![]), (false, 24, vec![])]
    {
        let mut scene = Scene::default();
        scene.clock(&actor(1), &actor(20), 40);
        timed(&mut scene, &sender(7), 39_000, 1_000_000, (20_000, ticks));
        timed(&mut scene, &sender(8), 39_000, 1_000_000, if others_too { (20_000, ticks) } else { never() });
        assert_eq!(said(&report(scene), "rtp-timestamp-step"), expected, "{others_too} {ticks}");
    }
}

#[test]
fn a_way_that_gets_longer_is_no_jump_of_the_timestamps() {
    for (longer_ns, ticks, expected) in [
        (1_200_000, 0, vec![]),
        (15_000_000, 0, vec![]),
        (0, 720, vec!["major"]),
        (400_000_000, 0, vec!["major"]),
    ] {
        let mut scene = Scene::default();
        scene.clock(&actor(1), &actor(20), 40);
        let mut of_seven = Scene::default();
        timed(&mut of_seven, &sender(7), 36_000, 1_000_000, (20_000, ticks));
        for frame in of_seven.frames.iter_mut().filter(|frame| frame.stamp_ns > BEGINNING_NS + 20 * SECOND) {
            frame.stamp_ns += longer_ns;
        }
        scene.frames.extend(of_seven.frames);
        timed(&mut scene, &sender(8), 36_000, 1_000_000, never());
        assert_eq!(said(&report(scene), "rtp-timestamp-step"), expected, "{longer_ns} {ticks}");
    }
}

#[test]
fn timestamps_are_not_held_against_ptp_where_the_reference_is_another() {
    let own = ["local", "ntp=/traceable/", "gps", "localmac=02-00-5E-00-00-07"];
    let references: Vec<Option<String>> = own
        .iter()
        .map(|of| Some(format!("a=ts-refclk:{of}")))
        .chain([None, Some(by_ptp(&actor(1), 0)[0].clone())])
        .collect();
    for reference in references {
        let mut scene = Scene::default();
        scene.clock(&actor(1), &actor(20), 20);
        let sender = sender(7);
        timed(&mut scene, &sender, 18_000, SECOND, (0, 24_000));
        let lines: Vec<String> =
            reference.iter().cloned().chain(["a=mediaclk:direct=0".to_owned()]).collect();
        announce(&mut scene, &sender, &lines);
        let report = report(scene);
        let is_ptp = reference.as_ref().is_some_and(|reference| reference.contains("ptp"));
        let said = said(&report, "rtp-offset-not-from-ptp");
        assert_eq!(said, if is_ptp { vec!["critical"] } else { vec![] }, "{reference:?}");
        assert_eq!(report["streams"][0]["media_offset_ns"].is_null(), !is_ptp, "{reference:?}");
    }
}

#[test]
fn a_payload_type_whose_rate_the_timestamps_contradict_gives_no_media_rate() {
    // L16 of 44 100 Hz; the other one is of nothing.
    for (payload_type, step, expected) in [(10, 48, vec!["minor"]), (97, 48, vec![])] {
        let mut scene = Scene::default();
        scene.clock(&actor(1), &actor(20), 20);
        let sender = Sender { payload_type, ..sender(7) };
        timed(&mut scene, &sender, 18_000, SECOND, (0, step));
        let report = report(scene);
        assert_eq!(said(&report, "format-or-rate-mismatch"), expected);
        let stream = &report["streams"][0];
        assert_eq!(stream["media_rate_ppm"].is_null(), payload_type == 10, "{stream}");
        if payload_type == 10 {
            let title = found(&report, "format-or-rate-mismatch")["title"].to_string();
            assert!(
                title.contains("payload type 10 means 44100 Hz, its timestamps run at 48000 Hz"),
                "{title}"
            );
        }
    }
}

/// Two streams and a leader; of the first one in `lost.0`, of the second one in `lost.1` is missing (0: none).
fn with_losses(second: bool, lost: (usize, usize)) -> Scene {
    let mut scene = Scene::default();
    let thin = |mut part: Scene, lost: usize| {
        let mut index = 0_usize;
        part.frames.retain(|_| {
            index += 1;
            lost == 0 || !index.is_multiple_of(lost)
        });
        part.frames
    };
    for (number, lost) in [(7, lost.0), (8, lost.1)] {
        if number == 8 && !second {
            continue;
        }
        let mut part = Scene::default();
        part.audio(&sender(number), 10_000, (48, 48_000), 288, 0);
        scene.frames.extend(thin(part, lost));
    }
    scene
}

#[test]
fn packets_of_one_stream_that_are_missing_are_named_where_others_are_whole() {
    for (second, lost, expected) in [
        (true, (100, 0), vec!["major"]),
        (true, (0, 0), vec![]),
        // One of 1250 is fewer than 10 in all.
        (true, (1250, 0), vec![]),
        // What is missing alike everywhere, the capture may have lost.
        (true, (100, 100), vec!["cannot tell"]),
        (false, (100, 0), vec!["cannot tell"]),
    ] {
        let said = said(&report(with_losses(second, lost)), "rtp-loss-or-reorder");
        assert_eq!(said, expected, "{second} {lost:?}");
    }
}

#[test]
fn packets_out_of_order_are_context() {
    let mut scene = with_losses(true, (0, 0));
    for index in (100..5_000).step_by(50) {
        scene.frames[index].stamp_ns += 1_500_000;
    }
    assert_eq!(said(&report(scene), "rtp-loss-or-reorder"), ["info"]);
}

#[test]
fn audio_in_bursts_is_named_where_other_audio_comes_evenly() {
    for (bursts, even, expected) in [
        (20, true, vec!["minor"]),
        (2, true, vec![]),
        // All of it may be the capturing host's doing.
        (20, false, vec!["cannot tell"]),
    ] {
        let mut scene = Scene::default();
        for number in [7, 8] {
            let mut part = Scene::default();
            part.audio(&sender(number), 5_000, (48, 48_000), 288, 0);
            for (index, frame) in (0_i64..).zip(&mut part.frames) {
                if number == 7 || !even {
                    frame.stamp_ns =
                        BEGINNING_NS + (index / bursts) * bursts * 1_000_000 + index % bursts * 5_000;
                }
            }
            scene.frames.extend(part.frames);
        }
        assert_eq!(said(&report(scene), "packet-spacing-bursty"), expected, "{bursts} {even}");
    }
}

#[test]
fn a_session_whose_group_is_asked_for_and_stays_empty_is_named() {
    for (asked_for, sent, expected) in
        [(true, false, vec!["minor"]), (false, false, vec![]), (true, true, vec![])]
    {
        let mut scene = Scene::default();
        scene.clock(&actor(1), &actor(20), 40);
        let sender = sender(7);
        scene.announce_audio(1, &sender, &[]);
        scene.query(2, SWITCH, 20);
        if asked_for {
            scene.report(2, 41, sender.group);
        }
        if sent {
            scene.audio(&sender, 1_000, (48, 48_000), 288, 0);
        }
        assert_eq!(said(&report(scene), "session-without-stream"), expected, "{asked_for} {sent}");
    }
}

/// The legs of one stream: to two groups, the second `later_ns` later, in VLANs.
fn legs(later_ns: i64, vlans: [Option<u16>; 2]) -> Scene {
    let mut scene = Scene::default();
    for (vlan, (at, last)) in vlans.into_iter().zip([(0, 7), (later_ns, 8)]) {
        let mut leg = sender(7);
        leg.group = std::net::Ipv4Addr::new(239, 20, 1, last);
        leg.vlan = vlan;
        let mut part = Scene::default();
        part.audio(&leg, 8_000, (48, 48_000), 288, 0);
        for frame in &mut part.frames {
            frame.stamp_ns += at;
        }
        scene.frames.extend(part.frames);
    }
    scene
}

#[test]
fn legs_in_one_vlan_share_a_way() {
    for (vlans, expected) in [
        ([Some(10), Some(10)], vec!["minor"]),
        ([Some(10), Some(20)], vec![]),
        // A mirror may show two networks without their tags.
        ([None, None], vec!["info"]),
    ] {
        assert_eq!(said(&report(legs(50_000, vlans)), "leg-missing-or-identical"), expected, "{vlans:?}");
    }
}

#[test]
fn legs_far_apart_are_named() {
    for (later_ms, expected) in [(12, vec!["major"]), (8, vec![])] {
        let scene = legs(later_ms * 1_000_000, [Some(10), Some(20)]);
        assert_eq!(said(&report(scene), "legs-on-different-time"), expected, "{later_ms}");
    }
}
