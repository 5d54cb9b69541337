//! Rules about how PTP is carried: made captures on which each fires, and near misses.

use std::net::Ipv4Addr;

use crate::support::craft::frame;
use crate::support::craft::ptp_v2;
use crate::support::craft::ptp_v2::Body;
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

const SECONDS: i64 = 60;

fn sound() -> Wire {
    wire::sound(SECONDS)
}

#[test]
fn a_device_over_ethernet_under_a_leader_over_udp_is_named() {
    for (also_udp, expected) in [(false, 1), (true, 0)] {
        let mut wire = sound();
        let device = actor(21);
        for second in 0..SECONDS {
            let body = Body::PdelayReq { origin_ns: 0 };
            wire.ethernet(second * 1_000_000 + 50, &Sender::of(device), number(second), &body);
        }
        if also_udp {
            wire.follows(0..SECONDS, &follower(21), &leader());
        }
        let said = said(&wire.report(), "transport-mismatch");
        assert_eq!(said, vec!["critical"; expected], "{also_udp}");
    }
}

#[test]
fn peer_delay_to_the_group_of_the_others_is_named() {
    for (wrong, expected) in [(true, vec!["major"]), (false, vec![])] {
        let mut wire = sound();
        let group = Ipv4Addr::new(224, 0, 1, 129);
        let mut device = follower(21);
        device.to = wrong.then_some((frame::group_mac(group), group));
        for second in 0..SECONDS {
            wire.put(second * 1_000_000 + 50, &device, number(second), &Body::PdelayReq { origin_ns: 0 });
        }
        assert_eq!(said(&wire.report(), "transport-mismatch"), expected);
    }
}

#[test]
fn a_follower_behind_a_router_does_not_get_multicast_of_one_hop() {
    let away = |ttl: u8| {
        let mut actor = actor(21);
        actor.ip = Some(Ipv4Addr::new(10, 44, 0, 21));
        Sender { ttl, ..Sender::of(actor).to(&leader().actor) }
    };
    for (ttl, leader_ttl, expected) in [(63, 1, vec!["major"]), (64, 1, vec![]), (63, 16, vec![])] {
        let leads = Sender { ttl: leader_ttl, ..leader() };
        let mut wire = Wire::default();
        wire.leads(0..SECONDS, &leads);
        wire.follows(0..SECONDS, &follower(20), &leads);
        wire.asks(0..SECONDS, &away(ttl));
        wire.answers(0..SECONDS, &leads.to(&away(ttl).actor), &away(ttl));
        let report = wire.report();
        assert_eq!(said(&report, "ttl-too-small"), expected, "{ttl} {leader_ttl}");
    }
}

#[test]
fn unmarked_events_are_told_by_who_sends_them_and_what_else_is_there() {
    for (leads, follows, shared, expected) in [
        (46, 46, true, vec![]),
        (0, 46, true, vec!["major"]),
        (0, 46, false, vec!["minor"]),
        (46, 0, true, vec!["minor"]),
        (46, 56, true, vec!["info"]),
        (0, 0, true, vec!["info"]),
        (0, 0, false, vec![]),
    ] {
        let (first, second) = (Sender { dscp: leads, ..leader() }, Sender { dscp: follows, ..follower(20) });
        let mut wire = Wire::default();
        wire.leads(0..SECONDS, &first);
        wire.follows(0..SECONDS, &second, &first);
        if shared {
            wire.media(0..SECONDS);
        }
        let report = wire.report();
        let case = format!("{leads} {follows} {shared}");
        assert_eq!(said(&report, "dscp-missing-or-inconsistent"), expected, "{case}");
        assert!(others(&report, "dscp-missing-or-inconsistent").is_empty(), "{case}");
    }
}

#[test]
fn one_message_with_two_code_points_was_marked_anew_on_the_way() {
    for (again, copies, expected) in [(0, SECONDS, vec!["major"]), (46, SECONDS, vec![]), (0, 5, vec![])] {
        let mut wire = sound();
        for second in 0..copies {
            let body = Body::Announce { origin_ns: 0, data: leader().actor.data };
            let us = second * 1_000_000 + 40;
            wire.put(us, &Sender { dscp: again, ..leader() }, number(second), &body);
        }
        assert_eq!(said(&wire.report(), "dscp-rewritten"), expected, "{again} {copies}");
    }
}

#[test]
fn messages_of_one_vlan_on_another_are_named_and_mirror_copies_are_not() {
    // A clock that serves both VLANs sends like numbers and times of its own.
    for (late_us, own_times, expected) in
        [(2_500, false, vec!["major"]), (100, false, vec![]), (2_500, true, vec![])]
    {
        let on = |vlan| Sender { vlan: Some(vlan), ..leader() };
        let mut wire = Wire::default();
        wire.leads(0..SECONDS, &on(10));
        for second in 0..SECONDS {
            // The first Follow_Up of each second.
            let us = second * 1_000_000 + 5_000;
            let origin_ns = origin(if own_times { us + late_us } else { us });
            let body = Body::FollowUp { origin_ns };
            wire.put(us + 1_010 + late_us, &on(20), number(second * 8), &body);
        }
        assert_eq!(said(&wire.report(), "vlan-split-or-leak"), expected, "{late_us} {own_times}");
    }
}

#[test]
fn one_network_with_a_leader_on_each_of_two_vlans_is_named() {
    for (third, expected) in [(20, vec!["major"]), (21, vec![])] {
        let mut wire = Wire::default();
        wire.leads(0..SECONDS, &Sender { vlan: Some(10), ..leader() });
        let mut other = actor(2);
        other.ip = Some(Ipv4Addr::new(192, 168, third, 2));
        wire.leads(0..SECONDS, &Sender { vlan: Some(20), ..Sender::of(other) });
        assert_eq!(said(&wire.report(), "vlan-split-or-leak"), expected, "{third}");
    }
}

#[test]
fn messages_that_end_too_soon_are_told_with_their_share() {
    for (count, expected) in [(0, vec![]), (3, vec!["minor"]), (60, vec!["major"])] {
        let mut wire = sound();
        for second in 0..count {
            let header = ptp_v2::Header {
                domain: 0,
                flags: [0, 0],
                correction: 0,
                source: actor(30).port,
                sequence: number(second),
                log_interval: 0,
            };
            let like = Body::DelayReq { origin_ns: 0 };
            let octets = ptp_v2::encode(&header, &like);
            wire.octets(second * 1_000_000 + 77, &follower(30), &like, &octets[..38]);
        }
        let report = wire.report();
        assert_eq!(said(&report, "damaged-or-odd-ptp-frames"), expected, "{count}");
        assert!(others(&report, "damaged-or-odd-ptp-frames").is_empty());
    }
}

#[test]
fn two_devices_with_one_address_are_named_and_one_that_took_it_over_is_not() {
    for (from, expected) in [(0, vec!["critical"]), (32, vec![])] {
        let mut wire = Wire::default();
        wire.leads(0..SECONDS, &leader());
        let until = if from == 0 { SECONDS } else { 30 };
        wire.follows(0..until, &follower(20), &leader());
        let mut twin = actor(21);
        twin.ip = actor(20).ip;
        wire.follows(from..SECONDS, &Sender::of(twin), &leader());
        let report = wire.report();
        assert_eq!(said(&report, "ip-or-mac-conflict"), expected, "{from}");
    }
}

#[test]
fn a_device_with_an_address_of_its_own_making_among_others_is_told() {
    let mut stray = actor(30);
    stray.ip = Some(Ipv4Addr::new(169, 254, 3, 30));
    let mut wire = sound();
    wire.follows(0..SECONDS, &Sender::of(stray), &leader());
    assert_eq!(said(&wire.report(), "ip-or-mac-conflict"), ["minor"]);
    // A network that lives by such addresses is meant to.
    let mut wire = Wire::default();
    let mut first = leader();
    first.actor.ip = Some(Ipv4Addr::new(169, 254, 3, 1));
    wire.leads(0..SECONDS, &first);
    wire.follows(0..SECONDS, &Sender::of(stray), &first);
    assert!(said(&wire.report(), "ip-or-mac-conflict").is_empty());
}
