//! Rules about how often messages are sent: made captures on which each fires, and near misses.

use crate::support::craft::ptp_v2::Body;
use crate::support::script::Script;
use crate::support::script::said;
use crate::support::stage::actor;

#[test]
fn a_leader_that_announces_slower_than_it_declares_is_named_and_never_lost() {
    let leader = actor(1);
    for (every, expected) in [(1000, vec![]), (1250, vec![]), (1400, vec!["major"]), (4000, vec!["major"])] {
        let mut script = Script::default();
        for number in 0..30_u16 {
            let ms = i64::from(number) * every;
            let body = Body::Announce { origin_ns: 0, data: leader.data };
            script.send(ms, (&leader, leader.mac), number, 0, &body);
        }
        let report = script.report();
        assert_eq!(said(&report, "declared-interval-differs"), expected, "{every}");
        assert_eq!(report["domains"][0]["tenures"].as_array().unwrap().len(), 1, "{every}");
    }
}

#[test]
fn a_flood_of_announces_is_named() {
    let leader = actor(1);
    let mut script = Script::default();
    for number in 0..5000_u16 {
        let body = Body::Announce { origin_ns: 0, data: leader.data };
        script.send(i64::from(number) * 4, (&leader, leader.mac), number, 0, &body);
    }
    assert_eq!(said(&script.report(), "declared-interval-differs"), ["major"]);
}

/// Hosts that stamp in batches show gaps of nothing and of a second, and a mean that is as declared.
#[test]
fn stamps_in_batches_are_no_other_interval() {
    let leader = actor(1);
    let mut script = Script::default();
    script.leads(0, 60, (&leader, leader.mac), 0);
    for frame in &mut script.0 {
        frame.stamp_ns -= frame.stamp_ns % 1_000_000_000;
    }
    assert!(said(&script.report(), "declared-interval-differs").is_empty());
}

/// 20 messages and 10 s (reference) before a pace is judged.
#[test]
fn a_pace_is_judged_from_twenty_messages_and_ten_seconds_on() {
    let leader = actor(1);
    for (count, every_ms, expected) in
        [(19, 2000, vec![]), (20, 2000, vec!["major"]), (40, 200, vec![]), (60, 200, vec!["major"])]
    {
        let mut script = Script::default();
        for number in 0..count {
            let body = Body::Announce { origin_ns: 0, data: leader.data };
            script.send(i64::from(number) * every_ms, (&leader, leader.mac), number, 0, &body);
        }
        assert_eq!(said(&script.report(), "declared-interval-differs"), expected, "{count} {every_ms}");
    }
}

#[test]
fn an_interval_that_was_set_anew_is_no_other_than_declared() {
    let leader = actor(1);
    for (before, after) in [(0, 1), (1, 0), (-2, 1)] {
        let mut script = Script::default();
        let mut ms = 0;
        for number in 0..60_u16 {
            let log_interval = if number < 30 { before } else { after };
            let body = Body::Announce { origin_ns: 0, data: leader.data };
            script.send(ms, (&leader, leader.mac), number, log_interval, &body);
            ms += if log_interval < 0 { 1000 >> -log_interval } else { 1000 << log_interval };
        }
        assert!(said(&script.report(), "declared-interval-differs").is_empty(), "{before} {after}");
    }
}
