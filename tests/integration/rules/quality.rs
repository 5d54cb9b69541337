//! Rules about the leader's quality and time: made captures on which each fires, and near misses.

use crate::support::craft::ptp_v2;
use crate::support::craft::ptp_v2::Body;
use crate::support::script::Script;
use crate::support::script::evidence;
use crate::support::script::said;
use crate::support::stage::Actor;
use crate::support::stage::BEGINNING;
use crate::support::stage::actor;

/// Bits of the second octet of flagField.
const LEAP61: u8 = 0x01;
const LEAP59: u8 = 0x02;
const UTC_VALID: u8 = 0x04;
const TIMESCALE: u8 = 0x08;
const TRACEABLE: u8 = 0x10;

/// A leader whose clock reads `ahead` nanoseconds more than the capture's.
fn timed(script: &mut Script, (from_ms, until_ms): (i64, i64), who: &Actor, ahead: impl Fn(i64) -> i64) {
    for (sequence, ms) in (0_u16..).zip((from_ms..until_ms).step_by(125)) {
        let origin_ns = BEGINNING.0 + ms * 1_000_000 + ahead(ms);
        script.send(ms, (who, who.mac), sequence, -3, &Body::Sync { origin_ns });
        if ms % 1000 == 0 {
            let body = Body::Announce { origin_ns: 0, data: who.data };
            script.send(ms, (who, who.mac), sequence / 8, 0, &body);
        }
    }
}

/// What the rules say of one leader of 30 s.
fn led_by(leader: &Actor) -> serde_json::Value {
    let mut script = Script::default();
    script.leads(0, 30, (leader, leader.mac), 0);
    script.follows(30, &actor(2), leader);
    script.report()
}

fn with(change: impl FnOnce(&mut Actor)) -> Actor {
    let mut leader = actor(1);
    change(&mut leader);
    leader
}

#[test]
fn a_leader_without_a_reference_is_noted_and_one_that_may_only_follow_is_wrong() {
    for (class, expected) in [(248, vec!["info"]), (255, vec!["major"]), (6, vec![]), (187, vec![])] {
        assert_eq!(said(&led_by(&actor(1).class(class)), "grandmaster-free-running"), expected, "{class}");
    }
}

#[test]
fn a_leader_that_lost_its_reference_is_told_by_the_graver_rule_alone() {
    let mut script = Script::default();
    script.announces(0, (20, 1000), &actor(1).class(6), 0);
    script.announces(20_000, (20, 1000), &actor(1).class(248), 20);
    let report = script.report();
    assert!(said(&report, "grandmaster-free-running").is_empty());
    assert_eq!(said(&report, "grandmaster-in-holdover"), ["major"]);
}

#[test]
fn contradictions_are_noted_and_grave_where_they_won_an_election() {
    let boast = actor(2).class(6);
    assert_eq!(said(&led_by(&boast), "quality-claim-inconsistent"), ["info"]);
    let honest = with(|clock| {
        clock.data.clock_class = 6;
        clock.data.clock_accuracy = 0x21;
        clock.data.time_source = 0x20;
        clock.data.time_flags = TIMESCALE;
    });
    assert!(said(&led_by(&honest), "quality-claim-inconsistent").is_empty());
    let mut script = Script::default();
    let beaten = actor(1);
    script.leads(0, 30, (&boast, boast.mac), 0);
    script.announces(100, (2, 1000), &beaten, 0);
    assert_eq!(said(&script.report(), "quality-claim-inconsistent"), ["major"]);
}

#[test]
fn a_boundary_clock_that_keeps_an_old_class_is_named_once_it_had_time() {
    // Class passed on, seconds after the leader's change that are seen: the rule's answer.
    for (passed, seconds, expected) in [(6, 20, vec!["major"]), (6, 3, vec![]), (7, 20, vec![])] {
        let (before, after) = (actor(1).class(6), actor(1).class(7));
        let mut script = Script::default();
        script.announces(0, (10, 1000), &before, 0);
        script.announces(10_000, (seconds, 1000), &after, 10);
        script.announces(100, (10, 1000), &actor(2).relays(&before, 1), 0);
        script.announces(10_100, (seconds, 1000), &actor(2).class(6).relays(&actor(1).class(passed), 1), 10);
        let report = script.report();
        assert_eq!(said(&report, "stale-quality-downstream"), expected, "{passed} {seconds}");
        if !expected.is_empty() {
            let told = evidence(&report, "stale-quality-downstream");
            assert!(told.contains("says clockClass 7, UTC offset 37 s, UTC flags 0x00"), "{told}");
            assert!(told.contains("says clockClass 6, UTC offset 37 s, UTC flags 0x00"), "{told}");
        }
    }
}

#[test]
fn a_time_without_a_date_is_noted() {
    for (flags, expected) in [(0, vec!["info"]), (TIMESCALE, vec![])] {
        let leader = with(|clock| clock.data.time_flags = flags);
        assert_eq!(said(&led_by(&leader), "arbitrary-timescale"), expected, "{flags}");
    }
}

#[test]
fn a_wrong_utc_offset_is_named_only_where_it_is_said_to_hold() {
    let rows = [
        (37, UTC_VALID | TIMESCALE, vec![]),
        (36, UTC_VALID | TIMESCALE, vec!["minor"]),
        (0, UTC_VALID | TIMESCALE, vec!["minor"]),
        (0, TIMESCALE, vec![]),
        (0, UTC_VALID, vec![]),
    ];
    for (offset, flags, expected) in rows {
        let leader = with(|clock| {
            clock.data.utc_offset_s = offset;
            clock.data.time_flags = flags;
        });
        assert_eq!(said(&led_by(&leader), "utc-offset-wrong"), expected, "{offset} {flags}");
    }
}

#[test]
fn a_wrong_utc_offset_weighs_more_where_timecode_hangs_on_it() {
    let leader = with(|clock| {
        clock.data.utc_offset_s = 0;
        clock.data.time_flags = UTC_VALID | TIMESCALE;
    });
    let metadata =
        ptp_v2::SynchronizationMetadata { frame_rate: (25, 1), locking_status: 4, local_offset_s: 0 };
    let tlvs = ptp_v2::synchronization_metadata_tlv(&metadata);
    let body = Body::Management {
        target: ptp_v2::PortIdentity::ALL,
        hops: (0, 0),
        action: ptp_v2::ACTION_COMMAND,
        tlvs,
    };
    let mut script = Script::default();
    script.leads(0, 30, (&leader, leader.mac), 0);
    script.send(5000, (&leader, leader.mac), 0, 0x7F, &body);
    let report = script.report();
    assert_eq!(said(&report, "utc-offset-wrong"), ["major"]);
    assert!(said(&report, "management-set-seen").is_empty(), "metadata is no command");
}

/// 37 s less than TAI is UTC: either the leader gives that, or the capture counts TAI.
#[test]
fn a_leader_on_the_captures_own_time_is_noted_as_one_of_two_explanations() {
    for (ahead_s, expected) in [(0, vec!["info"]), (37, vec![]), (5, vec![])] {
        let leader = with(|clock| clock.data.time_flags = UTC_VALID | TIMESCALE);
        let mut script = Script::default();
        timed(&mut script, (0, 30_000), &leader, |_| ahead_s * 1_000_000_000);
        assert_eq!(said(&script.report(), "utc-offset-wrong"), expected, "{ahead_s}");
    }
}

#[test]
fn a_utc_offset_without_its_flag_is_untidy_where_the_leader_has_a_reference() {
    let rows = [
        (6, 37, TIMESCALE, vec!["minor"]),
        (248, 37, TIMESCALE, vec!["info"]),
        (6, 0, TIMESCALE, vec![]),
        (6, 37, 0, vec![]),
        (6, 37, TIMESCALE | UTC_VALID, vec![]),
    ];
    for (class, offset, flags, expected) in rows {
        let leader = with(|clock| {
            clock.data.clock_class = class;
            clock.data.utc_offset_s = offset;
            clock.data.time_flags = flags;
        });
        assert_eq!(said(&led_by(&leader), "utc-offset-not-valid"), expected, "{class} {offset} {flags}");
    }
}

/// The captures are of the first of January 2024, a day after a leap second could have been.
#[test]
fn leap_seconds_that_cannot_be_are_named() {
    const A_MONTH: i64 = 31 * 86_400_000;
    for (flags, later_ms, expected) in [
        (0, A_MONTH, vec![]),
        (LEAP61, 0, vec![]),
        (LEAP61, A_MONTH, vec!["major"]),
        (LEAP59, A_MONTH, vec!["major"]),
        (LEAP59 | LEAP61, 0, vec!["major"]),
    ] {
        let leader = with(|clock| clock.data.time_flags = flags | TRACEABLE);
        let mut script = Script::default();
        script.leads(later_ms, 30, (&leader, leader.mac), 0);
        assert_eq!(said(&script.report(), "leap-second-flags-wrong"), expected, "{flags} {later_ms}");
    }
}

/// Two leaders of two domains that do not hang together.
fn two_clocks(ours: impl Fn(i64) -> i64, theirs: Option<fn(i64) -> i64>) -> serde_json::Value {
    let mut script = Script::default();
    timed(&mut script, (0, 60_000), &actor(1), ours);
    if let Some(theirs) = theirs {
        timed(&mut script, (0, 60_000), &actor(5).in_domain(5), theirs);
    }
    script.report()
}

#[test]
fn a_jump_is_the_leaders_only_where_another_clock_went_on() {
    let jumps = |by: i64| move |ms: i64| if ms < 30_000 { 0 } else { by };
    let told = |report| said(&report, "master-time-jump");
    assert_eq!(told(two_clocks(jumps(50_000_000), Some(|_| 7))), ["critical"]);
    assert_eq!(told(two_clocks(jumps(-50_000_000), Some(|_| 7))), ["critical"]);
    assert!(told(two_clocks(jumps(900_000), Some(|_| 7))).is_empty());
    assert_eq!(told(two_clocks(jumps(50_000_000), None)), ["cannot tell"]);
    // Both at once: the capture's clock was set.
    let both = two_clocks(jumps(50_000_000), Some(|ms| if ms < 30_000 { 7 } else { 50_000_007 }));
    assert!(told(both).is_empty());
}

#[test]
fn a_rate_is_the_leaders_only_where_another_clock_agrees_with_the_captures() {
    let runs = |ppm: i64| move |ms: i64| ms * ppm;
    let told = |report| said(&report, "master-rate-off");
    assert_eq!(told(two_clocks(runs(150), Some(|_| 7))), ["major"]);
    assert_eq!(told(two_clocks(runs(-150), Some(|_| 7))), ["major"]);
    assert!(told(two_clocks(runs(80), Some(|_| 7))).is_empty());
    assert!(told(two_clocks(runs(150), None)).is_empty());
    assert_eq!(told(two_clocks(runs(400), None)), ["info"]);
    // Both alike: it is the capture's clock.
    assert!(told(two_clocks(runs(150), Some(|ms| ms * 150))).is_empty());
}

#[test]
fn a_leader_whose_sync_stops_while_it_announces_is_named() {
    let leader = actor(1);
    for (seconds, syncing, expected) in [
        (60, 60, vec![]),
        (60, 30, vec!["critical"]),
        (60, 3, vec!["critical"]),
        (60, 58, vec![]),
        (8, 8, vec![]),
    ] {
        let mut script = Script::default();
        script.leads_syncing(seconds, syncing, (&leader, leader.mac));
        script.asks(seconds, &actor(2));
        assert_eq!(said(&script.report(), "announce-without-sync"), expected, "{seconds} {syncing}");
    }
}

/// 9 Announces (chosen) before a Sync that never came is missed.
#[test]
fn a_leader_that_never_sends_sync_is_named_from_nine_announces_on() {
    let leader = actor(1);
    for (seconds, expected) in [(8, vec![]), (9, vec!["critical"])] {
        let mut script = Script::default();
        script.leads_syncing(seconds, 0, (&leader, leader.mac));
        script.asks(seconds, &actor(2));
        assert_eq!(said(&script.report(), "announce-without-sync"), expected, "{seconds}");
    }
}
