//! Rules about what followers do: made captures on which each fires, and near misses.

use crate::support::craft::ptp_v2;
use crate::support::craft::ptp_v2::ACTION_RESPONSE;
use crate::support::craft::ptp_v2::Body;
use crate::support::craft::ptp_v2::CURRENT_DATA_SET;
use crate::support::craft::ptp_v2::PortIdentity;
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

const SECONDS: i64 = 90;

fn sound() -> Wire {
    wire::sound(SECONDS)
}

#[test]
fn multicast_that_calls_itself_unicast_is_named() {
    let marked = Sender { flags: 0x04, ..leader() };
    for (follows, expected) in [(false, "major"), (true, "minor")] {
        let mut wire = Wire::default();
        wire.leads(0..SECONDS, &marked);
        if follows {
            wire.follows(0..SECONDS, &follower(20), &leader());
        }
        assert_eq!(said(&wire.report(), "follower-deaf"), [expected]);
    }
    let mut unicast = sound();
    let asker = follower(21).to(&actor(1));
    unicast.asks(0..SECONDS, &asker);
    unicast.answers(0..SECONDS, &marked.to(&actor(21)), &asker);
    assert!(said(&unicast.report(), "follower-deaf").is_empty(), "the flag is right in unicast");
}

#[test]
fn a_follower_that_announces_itself_for_a_while_is_named() {
    let other = follower(21);
    for (announces, asks_before, expected) in
        [(40..43, true, vec!["major"]), (40..43, false, vec![]), (40..40, true, vec![])]
    {
        let mut wire = sound();
        if asks_before {
            wire.follows(0..30, &other, &leader());
        }
        wire.announces(announces.clone(), &other);
        wire.follows(50..SECONDS, &other, &leader());
        let report = wire.report();
        assert_eq!(said(&report, "follower-takes-over"), expected, "{announces:?} {asks_before}");
        assert!(others(&report, "follower-takes-over").is_empty(), "{}", report["findings"]);
    }
}

#[test]
fn a_backup_that_leads_while_the_leader_is_away_is_no_take_over_by_a_follower() {
    let mut wire = Wire::default();
    wire.leads(0..30, &leader());
    wire.leads(60..SECONDS, &leader());
    let backup = follower(2);
    wire.follows(0..30, &backup, &leader());
    wire.leads(34..61, &backup);
    wire.follows(64..SECONDS, &backup, &leader());
    assert!(said(&wire.report(), "follower-takes-over").is_empty());
}

#[test]
fn requests_that_begin_their_numbers_anew_are_a_restart() {
    for (restarts, expected) in [(0, vec![]), (1, vec!["minor"]), (4, vec!["major"])] {
        let mut wire = sound();
        let asker = follower(21);
        for run in 0..=restarts {
            for second in 0..14_i64 {
                let us = (20 + run * 14 + second) * 1_000_000 + 400_000;
                let sequence = number(if run == 0 { 300 + second } else { second });
                wire.put(us, &asker, sequence, &Body::DelayReq { origin_ns: 0 });
                let answer = Body::DelayResp { receipt_ns: origin(us + 10), requester: asker.actor.port };
                wire.put(us + 1000, &leader(), sequence, &answer);
            }
        }
        let report = wire.report();
        assert_eq!(said(&report, "follower-restarts"), expected, "{restarts}");
        assert!(others(&report, "follower-restarts").is_empty());
    }
}

#[test]
fn a_follower_that_begins_anew_with_a_new_leader_did_not_restart() {
    let (backup, asker) = (follower(2), follower(21));
    let mut wire = Wire::default();
    wire.leads(0..40, &leader());
    wire.leads(43..SECONDS, &backup);
    wire.follows(0..SECONDS, &follower(20), &leader());
    for second in 0..40 {
        wire.put(second * 1_000_000, &asker, number(second + 500), &Body::DelayReq { origin_ns: 0 });
    }
    for second in 46..SECONDS {
        wire.put(second * 1_000_000, &asker, number(second - 46), &Body::DelayReq { origin_ns: 0 });
    }
    assert!(said(&wire.report(), "follower-restarts").is_empty());
}

/// Media or anything else of a device, which shows that it is there.
fn chatter(wire: &mut Wire, seconds: std::ops::Range<i64>, sender: &Sender) {
    let like = Body::Management { target: PortIdentity::ALL, hops: (1, 1), action: 0, tlvs: Vec::new() };
    for second in seconds {
        wire.put(second * 1_000_000 + 700_000, sender, number(second), &like);
    }
}

#[test]
fn a_device_that_is_there_and_asks_no_more_is_named_where_others_go_on() {
    for (until, others_until, still_there, expected) in [
        (30, SECONDS, true, vec!["major"]),
        (84, SECONDS, true, vec![]),
        (30, SECONDS, false, vec![]),
        (30, 31, true, vec!["cannot tell"]),
    ] {
        let mut wire = Wire::default();
        wire.leads(0..SECONDS, &leader());
        wire.follows(0..others_until, &follower(20), &leader());
        let device = follower(21);
        wire.follows(0..until, &device, &leader());
        if still_there {
            chatter(&mut wire, 0..SECONDS, &device);
        }
        let report = wire.report();
        assert_eq!(said(&report, "delay-request-stops"), expected, "{until} {others_until} {still_there}");
    }
}

#[test]
fn a_device_that_asks_by_unicast_from_then_on_did_not_stop() {
    let mut wire = sound();
    let (device, hybrid) = (follower(21), follower(21).to(&actor(1)));
    wire.follows(0..30, &device, &leader());
    wire.asks(30..SECONDS, &hybrid);
    wire.answers(30..SECONDS, &leader().to(&actor(21)), &hybrid);
    assert!(said(&wire.report(), "delay-request-stops").is_empty());
}

#[test]
fn a_follower_that_says_it_swings_is_named_and_one_on_its_way_is_not() {
    let swings = |second: i64| [40_000, 0, -40_000, 0][usize::try_from(second % 4).unwrap()];
    let calm = |second: i64| if second % 4 < 2 { 400 } else { -400 };
    let on_its_way = |second: i64| (SECONDS - second) * 2_000;
    type Offset<'a> = &'a dyn Fn(i64) -> i64;
    let cases: [(&str, Offset<'_>, usize); 3] =
        [("swings", &swings, 1), ("calm", &calm, 0), ("on its way", &on_its_way, 0)];
    for (name, offset, expected) in cases {
        let mut wire = sound();
        let device = follower(20);
        for second in 0..SECONDS {
            let data = ptp_v2::current_data_set(1, offset(second), 500);
            let tlvs = ptp_v2::management_tlv(CURRENT_DATA_SET, &data);
            let body =
                Body::Management { target: PortIdentity::ALL, hops: (1, 1), action: ACTION_RESPONSE, tlvs };
            wire.put(second * 1_000_000 + 600_000, &device, number(second), &body);
        }
        assert_eq!(said(&wire.report(), "follower-hunting"), vec!["major"; expected], "{name}");
    }
}

#[test]
fn a_boundary_clock_that_hands_on_another_time_is_named() {
    let leader_clock = actor(1).class(6);
    for (off_us, expected) in [(0, vec![]), (15, vec![]), (800, vec!["major"])] {
        let mut wire = sound();
        let mut relay = Sender::of(actor(9).relays(&leader_clock, 1));
        wire.follows(0..SECONDS, &relay, &leader());
        relay.actor.port.port = 2;
        wire.announces(0..SECONDS, &relay);
        for eighth in 0..SECONDS * 8 {
            let us = 60_000 + eighth * 125_000;
            wire.put(us + 10, &relay, number(eighth), &Body::Sync { origin_ns: 0 });
            let body = Body::FollowUp { origin_ns: origin(us + off_us) };
            wire.put(us + 900, &relay, number(eighth), &body);
        }
        let report = wire.report();
        assert_eq!(said(&report, "boundary-clock-offset"), expected, "{off_us}");
    }
}
