//! What is over, hidden or too young to tell: made captures that must not be called sound, and near misses.

use crate::support::judged;
use crate::support::media;
use crate::support::script::said;
use crate::support::script::text;
use crate::support::stage::actor;
use crate::support::wire::Sender;
use crate::support::wire::Wire;
use crate::support::wire::follower;
use crate::support::wire::leader;
use crate::support::wire::origin;
use crate::support::wire::sound;

const SECONDS: i64 = 90;

/// A leader and three followers, all in view; nobody is answered, and nothing of the leader heard, in `away`.
fn away(away: std::ops::Range<i64>, asks_go_on: bool) -> Wire {
    let mut wire = Wire::default();
    wire.media(0..SECONDS);
    for part in [0..away.start, away.end..SECONDS] {
        wire.leads(part.clone(), &leader());
        for last in [20, 21, 22] {
            wire.answers(part.clone(), &leader(), &follower(last));
            if !asks_go_on {
                wire.asks(part.clone(), &follower(last));
            }
        }
    }
    for last in [20, 21, 22].into_iter().filter(|_| asks_go_on) {
        wire.asks(0..SECONDS, &follower(last));
    }
    wire
}

#[test]
fn a_leader_that_was_away_and_counted_on_is_told_with_from_and_until() {
    for until in [46, 60, 80] {
        let report = away(40..until, true).report();
        assert_eq!(said(&report, "leader-not-heard"), ["major"], "{until}");
        assert_eq!(report["verdict"], "fault");
        assert!(text(&report, "leader-not-heard").contains(&format!("to {until}")), "{}", report["findings"]);
        let events = report["events"].as_array().unwrap();
        assert!(events.iter().any(|event| event["kind"] == "leader-not-heard"), "{events:?}");
        assert!(said(&report, "delay-response-missing").is_empty(), "it is not the followers' matter");
    }
    for (near_miss, why) in [
        (away(40..42, true), "two Announces may be lost"),
        (away(40..60, false), "nobody asked: this may not have been in view"),
    ] {
        let said = said(&near_miss.report(), "leader-not-heard");
        assert!(said.iter().all(|said| said == "cannot tell"), "{why}: {said:?}");
    }
}

#[test]
fn announces_alone_that_were_missing_are_minor() {
    let mut wire = away(0..0, true);
    let within = |stamp_ns: i64| (origin(39_500_000)..origin(55_500_000)).contains(&stamp_ns);
    let is_announce = |octets: &[u8]| octets.len() > 42 && octets[35] != 0 && octets[42] & 0x0F == 0xB;
    wire.0.retain(|frame| !(within(frame.stamp_ns) && is_announce(&frame.octets)));
    assert_eq!(said(&wire.report(), "leader-not-heard"), ["minor"]);
}

#[test]
fn what_is_minor_does_not_hide_that_nothing_is_shown() {
    for (seconds, led, expected) in
        [(60, true, "watch"), (60, false, "cannot-tell"), (2, true, "cannot-tell")]
    {
        let mut wire = Wire::default();
        if led {
            wire.leads(0..seconds, &leader());
        }
        for last in 20..28 {
            let dscp = if last % 2 == 0 { 46 } else { 0 };
            let asker = Sender { dscp, ..follower(last) };
            wire.asks(0..seconds, &asker);
            if led {
                wire.answers(0..seconds, &leader(), &asker);
            }
        }
        let report = wire.report();
        assert_eq!(report["verdict"], expected, "{seconds} {led}: {}", report["findings"]);
        if seconds == 60 {
            assert_eq!(said(&report, "dscp-missing-or-inconsistent"), ["minor"], "{led}");
        }
    }
}

#[test]
fn nobody_leads_and_the_leaders_direction_is_missing_are_both_named() {
    let mut wire = Wire::default();
    for last in [20, 21, 22] {
        wire.asks(0..60, &follower(last));
    }
    let report = wire.report();
    assert_eq!(report["verdict"], "cannot-tell");
    let because = report["verdict_because"].as_str().unwrap();
    assert!(because.contains("no clock leads") && because.contains("direction"), "{because}");
}

/// 8 in a row (chosen).
#[test]
fn answers_that_were_missing_are_told_when_they_are_back() {
    for (silent_s, deaf, expected) in [
        (20, vec![20], vec!["minor"]),
        (20, vec![20, 21], vec!["minor", "minor"]),
        (20, vec![20, 21, 22], vec!["major"]),
        (6, vec![20, 21, 22], vec![]),
    ] {
        let mut wire = Wire::default();
        wire.leads(0..SECONDS, &leader());
        for last in [20, 21, 22] {
            wire.asks(0..SECONDS, &follower(last));
            let away = if deaf.contains(&last) { 30..30 + silent_s } else { 30..30 };
            wire.answers(0..away.start, &leader(), &follower(last));
            wire.answers(away.end..SECONDS, &leader(), &follower(last));
        }
        assert_eq!(said(&wire.report(), "delay-response-missing"), expected, "{silent_s} {deaf:?}");
    }
}

#[test]
fn a_second_leader_in_the_last_seconds_is_neither_a_fault_yet_nor_sound() {
    let second = Sender::of(actor(2));
    for (from, expected) in [(55, vec!["info"]), (59, vec![]), (30, vec!["critical"])] {
        let mut wire = sound(60);
        wire.leads(from..60, &second);
        let report = wire.report();
        assert_eq!(said(&report, "two-masters-one-domain"), expected, "{from}");
        let devices = report["devices"].as_array().unwrap();
        assert!(devices.iter().all(|device| device["state"] != "standing-by"), "{from}");
    }
    // One that yielded.
    let mut wire = sound(60);
    wire.leads(0..4, &second);
    assert!(said(&wire.report(), "two-masters-one-domain").is_empty());
}

#[test]
fn a_media_clock_that_went_on_shows_whose_time_jumped() {
    for (by_ns, with_media, expected) in
        [(10_000_000, true, vec!["critical"]), (10_000_000, false, vec!["cannot tell"]), (0, true, vec![])]
    {
        let mut scene = media::Scene::default();
        scene.clock_that_jumps(&actor(1), &actor(2), 40, (20, by_ns));
        if with_media {
            scene.audio(&media::sender(7), 40_000, (48, 48_000), 288, 0);
        }
        let report = judged::files(&[("made.pcap", scene.file(262_144))]).value();
        assert_eq!(said(&report, "master-time-jump"), expected, "{by_ns} {with_media}");
    }
}

#[test]
fn what_the_capture_itself_lost_is_told() {
    let whole = || {
        let mut wire = sound(SECONDS);
        wire.follows(0..SECONDS, &follower(21), &leader());
        wire.follows(0..SECONDS, &follower(22), &leader());
        wire
    };
    assert!(said(&whole().report(), "capture-drops").is_empty());
    let mut lossy = whole();
    let mut number = 0_u64;
    lossy.0.retain(|_| {
        number = (number * 1_103_515_245 + 12_345) % 2_147_483_648;
        (number >> 16) % 10 >= 2
    });
    assert_eq!(said(&lossy.report(), "capture-drops"), ["info"]);
    assert!(text(&lossy.report(), "capture-drops").contains("every sender"));
    let concluded = lossy.report();
    let finding = concluded["findings"].as_array().unwrap().iter().find(|told| told["id"] == "capture-drops");
    assert_eq!(finding.unwrap()["strength"], "inferred");
    let mut hole = whole();
    hole.0.retain(|frame| !(origin(30_000_000)..origin(50_000_000)).contains(&frame.stamp_ns));
    assert!(text(&hole.report(), "capture-drops").contains("nothing was captured from 29"));
    // One sender whose frames get lost is that one's matter.
    let mut one = whole();
    let mut met = 0;
    one.0.retain(|frame| {
        met += usize::from(frame.octets[11] == 21);
        frame.octets[11] != 21 || met % 5 > 0
    });
    assert!(said(&one.report(), "capture-drops").is_empty());
}
