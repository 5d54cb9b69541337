//! Rules about load and about the capture itself: made captures on which each fires, and near misses.

use std::sync::Arc;

use downbeat::analysis::Settings;
use downbeat::site;
use downbeat::units::BitsPerSecond;
use serde_json::Value;

use crate::support::craft::capture_file;
use crate::support::craft::capture_file::Interface;
use crate::support::judged;
use crate::support::media::BEGINNING_NS;
use crate::support::media::Scene;
use crate::support::media::sender;
use crate::support::membership::SECOND;
use crate::support::script::said;
use crate::support::stage::actor;

const WHOLE: u32 = 65_535;
const MEGA: u64 = 1_000_000;

/// About 11 Mb/s of audio for 12 s: 1 370 octets on the wire each millisecond.
fn audio() -> Scene {
    let mut scene = Scene::default();
    scene.audio(&sender(7), 12_000, (48, 48_000), 1_292, 0);
    scene
}

fn judged_at(scene: Scene, speed: Option<u64>, plan: &str) -> Value {
    let site = site::parse(plan).unwrap();
    let settings = Settings {
        link_speed: speed.map(|mega| BitsPerSecond(mega * MEGA)),
        site: (!plan.is_empty()).then(|| Arc::new(site)),
        ..Settings::default()
    };
    judged::with(settings, &[("made.pcap", scene.file(WHOLE))]).value()
}

#[test]
fn a_link_that_a_second_nearly_fills_is_named_by_its_known_speed() {
    for (speed, expected) in [(Some(15), vec!["major"]), (Some(16), vec![]), (None, vec![])] {
        assert_eq!(said(&judged_at(audio(), speed, ""), "link-near-full"), expected, "{speed:?}");
    }
}

#[test]
fn a_link_without_room_for_one_more_or_for_the_plan_is_named() {
    let plan = |rate: &str| format!("[[planned]]\nname = \"cameras\"\ncount = 2\nrate = \"{rate}\"\n");
    for (speed, plan, expected) in [
        // A quarter stays free: 15 of 20, 18.75 of 25, 30 of 40 Mb/s.
        (Some(20), String::new(), vec!["minor"]),
        (Some(40), String::new(), vec![]),
        (None, String::new(), vec![]),
        (Some(40), plan("8M"), vec![]),
        (Some(40), plan("20M"), vec!["major"]),
        // Near full is a rule of its own.
        (Some(15), String::new(), vec![]),
    ] {
        let said = said(&judged_at(audio(), speed, &plan), "low-headroom-for-new-endpoints");
        assert_eq!(said, expected, "{speed:?} {plan}");
    }
}

#[test]
fn a_storm_of_broadcasts_is_named() {
    for (a_second, expected) in [(1_200, vec!["major"]), (900, vec![])] {
        let mut scene = Scene::default();
        for index in 0..a_second * 3 {
            scene.broadcast(index * SECOND / a_second, 7);
        }
        assert_eq!(said(&judged_at(scene, None, ""), "broadcast-or-unknown-load"), expected, "{a_second}");
    }
}

#[test]
fn many_requests_at_the_leader_are_named() {
    for (askers, expected) in [(130_u8, vec!["minor"]), (110, vec![])] {
        let mut scene = Scene::default();
        for number in 0..askers {
            let mut one = Scene::default();
            one.clock(&actor(1), &actor(100 + number), 15);
            if number > 0 {
                one.frames.retain(|frame| frame.octets[11] != 1);
            }
            for frame in one.frames {
                let times = if frame.octets[11] == 1 { 1 } else { 8 };
                for again in 0..times {
                    let mut frame = frame.clone();
                    frame.stamp_ns += again * 120_000_000;
                    scene.frames.push(frame);
                }
            }
        }
        assert_eq!(said(&judged_at(scene, None, ""), "ptp-load-on-master"), expected, "{askers}");
    }
}

#[test]
fn a_capture_whose_clock_was_set_says_so() {
    for (ahead, both, expected) in [(50, true, vec!["info"]), (0, true, vec![]), (50, false, vec![])] {
        let mut scene = Scene::default();
        scene.clock(&actor(1), &actor(20), 30);
        if both {
            scene.clock(&actor(2).in_domain(5), &actor(21).in_domain(5), 30);
        }
        for frame in &mut scene.frames {
            if frame.stamp_ns > BEGINNING_NS + 15 * SECOND {
                frame.stamp_ns += ahead * 1_000_000;
            }
        }
        let report = judged_at(scene, None, "");
        assert_eq!(said(&report, "capture-clock-step"), expected, "{ahead} {both}");
    }
}

#[test]
fn stamps_in_coarse_steps_are_context() {
    for (decimals, expected) in [(5_u8, vec!["info"]), (6, vec![])] {
        let mut scene = Scene::default();
        scene.clock(&actor(1), &actor(20), 12);
        scene.frames.sort_by_key(|frame| frame.stamp_ns);
        for frame in &mut scene.frames {
            frame.stamp_ns /= 10_i64.pow(9 - u32::from(decimals));
        }
        let interfaces = [Interface { name: "port0", filter: "", snap_octets: 262_144 }];
        let mut file = capture_file::pcapng("", &interfaces, &scene.frames);
        // if_tsresol stands with nine decimals.
        let option = file.windows(5).position(|octets| octets == [9, 0, 1, 0, 9]).unwrap();
        file[option + 4] = decimals;
        let report = judged::files(&[("made.pcapng", file)]).value();
        assert_eq!(said(&report, "coarse-timestamps"), expected, "{decimals}");
    }
}

#[test]
fn frames_that_the_capturing_machine_lost_are_context() {
    let mut scene = Scene::default();
    scene.clock(&actor(1), &actor(20), 12);
    scene.frames.sort_by_key(|frame| frame.stamp_ns);
    let interfaces = [Interface { name: "port0", filter: "", snap_octets: 262_144 }];
    let file = capture_file::pcapng("", &interfaces, &scene.frames);
    // An Interface Statistics Block with isb_ifdrop 12 (pcapng draft section 4.6).
    let block = |drops: u64| {
        let mut block = Vec::new();
        for word in [5_u32, 40, 0, 0, 0] {
            block.extend(word.to_le_bytes());
        }
        block.extend([5_u16, 8].map(u16::to_le_bytes).concat());
        block.extend(drops.to_le_bytes());
        block.extend([0_u8; 4]);
        block.extend(40_u32.to_le_bytes());
        block
    };
    for (drops, expected) in [(12, vec!["info"]), (0, vec![])] {
        let file = [file.clone(), block(drops)].concat();
        let report = judged::files(&[("made.pcapng", file)]).value();
        assert_eq!(said(&report, "capture-drops"), expected, "{drops}");
        // Counted by who captured, and not concluded from what is missing.
        let findings = report["findings"].as_array().unwrap().iter();
        let mut strengths =
            findings.filter(|finding| finding["id"] == "capture-drops").map(|told| &told["strength"]);
        assert!(strengths.all(|strength| strength == "shown"));
    }
}

#[test]
fn a_capture_of_a_few_seconds_says_so() {
    for (seconds, expected) in [(5, vec!["info"]), (15, vec![])] {
        let mut scene = Scene::default();
        scene.clock(&actor(1), &actor(20), seconds);
        assert_eq!(said(&judged_at(scene, None, ""), "capture-too-short"), expected, "{seconds}");
    }
}

#[test]
fn messages_that_were_captured_twice_are_context() {
    for (again, expected) in [(true, vec!["info"]), (false, vec![])] {
        let mut scene = Scene::default();
        scene.clock(&actor(1), &actor(20), 12);
        if again {
            let mut copies = scene.clone();
            for frame in &mut copies.frames {
                frame.stamp_ns += 2_000;
            }
            scene.frames.extend(copies.frames);
        }
        assert_eq!(said(&judged_at(scene, None, ""), "mirror-duplicates"), expected, "{again}");
    }
}
