//! Rules about how often messages are sent: made captures on which each fires, and near misses.

use crate::support::craft::octets::Octets;
use crate::support::craft::ptp_v2;
use crate::support::craft::ptp_v2::Body;
use crate::support::script::Script;
use crate::support::script::said;
use crate::support::stage::actor;
use crate::support::wire;
use crate::support::wire::Sender;
use crate::support::wire::Wire;
use crate::support::wire::follower;
use crate::support::wire::leader;
use crate::support::wire::number;
use crate::support::wire::origin;
use crate::support::wire::others;

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

const SECONDS: i64 = 60;

fn sound() -> Wire {
    wire::sound(SECONDS)
}

/// Syncs and Follow_Ups from `from_ms` for `for_ms` taken out, every ten seconds.
fn without_syncs(wire: &mut Wire, from_ms: i64, for_ms: i64) {
    wire.0.retain(|frame| {
        let ms = (frame.stamp_ns - origin(0)) / 1_000_000 % 10_000;
        let is_sync = matches!(frame.octets[42] & 0x0F, 0x0 | 0x8);
        !(is_sync && (from_ms..from_ms + for_ms).contains(&ms))
    });
}

#[test]
fn syncs_lost_on_the_way_are_told_where_nothing_else_is_lost() {
    for (for_ms, expected) in [(200, vec![]), (900, vec!["major"])] {
        let mut wire = sound();
        without_syncs(&mut wire, 4_100, for_ms);
        wire.media(0..SECONDS);
        let report = wire.report();
        assert_eq!(said(&report, "sync-gaps"), expected, "{for_ms}");
        assert!(others(&report, "sync-gaps").is_empty(), "{}", report["findings"]);
    }
}

#[test]
fn syncs_missing_among_other_missing_messages_are_the_capture_s_loss() {
    let mut wire = sound();
    without_syncs(&mut wire, 4_100, 900);
    let mut kept = 0;
    wire.0.retain(|frame| {
        let is_request = frame.octets[42] & 0x0F == 0x1;
        kept += usize::from(is_request);
        !(is_request && kept % 10 == 5)
    });
    wire.media(0..SECONDS);
    assert_eq!(said(&wire.report(), "sync-gaps"), ["cannot tell"]);
}

#[test]
fn a_leader_that_pauses_its_syncs_is_told_from_one_that_is_gone() {
    for (announces_on, expected) in [(true, vec!["minor"]), (false, vec![])] {
        let mut wire = Wire::default();
        wire.follows(0..SECONDS, &follower(20), &leader());
        let sent = (0..SECONDS * 8).filter(|eighth| !(160..200).contains(eighth));
        for (sequence, eighth) in (0_u16..).zip(sent) {
            let us = 5_000 + eighth * 125_000;
            wire.put(us + 10, &leader(), sequence, &Body::Sync { origin_ns: 0 });
            wire.put(us + 900, &leader(), sequence, &Body::FollowUp { origin_ns: origin(us) });
        }
        wire.announces(0..SECONDS, &leader());
        wire.media(0..SECONDS);
        if !announces_on {
            wire.0.retain(|frame| {
                let second = (frame.stamp_ns - origin(0)) / 1_000_000_000;
                frame.octets[42] & 0x0F != 0xB || !(20..25).contains(&second)
            });
        }
        assert_eq!(said(&wire.report(), "sync-gaps"), expected, "{announces_on}");
    }
}

#[test]
fn a_pause_of_the_whole_capture_is_no_gap_of_sync() {
    let mut wire = sound();
    wire.0.retain(|frame| !(20..24).contains(&((frame.stamp_ns - origin(0)) / 1_000_000_000)));
    let report = wire.report();
    assert!(!said(&report, "sync-gaps").iter().any(|said| said != "cannot tell"), "{report}");
}

#[test]
fn a_follower_that_asks_more_often_than_it_may_is_named() {
    for (per_second, granted, expected) in
        [(4, 0, vec!["major"]), (1, 0, vec![]), (4, -3, vec![]), (4, 0x7F, vec![])]
    {
        let mut wire = sound();
        let (asker, grants) = (follower(21), Sender { log: Some(granted), ..leader() });
        for count in 0..SECONDS * per_second {
            let us = count * 1_000_000 / per_second + 40_000;
            wire.put(us, &asker, number(count), &Body::DelayReq { origin_ns: 0 });
            let answer = Body::DelayResp { receipt_ns: origin(us + 10), requester: asker.actor.port };
            wire.put(us + 1000, &grants, number(count), &answer);
        }
        let report = wire.report();
        assert_eq!(said(&report, "delay-request-flood"), expected, "{per_second} {granted}");
        assert!(others(&report, "delay-request-flood").is_empty());
    }
}

/// When a real daemon (ptp4l 3.1.1) asked within 19.3 s, in hundredths of a second: by chance 30 times where 19 are usual.
const BY_CHANCE: [i64; 30] = [
    66, 121, 123, 194, 325, 367, 454, 488, 576, 613, 642, 697, 864, 946, 982, 1119, 1140, 1149, 1226, 1296,
    1375, 1446, 1459, 1462, 1489, 1545, 1738, 1829, 1867, 1987,
];

#[test]
fn requests_that_come_often_by_chance_are_no_flood_and_twice_as_many_are() {
    for (divisor, expected) in [(1, vec![]), (2, vec!["major"])] {
        let mut wire = Wire::default();
        wire.leads(0..22, &leader());
        for (count, at) in (0..).zip(BY_CHANCE) {
            let us = at * 10_000 / divisor;
            wire.put(us, &follower(20), number(count), &Body::DelayReq { origin_ns: 0 });
            let body = Body::DelayResp { receipt_ns: origin(us + 900), requester: follower(20).actor.port };
            wire.put(us + 1000, &leader(), number(count), &body);
        }
        assert_eq!(said(&wire.report(), "delay-request-flood"), expected, "{divisor}");
    }
}

/// Runs of `on` seconds with 16 seconds of silence between; Follow_Ups only where `whole`.
fn cycling(runs: i64, whole: bool) -> Wire {
    let mut wire = Wire::default();
    wire.asks(0..runs * 20, &follower(20));
    for run in 0..runs {
        let from = run * 20;
        for second in 0..4 {
            // A sender that has stopped uses no numbers up.
            let (us, sequence) = ((from + second) * 1_000_000, number(run * 4 + second));
            let body = Body::Announce { origin_ns: 0, data: leader().actor.data };
            wire.put(us, &leader(), sequence, &body);
            wire.put(us + 5_000, &leader(), sequence, &Body::Sync { origin_ns: 0 });
            wire.put(us + 6_000, &leader(), sequence, &Body::FollowUp { origin_ns: origin(us + 4_990) });
        }
    }
    if !whole {
        wire.0.retain(|frame| frame.octets[42] & 0x0F != 0x8);
    }
    wire
}

#[test]
fn a_leader_that_starts_fails_and_waits_is_told_as_a_cycle() {
    for (runs, whole, expected) in [(5, false, vec!["critical"]), (2, false, vec![]), (5, true, vec![])] {
        let report = cycling(runs, whole).report();
        assert_eq!(said(&report, "master-transmit-fault-cycle"), expected, "{runs} {whole}");
        if !expected.is_empty() {
            assert!(said(&report, "follow-up-missing").is_empty(), "told once");
        }
    }
}

fn grant(wire: &mut Wire, us: i64, sequence: u16, duration_s: u32) {
    grant_of(wire, us, sequence, (0x0, duration_s));
}

fn grant_of(wire: &mut Wire, us: i64, sequence: u16, what: (u8, u32)) {
    grant_by(&leader(), wire, us, sequence, what);
}

fn grant_by(
    granter: &Sender,
    wire: &mut Wire,
    us: i64,
    sequence: u16,
    (message_type, duration_s): (u8, u32),
) {
    // messageType in the high nibble, logInterMessagePeriod, durationField, reserved, R.
    let value = Octets::new().u8(message_type << 4).i8(-3).u32(duration_s).u8(0).u8(1).0;
    let tlvs = Octets::new().u16(0x0005).u16(8).bytes(&value).0;
    let body = Body::Signaling { target: actor(20).port, tlvs };
    wire.put(us, &granter.to(&actor(20)), sequence, &body);
}

fn request(wire: &mut Wire, us: i64, sequence: u16) {
    let tlvs = ptp_v2::request_unicast_tlv(0, -3, 20);
    let body = Body::Signaling { target: actor(1).port, tlvs };
    wire.put(us, &follower(20).to(&actor(1)), sequence, &body);
}

#[test]
fn a_lease_that_runs_out_is_named_while_its_follower_is_there() {
    // Renewed at 15 and 30 s where `renewals` says so; each lasts 20 s of 60.
    for (renewals, stays, expected) in [(0, true, vec!["critical"]), (3, true, vec![]), (0, false, vec![])] {
        let mut wire = Wire::default();
        wire.leads(0..SECONDS, &leader());
        wire.follows(0..if stays { SECONDS } else { 20 }, &follower(20), &leader());
        for number in 0..=renewals {
            request(&mut wire, i64::from(number) * 15_000_000 + 1_000, number);
            grant(&mut wire, i64::from(number) * 15_000_000 + 2_000, number, 20);
        }
        let report = wire.report();
        assert_eq!(said(&report, "unicast-lease-expired"), expected, "{renewals} {stays}");
    }
}

#[test]
fn a_lease_that_another_clock_took_over_is_not_named() {
    // What the other clock grants: Syncs beyond the end, Announces only, nothing.
    for (other, expected) in
        [(Some((0x0, 300)), vec![]), (Some((0xB, 300)), vec!["critical"]), (None, vec!["critical"])]
    {
        let mut wire = Wire::default();
        wire.leads(0..SECONDS, &leader());
        wire.follows(0..SECONDS, &follower(20), &leader());
        grant(&mut wire, 2_000, 0, 20);
        if let Some(what) = other {
            grant_by(&Sender::of(actor(2)), &mut wire, 3_000, 0, what);
        }
        assert_eq!(said(&wire.report(), "unicast-lease-expired"), expected, "{other:?}");
    }
}

#[test]
fn all_that_one_clock_denies_a_follower_is_one_finding() {
    let mut wire = sound();
    for number in 0..3 {
        for (later, message_type) in [(0, 0xB), (1, 0x0), (2, 0x9)] {
            let sequence = number * 3 + later;
            grant_of(&mut wire, i64::from(sequence) * 1_500_000 + 2_000, sequence, (message_type, 0));
        }
    }
    let report = wire.report();
    assert_eq!(said(&report, "unicast-lease-expired"), ["critical"]);
    let findings = report["findings"].as_array().unwrap();
    let own = findings.iter().find(|finding| finding["id"] == "unicast-lease-expired").unwrap();
    assert!(own["title"].as_str().unwrap().contains("Sync, Delay_Resp, Announce"), "{own}");
}

#[test]
fn a_lease_that_is_denied_again_and_again_is_named() {
    for (denials, then_granted, expected) in
        [(3, false, vec!["critical"]), (1, false, vec![]), (3, true, vec![])]
    {
        let mut wire = sound();
        for number in 0..denials {
            request(&mut wire, i64::from(number) * 5_000_000 + 1_000, number);
            grant(&mut wire, i64::from(number) * 5_000_000 + 2_000, number, 0);
        }
        if then_granted {
            grant(&mut wire, 40_000_000, denials, 300);
        }
        assert_eq!(said(&wire.report(), "unicast-lease-expired"), expected, "{denials} {then_granted}");
    }
}

#[test]
fn clocks_of_one_domain_with_other_announce_intervals_are_named() {
    for (log, expected) in [(1, vec!["major"]), (0, vec![])] {
        let mut wire = sound();
        let mut relay = Sender { log: Some(log), ..Sender::of(actor(9).relays(&leader().actor, 1)) };
        relay.actor.port.port = 2;
        wire.syncs(0..SECONDS, &Sender { log: None, ..relay }, |_| 0);
        for count in 0..SECONDS >> log {
            let body = Body::Announce { origin_ns: 0, data: relay.actor.data };
            wire.put((count << log) * 1_000_000 + 300, &relay, number(count), &body);
        }
        let report = wire.report();
        assert_eq!(said(&report, "profile-mixture-on-one-domain"), expected, "{log}");
        assert!(others(&report, "profile-mixture-on-one-domain").is_empty(), "{}", report["findings"]);
    }
}

#[test]
fn intervals_that_no_profile_allows_are_told_as_context() {
    for (log, count, expected) in [(0, SECONDS, vec![]), (-8, SECONDS * 256, vec!["info"])] {
        let mut wire = Wire::default();
        let (leads, peer) = (Sender { log: Some(log), ..leader() }, follower(20));
        let interval = SECONDS * 1_000_000 / count;
        for second in 0..SECONDS {
            let (us, sequence) = (second * 1_000_000, number(second));
            if second % 2 == 0 {
                let body = Body::Announce { origin_ns: 0, data: leader().actor.data };
                wire.put(us, &Sender { log: Some(1), ..leader() }, number(second / 2), &body);
            }
            wire.put(
                us + 300_000,
                &Sender { log: Some(0), ..peer },
                sequence,
                &Body::PdelayReq { origin_ns: 0 },
            );
            let requester = peer.actor.port;
            let answer = Body::PdelayResp { receipt_ns: origin(us + 300_000), requester };
            wire.put(us + 300_200, &leader(), sequence, &answer);
            let sent = Body::PdelayRespFollowUp { origin_ns: origin(us + 300_200), requester };
            wire.put(us + 300_300, &leader(), sequence, &sent);
        }
        for sync in 0..count {
            let us = 700 + sync * interval;
            wire.put(us + 10, &leads, number(sync), &Body::Sync { origin_ns: 0 });
            wire.put(us + 400, &leads, number(sync), &Body::FollowUp { origin_ns: origin(us) });
        }
        let report = wire.report();
        assert_eq!(said(&report, "rate-off-profile"), expected, "{log} {}", report["domains"][0]["profiles"]);
    }
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
