//! Pauses of Sync, restarts and holes of the capture in the list of events, a capture's clock that is set back, and a second
//! leader in the last seconds; on made captures whose truth is known.

use serde_json::Value;
use serde_json::json;

use crate::support::craft::capture_file;
use crate::support::craft::ptp_v2::Body;
use crate::support::judged;
use crate::support::media::Scene;
use crate::support::media::sender;
use crate::support::stage::actor;
use crate::support::wire;
use crate::support::wire::Sender;
use crate::support::wire::Wire;
use crate::support::wire::follower;
use crate::support::wire::leader;
use crate::support::wire::number;
use crate::support::wire::origin;

const SECONDS: i64 = 60;
const KINDS: [&str; 3] = ["sync-gap", "numbers-restarted", "capture-hole"];

/// Of the kinds above: when, what, in words.
fn told(report: &Value) -> Vec<(f64, String, String)> {
    let events = report["events"].as_array().unwrap().iter();
    let of_interest = events.filter(|event| KINDS.iter().any(|kind| event["kind"] == *kind));
    let text = |event: &Value, key: &str| event[key].as_str().unwrap().to_owned();
    of_interest
        .map(|event| (event["at_s"].as_f64().unwrap(), text(event, "kind"), text(event, "text")))
        .collect()
}

/// Takes the leader's messages of some types out of some milliseconds.
fn without(wire: &mut Wire, types: &[u8], ms: std::ops::Range<i64>) {
    wire.0.retain(|frame| {
        let at = (frame.stamp_ns - origin(0)) / 1_000_000;
        let is_ptp = frame.octets[36..38] == [0x01, 0x3F] || frame.octets[36..38] == [0x01, 0x40];
        !(is_ptp && types.contains(&(frame.octets[42] & 0x0F)) && ms.contains(&at))
    });
}

#[test]
fn a_pause_of_sync_is_an_event_and_a_silent_leader_is_another() {
    for (types, expected) in [(&[0x0, 0x8][..], 1), (&[0x0, 0x8, 0xB], 0)] {
        let mut wire = wire::sound(SECONDS);
        without(&mut wire, types, 20_050..26_050);
        wire.media(0..SECONDS);
        let report = wire.report();
        let told = told(&report);
        assert_eq!(told.len(), expected, "{told:?}");
        if let Some((at, kind, text)) = told.first() {
            assert_eq!(kind, "sync-gap");
            assert!((19.5..20.1).contains(at), "{at}");
            assert!(text.contains("pauses for 6.") && text.contains("48 numbers are missing"), "{text}");
        }
    }
}

#[test]
fn a_restart_is_an_event_at_its_first_message() {
    let mut wire = wire::sound(SECONDS);
    let asker = follower(21);
    for second in 10..40_i64 {
        let us = second * 1_000_000 + 400_000;
        let sequence = number(if second < 25 { 300 + second } else { second - 25 });
        wire.put(us, &asker, sequence, &Body::DelayReq { origin_ns: 0 });
        let answer = Body::DelayResp { receipt_ns: origin(us + 10), requester: asker.actor.port };
        wire.put(us + 1000, &leader(), sequence, &answer);
    }
    let report = wire.report();
    let told = told(&report);
    let [(at, kind, text)] = &told[..] else { panic!("{told:?}") };
    assert_eq!(kind, "numbers-restarted");
    assert!((at - 25.4).abs() < 0.1, "{at}");
    assert!(text.contains("Delay_Req anew"), "{text}");
}

#[test]
fn a_hole_of_the_capture_is_an_event() {
    let mut wire = wire::sound(SECONDS);
    wire.0.retain(|frame| !(20..40).contains(&((frame.stamp_ns - origin(0)) / 1_000_000_000)));
    let report = wire.report();
    let told = told(&report);
    let [(at, kind, text)] = &told[..] else { panic!("{told:?}") };
    assert_eq!(kind, "capture-hole");
    assert!((19.0..20.0).contains(at) && text.contains("nothing at all was captured for 20"), "{at} {text}");
}

/// A hand-over that goes on beyond the end looks like two that lead.
#[test]
fn a_second_clock_in_the_last_seconds_leaves_no_sound_verdict() {
    for (from, verdict) in [(SECONDS, "sound"), (SECONDS - 3, "cannot-tell")] {
        let mut wire = wire::sound(SECONDS);
        wire.leads(from..SECONDS, &follower(2));
        let report = wire.report();
        assert_eq!(report["verdict"], verdict, "{from}: {}", report["findings"]);
        let is_told = report["verdict_because"].as_str().unwrap().contains("a second clock");
        assert_eq!(is_told, from < SECONDS);
    }
}

/// The Announces do not show it yet.
#[test]
fn a_leader_whose_sync_stops_before_the_end_leaves_no_sound_verdict() {
    for (from_ms, verdict) in
        [(SECONDS * 1000, "sound"), (SECONDS * 1000 - 500, "sound"), (57_500, "cannot-tell")]
    {
        let mut wire = wire::sound(SECONDS);
        without(&mut wire, &[0x0, 0x8], from_ms..SECONDS * 1000 + 1);
        wire.media(0..SECONDS);
        let report = wire.report();
        assert_eq!(report["verdict"], verdict, "{from_ms}: {}", report["verdict_because"]);
        let is_told = report["verdict_because"].as_str().unwrap().contains("no Sync of the leader");
        assert_eq!(is_told, verdict == "cannot-tell");
    }
}

/// A leader that was seen is not told as one that was not.
#[test]
fn a_capture_that_ends_without_the_leader_says_that_one_led() {
    let mut wire = wire::sound(SECONDS);
    without(&mut wire, &[0x0, 0x8, 0x9, 0xB], 50_000..SECONDS * 1000 + 1);
    let report = wire.report();
    assert!(!report["verdict_because"].as_str().unwrap().contains("no leader was seen"), "{report}");
}

/// Linear audio of 1 ms for 40 s, and a clock; after 20 s the capture's clock is set back by `back_s`.
fn set_back(back_s: i64) -> Value {
    let mut scene = Scene::default();
    scene.clock(&actor(1), &actor(20), 40);
    scene.audio(&sender(7), 39_900, (48, 48_000), 288, 0);
    scene.frames.sort_by_key(|frame| frame.stamp_ns);
    let middle = scene.frames.first().unwrap().stamp_ns + 20_000_000_000;
    for frame in scene.frames.iter_mut().filter(|frame| frame.stamp_ns >= middle) {
        frame.stamp_ns -= back_s * 1_000_000_000;
    }
    judged::files(&[("made.pcap", capture_file::pcap(65_535, &scene.frames))]).value()
}

#[test]
fn a_capture_clock_that_is_set_back_changes_no_mean_and_no_kind() {
    let plain = set_back(0);
    let figure = |report: &Value, place: &str| report.pointer(place).unwrap().as_f64().unwrap();
    for back_s in [5, 30] {
        let report = set_back(back_s);
        for place in ["/streams/0/mean_bps", "/link/mean_bps", "/streams/0/interval_ns/every"] {
            let (found, expected) = (figure(&report, place), figure(&plain, place));
            assert!((found / expected - 1.0).abs() < 0.001, "{back_s} {place}: {found} {expected}");
        }
        let kept = ["kind", "clock_rate_hz", "packets", "rtp"];
        for key in kept {
            assert_eq!(report["streams"][0][key], plain["streams"][0][key], "{back_s} {key}");
        }
        // No line goes through stamps of a clock that was set.
        assert_eq!(report["streams"][0]["media_rate_ppm"], json!(null));
        assert!(plain["streams"][0]["media_rate_ppm"].is_number());
    }
}

/// Requests that nobody could answer are no fault of the next leader.
#[test]
fn an_excerpt_that_begins_while_nobody_leads_accuses_nobody() {
    let capture = concat!(env!("CARGO_MANIFEST_DIR"), "/captures/playhouse-leader-lost.pcapng");
    for (from, until) in [("40", "45"), ("41", "46"), ("41", "44.5"), ("42", "47")] {
        let output = assert_cmd::cargo::cargo_bin_cmd!("downbeat")
            .args([
                "check",
                "--format",
                "json",
                "--fail-on",
                "never",
                "--from",
                from,
                "--until",
                until,
                capture,
            ])
            .output()
            .unwrap();
        let report: Value = serde_json::from_slice(&output.stdout).unwrap();
        let findings = report["findings"].as_array().unwrap();
        assert!(findings.iter().all(|it| it["id"] != "delay-response-missing"), "{from}: {findings:#?}");
        let asked: u64 = report["domains"][0]["requesters"]
            .as_array()
            .unwrap()
            .iter()
            .map(|asker| asker["unanswered"].as_u64().unwrap())
            .sum();
        assert!(asked > 0, "{from}: somebody asked while nobody led");
    }
}

/// A leader that takes over and answers nobody is one all the same.
#[test]
fn a_leader_that_follows_upon_silence_and_answers_nobody_is_told() {
    let mut wire = Wire::default();
    wire.media(0..30);
    wire.leads(10..30, &leader());
    for last in [20, 21, 22] {
        wire.asks(0..30, &follower(last));
    }
    let report = wire.report();
    let deaf: Vec<&Value> = report["findings"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|it| it["id"] == "delay-response-missing")
        .collect();
    let [deaf] = &deaf[..] else { panic!("{report}") };
    assert_eq!(deaf["severity"], "critical");
}

/// A file with PTP, and another one that goes on after it.
#[test]
fn a_leader_is_not_lost_because_its_file_ends_before_another_does() {
    let mut ptp = wire::sound(40);
    ptp.0.sort_by_key(|frame| frame.stamp_ns);
    let part = |from: i64, until: i64, shift_ns: i64| {
        let mut other = Wire::default();
        other.media(from..until);
        for frame in &mut other.0 {
            frame.stamp_ns += shift_ns;
        }
        capture_file::pcap(65_535, &other.0)
    };
    let file = capture_file::pcap(65_535, &ptp.0);
    let report = |other: Vec<u8>| judged::files(&[("a.pcap", file.clone()), ("b.pcap", other)]).value();
    for other in [part(0, 70, 0), part(0, 40, 8_000_000_000)] {
        let report = report(other);
        assert_eq!(report["verdict"], "sound", "{}", report["findings"]);
        assert_eq!(report["domains"][0]["tenures"][0]["ended_by"], "capture-end");
    }
    // The next file of a ring shows that it is lost.
    let report = report(part(40, 70, 0));
    assert_eq!(report["findings"][0]["id"], "no-grandmaster", "{}", report["findings"]);
}

/// Nobody asks, and media alone show that the capture missed nothing.
#[test]
fn a_leader_that_is_not_heard_while_media_come_whole_is_told() {
    let made = |lost: bool| {
        let mut scene = Scene::default();
        scene.clock(&actor(1), &actor(20), 60);
        scene.audio(&sender(7), 59_900, (48, 48_000), 288, 0);
        scene.frames.sort_by_key(|frame| frame.stamp_ns);
        let begin = scene.frames.first().unwrap().stamp_ns;
        let is_media = |octets: &[u8]| octets.len() > 200;
        scene.frames.retain(|frame| {
            let ms = (frame.stamp_ns - begin) / 1_000_000;
            let gone = (20_000..28_000).contains(&ms);
            let asks = !is_media(&frame.octets)
                && frame.octets.get(42).is_some_and(|first| matches!(first & 0x0F, 1 | 9));
            !(asks || gone && (!is_media(&frame.octets) || lost && ms % 3 == 0))
        });
        judged::files(&[("made.pcap", capture_file::pcap(65_535, &scene.frames))]).value()
    };
    let count = |report: &Value, list: &str, key: &str| {
        // With numbers that do not count on, the lead counts as lost.
        let is_it = |it: &&Value| it[key] == "leader-not-heard" || it[key] == "leader-lost";
        report[list].as_array().unwrap().iter().filter(is_it).count()
    };
    let report = made(false);
    assert_eq!((count(&report, "findings", "id"), count(&report, "events", "kind")), (1, 1), "{report:#}");
    assert!(report["findings"][0]["title"].as_str().unwrap().contains("media of others went on"));
    // Where media are missing too the capture may have lost it all: that it was not there is told, and no more.
    let report = made(true);
    assert_eq!((count(&report, "findings", "id"), count(&report, "events", "kind")), (0, 1), "{report:#}");
}

/// What stops is told: a clock that sends Sync is not silent.
#[test]
fn a_leader_that_stops_announcing_alone_is_not_called_silent() {
    for (types, says) in [(&[0xB][..], "its Sync goes on"), (&[0xB, 0x0, 0x8], "fell silent")] {
        let mut wire = wire::sound(SECONDS);
        without(&mut wire, types, 30_000..SECONDS * 1000 + 1);
        wire.media(0..SECONDS);
        let report = wire.report();
        let lost = &report["findings"][0];
        assert_eq!(lost["id"], "no-grandmaster");
        assert!(lost["title"].as_str().unwrap().contains(says), "{lost:#}");
        assert_eq!(report["domains"][0]["tenures"][0]["sync_went_on"], types.len() == 1);
    }
}

/// Once is too little to know whether it will lead, and too much to call the capture sound.
#[test]
fn a_better_clock_that_announces_once_at_the_end_leaves_no_sound_verdict() {
    for (priority1, verdict) in [(200, "sound"), (10, "cannot-tell")] {
        let mut newcomer = wire::referenced(9);
        newcomer.data.priority1 = priority1;
        let mut last = Wire::default();
        last.leads(SECONDS - 1..SECONDS, &Sender::of(newcomer));
        let mut wire = wire::sound(SECONDS);
        wire.0.extend(last.0.into_iter().filter(|frame| frame.octets[42] & 0x0F == 0xB).take(1));
        let report = wire.report();
        assert_eq!(report["verdict"], verdict, "{priority1}: {}", report["findings"]);
    }
}
