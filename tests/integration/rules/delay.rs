//! Rules about requests, answers and stamps: made captures on which each fires, and near misses.

use crate::support::craft::ptp_v2::Body;
use crate::support::script::said;
use crate::support::stage::Actor;
use crate::support::stage::actor;
use crate::support::wire;
use crate::support::wire::Sender;
use crate::support::wire::Wire;
use crate::support::wire::follower;
use crate::support::wire::leader;
use crate::support::wire::number;
use crate::support::wire::origin;
use crate::support::wire::others;

const SECONDS: i64 = 60;

fn sound() -> Wire {
    wire::sound(SECONDS)
}

#[test]
fn a_sound_network_has_no_finding_but_context() {
    let report = sound().report();
    assert_eq!(report["verdict"], "sound");
    assert!(others(&report, "").is_empty(), "{}", report["findings"]);
}

#[test]
fn answers_to_another_address_than_the_requests_come_from_are_named() {
    for (to, expected) in [(99, vec!["major"]), (21, vec![])] {
        let mut wire = sound();
        let asker = follower(21).to(&actor(1));
        let answer = leader().to(&actor(to));
        wire.asks(0..SECONDS, &asker);
        wire.answers(0..SECONDS, &answer, &asker);
        let report = wire.report();
        assert_eq!(said(&report, "delay-response-misaddressed"), expected, "{to}");
        assert!(others(&report, "delay-response-misaddressed").is_empty(), "{report}");
    }
}

#[test]
fn answers_with_numbers_that_were_not_asked_with_are_named() {
    for (off, expected) in [(500, vec!["major"]), (0, vec![])] {
        let mut wire = sound();
        let asker = follower(21);
        wire.asks(0..SECONDS, &asker);
        for second in 0..SECONDS {
            let body = Body::DelayResp { receipt_ns: origin(0), requester: asker.actor.port };
            wire.put(second * 1_000_000 + 340_000, &leader(), number(second + off), &body);
        }
        assert_eq!(said(&wire.report(), "delay-response-misaddressed"), expected, "{off}");
    }
}

fn peer_asks(wire: &mut Wire, asker: &Sender, every_us: i64, count: u16) {
    for sequence in 0..count {
        let us = 200_000 + i64::from(sequence) * every_us;
        wire.put(us, asker, sequence, &Body::PdelayReq { origin_ns: 0 });
    }
}

fn peer_answers(wire: &mut Wire, peer: &Sender, asker: &Actor, (every_us, count): (i64, u16), after_us: i64) {
    for sequence in 0..count {
        let us = 200_000 + i64::from(sequence) * every_us + after_us;
        let receipt_ns = origin(us - after_us);
        wire.put(us, peer, sequence, &Body::PdelayResp { receipt_ns, requester: asker.port });
        let sent = Body::PdelayRespFollowUp { origin_ns: origin(us), requester: asker.port };
        wire.put(us + 100, peer, sequence, &sent);
    }
}

#[test]
fn a_device_that_asks_peer_to_peer_where_end_to_end_is_answered_is_named_where_answers_would_show() {
    let asker = follower(21);
    for (both_ways, answered, expected) in
        [(true, false, vec!["critical"]), (false, false, vec!["cannot tell"]), (true, true, vec![])]
    {
        let mut wire = sound();
        peer_asks(&mut wire, &asker, 1_000_000, 40);
        if answered {
            peer_answers(&mut wire, &leader(), &asker.actor, (1_000_000, 40), 500);
        }
        if both_ways {
            let hybrid = follower(22).to(&actor(1));
            wire.asks(0..SECONDS, &hybrid);
            wire.answers(0..SECONDS, &leader().to(&actor(22)), &hybrid);
        }
        let report = wire.report();
        assert_eq!(said(&report, "delay-mechanism-mismatch"), expected, "{both_ways} {answered}");
    }
}

#[test]
fn unicast_requests_answered_to_the_group_are_named() {
    let asker = follower(21).to(&actor(1));
    for (answer, expected) in [(leader(), vec!["major"]), (leader().to(&actor(21)), vec![])] {
        let mut wire = sound();
        wire.asks(0..SECONDS, &asker);
        wire.answers(0..SECONDS, &answer, &asker);
        let report = wire.report();
        assert_eq!(said(&report, "multicast-unicast-mismatch"), expected);
        assert!(others(&report, "multicast-unicast-mismatch").is_empty());
    }
}

#[test]
fn unicast_requests_that_only_this_capture_may_not_see_answered_are_left_open() {
    let mut wire = sound();
    wire.asks(0..SECONDS, &follower(21).to(&actor(1)));
    assert_eq!(said(&wire.report(), "multicast-unicast-mismatch"), ["cannot tell"]);
}

#[test]
fn a_path_longer_than_any_building_or_one_that_changes_for_good_is_named() {
    for (from, extra_us, expected) in
        [(0, 2_000, vec!["major"]), (0, 400, vec![]), (30, 400, vec!["major"]), (30, 20, vec![])]
    {
        let mut wire = Wire::default();
        wire.announces(0..SECONDS, &leader());
        let asker = follower(20);
        for eighth in 0..SECONDS * 8 {
            let us = 5_000 + eighth * 125_000;
            let extra = if eighth >= from * 8 { extra_us } else { 0 };
            wire.put(us + 10 + extra, &leader(), number(eighth), &Body::Sync { origin_ns: 0 });
            wire.put(
                us + 2_900 + extra,
                &leader(),
                number(eighth),
                &Body::FollowUp { origin_ns: origin(us) },
            );
        }
        for second in 0..SECONDS {
            let us = second * 1_000_000 + 333_000;
            let extra = if second >= from { extra_us } else { 0 };
            wire.put(us, &asker, number(second), &Body::DelayReq { origin_ns: 0 });
            let receipt_ns = origin(us + 10 + extra);
            let answer = Body::DelayResp { receipt_ns, requester: asker.actor.port };
            wire.put(us + 4_000, &leader(), number(second), &answer);
        }
        let report = wire.report();
        assert_eq!(said(&report, "implausible-path-delay"), expected, "{from} {extra_us}");
    }
}

#[test]
fn two_neighbours_that_answer_one_peer_are_named() {
    for (second, expected) in [(true, vec!["major"]), (false, vec![])] {
        let mut wire = sound();
        let asker = follower(21);
        peer_asks(&mut wire, &asker, 1_000_000, 20);
        peer_answers(&mut wire, &follower(31), &asker.actor, (1_000_000, 20), 500);
        if second {
            peer_answers(&mut wire, &follower(32), &asker.actor, (1_000_000, 20), 900);
        }
        let report = wire.report();
        assert_eq!(said(&report, "peer-delay-several-responders"), expected);
        assert!(others(&report, "peer-delay-several-responders").is_empty(), "{}", report["findings"]);
    }
}

#[test]
fn answers_to_a_peer_after_its_next_request_are_told() {
    for (after_us, expected) in [(1_100_000, vec!["minor"]), (600_000, vec![])] {
        let mut wire = sound();
        let asker = follower(21);
        peer_asks(&mut wire, &asker, 1_000_000, 20);
        peer_answers(&mut wire, &follower(31), &asker.actor, (1_000_000, 20), after_us);
        assert_eq!(said(&wire.report(), "peer-response-out-of-time"), expected, "{after_us}");
    }
}

/// The leader's Follow_Ups without those that `drop` names, by the count of messages of the kind.
fn without(wire: &mut Wire, octet: u8, drop: impl Fn(usize) -> bool) {
    let mut met = 0;
    wire.0.retain(|frame| {
        // Behind Ethernet, IPv4 and UDP stands messageType.
        if frame.octets[42] & 0x0F != octet {
            return true;
        }
        met += 1;
        !drop(met)
    });
}

const SYNC: u8 = 0x0;
const FOLLOW_UP: u8 = 0x8;
const ANNOUNCE: u8 = 0xB;

#[test]
fn syncs_without_their_follow_up_are_a_fault_and_a_few_are_loss() {
    let mut gone = sound();
    without(&mut gone, FOLLOW_UP, |_| true);
    assert_eq!(said(&gone.report(), "follow-up-missing"), ["critical"]);
    let mut some = sound();
    without(&mut some, FOLLOW_UP, |met| met % 10 == 0);
    assert!(said(&some.report(), "follow-up-missing").is_empty(), "480 Syncs are too few for a note");
    // 16 of the last ones are too young to be missed.
    for (from, expected) in [(300, vec!["critical"]), (440, vec!["critical"]), (460, vec![])] {
        let mut stopped = sound();
        without(&mut stopped, FOLLOW_UP, |met| met > from);
        assert_eq!(said(&stopped.report(), "follow-up-missing"), expected, "{from}");
    }
    // Of the last 2 s those with their Follow_Up count alone: of every other one a little less than half is missing.
    for (every, expected) in [(2, "major"), (3, "major")] {
        let mut share = sound();
        without(&mut share, FOLLOW_UP, |met| met % every == 0);
        assert_eq!(said(&share.report(), "follow-up-missing"), [expected], "{every}");
    }
    let mut lossy = sound();
    for kind in [SYNC, FOLLOW_UP] {
        without(&mut lossy, kind, |met| met % 3 == usize::from(kind) / 8);
    }
    assert!(said(&lossy.report(), "follow-up-missing").is_empty(), "Syncs are lost as well");
}

#[test]
fn follow_ups_are_not_missed_where_no_general_message_was_captured() {
    let mut wire = Wire::default();
    wire.leads(0..SECONDS, &leader());
    without(&mut wire, FOLLOW_UP, |_| true);
    without(&mut wire, ANNOUNCE, |_| true);
    assert_eq!(said(&wire.report(), "follow-up-missing"), ["cannot tell"]);
}

#[test]
fn follow_ups_that_come_late_or_first_are_told() {
    for (late_us, every, expected) in
        [(70_000, 100, vec!["minor"]), (40_000, 100, vec![]), (-200, 10, vec!["info"]), (-200, 400, vec![])]
    {
        let mut wire = Wire::default();
        wire.announces(0..SECONDS, &leader());
        for eighth in 0..SECONDS * 8 {
            let us = 5_000 + eighth * 125_000;
            wire.put(us + 10, &leader(), number(eighth), &Body::Sync { origin_ns: 0 });
            let after = if eighth % every == 0 { late_us } else { 1000 };
            let body = Body::FollowUp { origin_ns: origin(us) };
            wire.put(us + 10 + after, &leader(), number(eighth), &body);
        }
        assert_eq!(said(&wire.report(), "follow-up-order-or-delay"), expected, "{late_us} {every}");
    }
}

#[test]
fn a_flag_that_denies_the_follow_ups_or_alternates_is_named() {
    let one_step = Sender { two_step: false, ..leader() };
    let mut denied = Wire::default();
    denied.announces(0..SECONDS, &leader());
    denied.syncs(0..SECONDS, &one_step, |_| 0);
    assert!(said(&denied.report(), "two-step-flag-wrong").is_empty());
    for eighth in 0..SECONDS * 8 {
        let us = 5_000 + eighth * 125_000;
        denied.put(us + 1_000, &leader(), number(eighth), &Body::FollowUp { origin_ns: origin(us) });
    }
    assert_eq!(said(&denied.report(), "two-step-flag-wrong"), ["major"]);

    for (turns, expected) in [(2, vec![]), (6, vec!["major"])] {
        let mut wire = Wire::default();
        wire.announces(0..SECONDS, &leader());
        for turn in 0..turns {
            let part = SECONDS / turns;
            let sender = if turn % 2 == 0 { leader() } else { one_step };
            wire.syncs(turn * part..(turn + 1) * part, &sender, |_| 0);
        }
        assert_eq!(said(&wire.report(), "two-step-flag-wrong"), expected, "{turns}");
    }
}

#[test]
fn corrections_that_no_bridge_can_mean_are_named() {
    for (correction_ns, expected) in [
        (0, vec![]),
        (9_000, vec![]),
        (-5_000, vec![]),
        (-15_000, vec!["major"]),
        (20_000_000, vec!["major"]),
    ] {
        let mut wire = Wire::default();
        wire.leads(0..SECONDS, &Sender { correction_ns, ..leader() });
        assert_eq!(said(&wire.report(), "correction-field-wrong"), expected, "{correction_ns}");
    }
}

#[test]
fn origins_of_zero_or_that_stand_still_are_a_critical_fault() {
    type Time = fn(i64) -> i64;
    let sorts: [(&str, Time, usize); 3] =
        [("zero", |_| 0, 1), ("still", |_| origin(0), 1), ("right", origin, 0)];
    for (name, time, expected) in sorts {
        let mut wire = Wire::default();
        wire.announces(0..SECONDS, &leader());
        for eighth in 0..SECONDS * 8 {
            let us = 5_000 + eighth * 125_000;
            wire.put(us + 10, &leader(), number(eighth), &Body::Sync { origin_ns: 0 });
            wire.put(us + 900, &leader(), number(eighth), &Body::FollowUp { origin_ns: time(us) });
        }
        let said = said(&wire.report(), "zero-or-odd-origin");
        assert_eq!(said, vec!["critical"; expected], "{name}");
    }
}

/// Two clocks in two domains; the first one's Syncs are as late as `late_us` says.
fn beside_a_steady_clock(late_us: impl Fn(u16) -> i64, steady: bool) -> Wire {
    let mut wire = Wire::default();
    wire.announces(0..SECONDS, &leader());
    wire.syncs(0..SECONDS, &leader(), late_us);
    wire.follows(0..SECONDS, &follower(20), &leader());
    if steady {
        wire.leads(0..SECONDS, &Sender::of(actor(2).in_domain(1)));
    }
    wire
}

/// Broad noise, up to `most` microseconds, without a pattern.
fn broad(most: u16) -> impl Fn(u16) -> i64 {
    move |sequence| i64::from(sequence.wrapping_mul(25_173).wrapping_add(13_849) % most)
}

#[test]
fn a_leader_with_broad_noise_beside_a_steady_clock_is_taken_for_a_software_stamped_one() {
    for (most, steady, expected) in [
        (100, true, vec!["major"]),
        (100, false, vec!["cannot tell"]),
        (10, true, vec![]),
        (10, false, vec![]),
    ] {
        let wire = beside_a_steady_clock(broad(most), steady);
        assert_eq!(said(&wire.report(), "software-stamped-master"), expected, "{most} {steady}");
    }
}

#[test]
fn noise_that_both_clocks_show_is_the_capture_s_own() {
    let mut wire = beside_a_steady_clock(broad(100), false);
    let other = Sender::of(actor(2).in_domain(1));
    wire.announces(0..SECONDS, &other);
    wire.syncs(0..SECONDS, &other, |sequence| broad(100)(sequence.wrapping_add(7)));
    let report = wire.report();
    for rule in ["software-stamped-master", "sync-delay-variation"] {
        assert!(said(&report, rule).is_empty(), "{rule}");
    }
}

#[test]
fn syncs_that_are_held_up_now_and_then_are_told_from_noisy_stamps() {
    let spikes = |sequence: u16| if sequence.is_multiple_of(12) { 300 } else { i64::from(sequence % 2) };
    for (steady, expected) in [(true, vec!["major"]), (false, vec!["cannot tell"])] {
        let mut wire = beside_a_steady_clock(spikes, steady);
        // One second more, as a minute is judged.
        wire.leads(SECONDS..SECONDS + 2, &leader());
        let report = wire.report();
        assert_eq!(said(&report, "sync-delay-variation"), expected, "{steady}");
        assert!(said(&report, "software-stamped-master").is_empty());
    }
}

/// A clock in gPTP.
fn gptp(last: u8) -> Sender {
    let mut sender = follower(last);
    sender.actor.major_sdo_id = 1;
    sender
}

#[test]
fn a_gptp_bridge_that_adds_nothing_to_the_correction_is_named() {
    for (correction_ns, steps, expected) in [(0, 1, vec!["major"]), (4_000, 1, vec![]), (0, 0, vec![])] {
        let relay = Sender { correction_ns, ..gptp(9) };
        let grandmaster = if steps > 0 { actor(1) } else { relay.actor };
        let relay = Sender { actor: relay.actor.relays(&grandmaster, steps), ..relay };
        let mut wire = Wire::default();
        for second in 0..SECONDS {
            let body = Body::Announce { origin_ns: 0, data: relay.actor.data };
            wire.ethernet(second * 1_000_000, &relay, number(second), &body);
        }
        for eighth in 0..SECONDS * 8 {
            let us = 5_000 + eighth * 125_000;
            wire.ethernet(us + 2, &relay, number(eighth), &Body::Sync { origin_ns: 0 });
            wire.ethernet(us + 900, &relay, number(eighth), &Body::FollowUp { origin_ns: origin(us) });
        }
        assert_eq!(said(&wire.report(), "correction-field-wrong"), expected, "{correction_ns} {steps}");
    }
}

#[test]
fn in_gptp_a_second_neighbour_is_a_critical_fault() {
    let (asker, peers) = (gptp(21), [gptp(31), gptp(32)]);
    let mut wire = Wire::default();
    for second in 0..20 {
        let (us, sequence) = (second * 1_000_000, number(second));
        wire.ethernet(us, &asker, sequence, &Body::PdelayReq { origin_ns: 0 });
        for (peer, after) in peers.iter().zip([300, 700]) {
            let requester = asker.actor.port;
            let answer = Body::PdelayResp { receipt_ns: origin(us), requester };
            wire.ethernet(us + after, peer, sequence, &answer);
        }
    }
    assert_eq!(said(&wire.report(), "peer-delay-several-responders"), ["critical"]);
}
