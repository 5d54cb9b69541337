//! Rules about hand-overs and backups: made captures on which each fires, and near misses.

use crate::support::craft::capture_file::CapturedFrame;
use crate::support::craft::frame;
use crate::support::craft::ptp_v2::Body;
use crate::support::craft::ptp_v2::PortIdentity;
use crate::support::script::Script;
use crate::support::script::said;
use crate::support::stage::Actor;
use crate::support::stage::BEGINNING;
use crate::support::stage::actor;

#[test]
fn a_leader_alone_is_noted_where_somebody_follows_it() {
    let (leader, backup) = (actor(1), actor(2));
    for (with_backup, followed, expected) in
        [(false, true, vec!["info"]), (true, true, vec![]), (false, false, vec![])]
    {
        let mut script = Script::default();
        script.leads(0, 30, (&leader, leader.mac), 0);
        if with_backup {
            script.announces(100, (2, 1000), &backup, 0);
        }
        if followed {
            script.follows(30, &actor(9), &leader);
        }
        assert_eq!(said(&script.report(), "no-backup-master"), expected, "{with_backup} {followed}");
    }
}

/// One leader to 20 s, another from `from_ms` on; `beside` has a third device ask all the time.
fn hand_over(from_ms: i64, beside: bool) -> serde_json::Value {
    let (one, other) = (actor(1), actor(2));
    let mut script = Script::default();
    script.leads(0, 20, (&one, one.mac), 0);
    script.leads(from_ms, 20, (&other, other.mac), 0);
    if beside {
        for sequence in 0..900 {
            let asks = actor(9);
            let body = Body::DelayReq { origin_ns: 0 };
            script.send(i64::from(sequence) * 60, (&asks, asks.mac), sequence, 0x7F, &body);
        }
    }
    script.report()
}

#[test]
fn a_hand_over_that_takes_too_long_is_named_where_the_capture_went_on() {
    assert!(said(&hand_over(24_000, true), "failover-too-slow").is_empty());
    assert_eq!(said(&hand_over(32_000, true), "failover-too-slow"), ["major"]);
    // Nothing at all was captured meanwhile.
    assert_ne!(said(&hand_over(32_000, false), "failover-too-slow"), ["major"]);
}

fn gives_time(script: &mut Script, from_s: i64, who: &Actor, ahead_ns: i64) {
    for (sequence, eighth) in (0_u16..).zip(from_s * 8..(from_s + 20) * 8) {
        let ms = eighth * 125;
        let origin_ns = BEGINNING.0 + ms * 1_000_000 + ahead_ns + 37_000_000_000;
        script.send(ms, (who, who.mac), sequence, -3, &Body::Sync { origin_ns });
        if eighth % 8 == 0 {
            let body = Body::Announce { origin_ns: 0, data: who.data };
            script.send(ms, (who, who.mac), sequence / 8, 0, &body);
        }
    }
}

#[test]
fn a_new_leader_with_another_time_is_named() {
    let rows = [
        (0, vec![]),
        (1_500_000, vec![]),
        (5_000_000, vec!["critical"]),
        (-37_000_000_000, vec!["critical"]),
    ];
    for (ahead_ns, expected) in rows {
        let (one, other) = (actor(1), actor(2));
        let mut script = Script::default();
        gives_time(&mut script, 0, &one, 0);
        gives_time(&mut script, 24, &other, ahead_ns);
        for sequence in 0..1500 {
            let asks = actor(9);
            let body = Body::DelayReq { origin_ns: 0 };
            script.send(i64::from(sequence) * 29, (&asks, asks.mac), sequence, 0x7F, &body);
        }
        assert_eq!(said(&script.report(), "failover-time-step"), expected, "{ahead_ns}");
    }
}

/// The capture's clock is set while nobody leads: the new leader seems to give another time.
#[test]
fn a_capture_clock_set_during_a_hand_over_makes_no_step() {
    let (one, other) = (actor(1), actor(2));
    let mut script = Script::default();
    gives_time(&mut script, 0, &one, 0);
    gives_time(&mut script, 24, &other, 0);
    for frame in &mut script.0 {
        if frame.stamp_ns > BEGINNING.0 + 22_000_000_000 {
            frame.stamp_ns += 5_000_000_000;
        }
    }
    assert_eq!(said(&script.report(), "failover-time-step"), ["cannot tell"]);
}

/// One file that holds a hand-over twice, by two clocks that are 3 s apart.
#[test]
fn two_captures_in_one_make_no_step() {
    let (one, other) = (actor(1), actor(2));
    let mut script = Script::default();
    gives_time(&mut script, 0, &one, 0);
    gives_time(&mut script, 24, &other, 0);
    let later: Vec<CapturedFrame> = script
        .0
        .iter()
        .map(|frame| CapturedFrame { stamp_ns: frame.stamp_ns + 3_000_000_000, ..frame.clone() })
        .collect();
    script.0.extend(later);
    let report = script.report();
    for id in ["failover-time-step", "master-time-jump", "replayed-or-stale-messages"] {
        assert!(matches!(said(&report, id).join(" ").as_str(), "" | "cannot tell"), "{id}");
    }
    assert_eq!(said(&report, "replayed-or-stale-messages"), ["cannot tell"]);
}

#[test]
fn a_leader_that_returns_is_told_as_one_failure_with_two_changes() {
    let (mut one, other) = (actor(1), actor(2));
    one.data.priority1 = 100;
    for (returns, expected) in [(true, vec!["info"]), (false, vec![])] {
        let mut script = Script::default();
        script.leads(0, 20, (&one, one.mac), 0);
        script.leads(24_000, if returns { 22 } else { 40 }, (&other, other.mac), 0);
        if returns {
            script.leads(44_000, 20, (&one, one.mac), 0);
        }
        let report = script.report();
        assert_eq!(said(&report, "fail-back-flip"), expected, "{returns}");
        assert_eq!(said(&report, "leader-changed"), ["minor"], "{returns}");
    }
}

/// A question for an address, to everybody, as an access port hears without the reply.
fn asks_for_an_address(script: &mut Script, from: u8, target: u8) {
    let mac = actor(from).mac;
    let mut packet = vec![0, 1, 8, 0, 6, 4, 0, 1];
    packet.extend(mac);
    packet.extend([192, 168, 20, from, 0, 0, 0, 0, 0, 0, 192, 168, 20, target]);
    let octets = frame::ethernet([0xFF; 6], mac, 0x0806, &packet);
    script.0.push(CapturedFrame {
        stamp_ns: BEGINNING.0 + i64::from(from) * 1_000_000,
        interface: 0,
        octets,
    });
}

/// Nothing in a capture of multicast alone says that it is of one segment; questions without replies show an access
/// port.
#[test]
fn two_ports_of_one_clock_are_named_where_the_capture_is_of_one_segment() {
    let leader = actor(1);
    let second = Actor { port: PortIdentity { port: 2, ..leader.port }, ..leader };
    for (two, at_access_port, expected) in
        [(true, true, vec!["major"]), (true, false, vec!["cannot tell"]), (false, true, vec![])]
    {
        let mut script = Script::default();
        script.leads(0, 30, (&leader, leader.mac), 0);
        script.asks(30, &actor(9));
        if two {
            script.leads(10, 30, (&second, leader.mac), 0);
        }
        if at_access_port {
            for (from, target) in [(21, 22), (22, 23), (23, 21)] {
                asks_for_an_address(&mut script, from, target);
            }
        }
        assert_eq!(said(&script.report(), "two-ports-one-segment"), expected, "{two} {at_access_port}");
    }
}
