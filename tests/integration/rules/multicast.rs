//! Rules about multicast: made captures on which each fires, near misses, and captures that cannot tell.

use std::net::Ipv4Addr;

use serde_json::Value;

use crate::support::judged;
use crate::support::media::Scene;
use crate::support::media::sender;
use crate::support::membership::SECOND;
use crate::support::membership::SWITCH;
use crate::support::script::Script;
use crate::support::script::said;
use crate::support::stage::actor;

const WHOLE: u32 = 65_535;
const LOWER: Ipv4Addr = Ipv4Addr::new(192, 168, 20, 2);
const PTP: Ipv4Addr = Ipv4Addr::new(224, 0, 1, 129);
const NOTHING: [&str; 0] = [];

fn report(scene: Scene) -> Value {
    judged::files(&[("made.pcap", scene.file(WHOLE))]).value()
}

/// A packet of audio each second of `seconds`, so that the capture goes on.
fn goes_on(scene: &mut Scene, seconds: i64) {
    let sender = sender(9);
    for second in 0..seconds {
        let sequence = u16::try_from(second).unwrap();
        let timestamp = u32::try_from(second).unwrap() * 48_000;
        scene.pass(second * SECOND, sender.frame(&sender.rtp(sequence, timestamp, false, 48)));
    }
}

#[test]
fn a_querier_that_stops_is_named_once_others_would_have_taken_over() {
    // 2 × 20 s and half a second, by what it declares.
    for (seconds, expected) in [(140, vec!["critical"]), (95, vec![])] {
        let mut scene = Scene::default();
        goes_on(&mut scene, seconds);
        for query in 0..4 {
            scene.query(query * 20, SWITCH, 20);
            scene.report(query * 20, 41, PTP);
        }
        assert_eq!(said(&report(scene), "no-querier"), expected, "{seconds}");
    }
}

#[test]
fn a_network_where_nobody_asks_is_named_after_five_minutes_and_not_judged_before() {
    for (seconds, with_report, expected) in [
        (310, true, vec!["major"]),
        (200, true, vec!["cannot tell"]),
        (100, true, vec![]),
        // Without any membership traffic there may be no such thing, or a filter.
        (310, false, vec![]),
    ] {
        let mut scene = Scene::default();
        goes_on(&mut scene, seconds);
        if with_report {
            scene.report(3, 41, PTP);
        }
        assert_eq!(said(&report(scene), "no-querier"), expected, "{seconds} {with_report}");
    }
}

#[test]
fn a_querier_whose_silence_falls_into_a_hole_of_the_capture_is_not_judged() {
    let mut scene = Scene::default();
    goes_on(&mut scene, 61);
    for query in 0..4 {
        scene.query(query * 20, SWITCH, 20);
        scene.report(query * 20, 41, PTP);
    }
    let sender = sender(9);
    for second in 300..310 {
        let sequence = u16::try_from(second).unwrap();
        scene.pass(second * SECOND, sender.frame(&sender.rtp(sequence, 0, false, 48)));
    }
    assert_eq!(said(&report(scene), "no-querier"), ["cannot tell"]);
}

#[test]
fn two_queriers_side_by_side_contend_and_one_that_takes_over_is_a_move() {
    // (queries of the lower one, from where on it asks, what is said)
    for (seconds, from, count, until, expected) in
        [(120, 0, 6, 120, vec!["major"]), (120, 60, 3, 61, vec!["minor"]), (120, 0, 0, 120, vec![])]
    {
        let mut scene = Scene::default();
        goes_on(&mut scene, seconds);
        for query in (0..6).filter(|query| query * 20 < until) {
            scene.query(query * 20, SWITCH, 20);
        }
        for query in 0..count {
            scene.query(from + query * 20 + 3, LOWER, 20);
        }
        assert_eq!(said(&report(scene), "querier-contention-or-move"), expected, "{from} {count}");
    }
}

#[test]
fn queries_of_nobody_are_named_unless_somebody_asks_as_well() {
    // 2 × 20 s and half a second, by what it declares.
    for (other, seconds, expected) in
        [(None, 43, vec!["minor"]), (None, 41, vec!["cannot tell"]), (Some(SWITCH), 43, vec![])]
    {
        let mut scene = Scene::default();
        goes_on(&mut scene, seconds);
        scene.query(1, Ipv4Addr::UNSPECIFIED, 20);
        if let Some(other) = other {
            scene.query(2, other, 20);
        }
        assert_eq!(said(&report(scene), "querier-without-address"), expected, "{other:?}");
    }
}

#[test]
fn queriers_of_two_versions_and_timers_without_room_are_named() {
    for (second_version, interval, expected) in
        [(true, 20, vec!["minor"]), (false, 1, vec!["minor"]), (false, 20, vec![])]
    {
        let mut scene = Scene::default();
        goes_on(&mut scene, 60);
        for query in 0..3 {
            // One second is left for the answers.
            scene.query(query * 20, SWITCH, interval);
            if second_version {
                scene.query_v2(query * 20 + 1, LOWER);
            }
        }
        let said = said(&report(scene), "querier-version-or-timer-mix");
        assert_eq!(said, expected, "{second_version} {interval}");
    }
}

#[test]
fn one_group_with_two_senders_is_named_and_a_change_of_sender_is_not() {
    for (group, from, expected) in [
        (Ipv4Addr::new(239, 20, 1, 7), 0, vec!["critical"]),
        // After the first one has ended.
        (Ipv4Addr::new(239, 20, 1, 7), 20, vec![]),
        // Receivers name the source.
        (Ipv4Addr::new(232, 20, 1, 7), 0, vec![]),
    ] {
        let mut scene = Scene::default();
        for (number, from) in [(1, 0), (2, from)] {
            let mut sender = sender(number);
            sender.group = group;
            let mut own = Scene::default();
            own.audio(&sender, 10_000, (48, 48_000), 288, 0);
            for frame in &mut own.frames {
                frame.stamp_ns += from * SECOND;
            }
            scene.frames.extend(own.frames);
        }
        let report = report(scene);
        assert_eq!(said(&report, "group-used-twice"), expected, "{group} {from}");
        if !expected.is_empty() {
            let finding = found(&report, "group-used-twice");
            assert_eq!(finding["stream"], "192.168.20.2>239.20.1.7:5004 ssrc 5e000002");
        }
    }
}

fn found(report: &Value, id: &str) -> Value {
    let all = report["findings"].as_array().unwrap();
    all.iter().find(|finding| finding["id"] == id).unwrap().clone()
}

#[test]
fn groups_that_share_a_mac_address_are_named_graver_where_packets_meet() {
    for (groups, expected) in [
        ([Ipv4Addr::new(239, 20, 1, 1), Ipv4Addr::new(239, 148, 1, 1)], vec!["major"]),
        ([Ipv4Addr::new(239, 20, 1, 1), Ipv4Addr::new(239, 20, 1, 2)], vec![]),
        // PTP's own address.
        ([Ipv4Addr::new(239, 128, 1, 129), Ipv4Addr::new(239, 20, 1, 2)], vec!["major"]),
        // That of 224.0.0.251.
        ([Ipv4Addr::new(239, 0, 0, 251), Ipv4Addr::new(239, 20, 1, 2)], vec!["major"]),
    ] {
        let mut scene = Scene::default();
        for (number, group) in (1..).zip(groups) {
            let mut sender = sender(number);
            sender.group = group;
            scene.audio(&sender, 50, (48, 48_000), 288, 0);
        }
        assert_eq!(said(&report(scene), "multicast-mac-overlap"), expected, "{groups:?}");
    }
    let mut scene = Scene::default();
    goes_on(&mut scene, 5);
    scene.report(1, 41, Ipv4Addr::new(239, 20, 1, 1));
    scene.report(2, 42, Ipv4Addr::new(239, 148, 1, 1));
    assert_eq!(said(&report(scene), "multicast-mac-overlap"), ["minor"], "asked for only");
}

#[test]
fn media_in_groups_of_protocols_are_named() {
    for (group, expected) in [
        (Ipv4Addr::new(224, 0, 0, 200), vec!["minor"]),
        (Ipv4Addr::new(224, 0, 1, 200), vec!["minor"]),
        (Ipv4Addr::new(224, 0, 2, 200), vec![]),
        (Ipv4Addr::new(239, 0, 2, 200), vec![]),
    ] {
        let mut sender = sender(1);
        sender.group = group;
        let mut scene = Scene::default();
        scene.audio(&sender, 50, (48, 48_000), 288, 0);
        assert_eq!(said(&report(scene), "multicast-outside-plan"), expected, "{group}");
    }
}

/// Turns a frame's UDP checksum into what is there before an adapter finishes it: the sum of the pseudo-header.
fn unfinished(frame: &mut [u8]) {
    let sum: u32 = frame[26..34]
        .chunks(2)
        .chain([&frame[38..40], &[0, 17]])
        .fold(0, |sum, pair| sum + u32::from(u16::from_be_bytes([pair[0], pair[1]])));
    let folded = u16::try_from((sum & 0xffff) + (sum >> 16)).unwrap();
    frame[40..42].copy_from_slice(&folded.to_be_bytes());
}

/// At the port of follower 20: the leader's time, its own requests, and queries each 20 s that it answers by naming
/// `groups`.
fn at_a_follower(seconds: i64, groups: &[Ipv4Addr]) -> Scene {
    let mut scene = Scene::default();
    scene.clock(&actor(1), &actor(20), seconds);
    for frame in &mut scene.frames {
        if frame.octets[11] == 20 {
            unfinished(&mut frame.octets);
        }
    }
    for second in (1..seconds - 2).step_by(20) {
        scene.query(second, SWITCH, 20);
        for group in groups {
            scene.report(second, 20, *group);
        }
    }
    scene
}

#[test]
fn a_follower_that_does_not_name_ptps_group_is_named_at_its_own_port() {
    let other = Ipv4Addr::new(239, 20, 1, 1);
    for (groups, expected) in [(vec![other], vec!["critical"]), (vec![other, PTP], vec![])] {
        let scene = at_a_follower(60, &groups);
        let report = report(scene);
        assert_eq!(report["viewpoint"]["kind"], "at-follower");
        assert_eq!(said(&report, "member-without-report"), expected, "{groups:?}");
    }
    // Elsewhere its reports would not pass.
    let mut scene = at_a_follower(60, &[other]);
    scene.frames.retain(|frame| frame.octets[11] != 20 || frame.octets[23] != 17);
    let mut elsewhere = Scene::default();
    elsewhere.clock(&actor(1), &actor(20), 60);
    scene.frames.retain(|frame| frame.octets[23] == 2);
    scene.frames.extend(elsewhere.frames);
    assert_eq!(said(&report(scene), "member-without-report"), ["cannot tell"]);
}

#[test]
fn streams_that_a_device_did_not_ask_for_are_named_at_its_port() {
    let sender = sender(7);
    for (groups, packets, expected) in [
        (vec![PTP], 20_000, vec!["minor"]),
        (vec![PTP, sender.group], 20_000, vec![]),
        // Shorter than 10 s.
        (vec![PTP], 5_000, vec![]),
        // It named nothing, so what it asked for before is not known.
        (vec![], 20_000, vec!["cannot tell"]),
    ] {
        let mut scene = at_a_follower(60, &groups);
        scene.audio(&sender, packets, (48, 48_000), 288, 0);
        let said = said(&report(scene), "multicast-flooding");
        assert_eq!(said, expected, "{groups:?} {packets}");
    }
}

#[test]
fn a_mirror_of_everything_floods_nobody() {
    let mut scene = Scene::default();
    scene.clock(&actor(1), &actor(20), 30);
    scene.query(1, SWITCH, 20);
    scene.report(1, 20, PTP);
    scene.audio(&sender(7), 20_000, (48, 48_000), 288, 0);
    assert_eq!(said(&report(scene), "multicast-flooding"), NOTHING);
}

#[test]
fn ptp_over_ethernet_that_ends_with_the_first_query_is_named() {
    for (asked_at, ptp_until, expected) in [(40, 42, vec!["critical"]), (40, 80, vec![]), (10, 12, vec![])] {
        let leader = actor(1);
        let mut script = Script::default();
        script.leads(0, ptp_until, (&leader, leader.mac), 0);
        let mut scene = Scene::default();
        goes_on(&mut scene, 80);
        scene.query(asked_at, SWITCH, 20);
        scene.frames.extend(script.0);
        let said = said(&report(scene), "layer2-ptp-dropped-by-snooping");
        assert_eq!(said, expected, "{asked_at} {ptp_until}");
    }
}
