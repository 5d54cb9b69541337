//! Which clocks are one device, and what each device is said to do: every state by the least that shows it, and
//! what nearly does.

use std::collections::BTreeSet;
use std::net::Ipv4Addr;

use downbeat::devices::Device;
use downbeat::devices::State;
use downbeat::devices::Strength;

use crate::support::craft::ptp_v2::Body;
use crate::support::craft::ptp_v2::PortIdentity;
use crate::support::stage::Actor;
use crate::support::stage::Stage;
use crate::support::stage::actor;
use crate::support::stage::device_of;

fn states(devices: &[Device], actors: &[&Actor]) -> Vec<State> {
    actors.iter().map(|actor| device_of(devices, actor.id()).state).collect()
}

#[test]
fn a_v1_clock_is_one_device_with_the_v2_identity_made_from_its_mac() {
    for middle in [[0xFF, 0xFE], [0xFF, 0xFF]] {
        let v1 = actor(1);
        let mut v2 = actor(1);
        v2.port.clock[3..5].copy_from_slice(&middle);
        // The two speak from different addresses, so that only the identity joins them.
        (v2.mac, v2.ip) = ([0x02, 0, 0x5E, 0x77, 0, 1], Some(Ipv4Addr::new(192, 168, 30, 1)));
        let mut stage = Stage::default();
        stage.announces(0..5, &[&v2, &actor(9)]);
        stage.v1_sync(100, &v1, false, 4);
        let devices = stage.scene(5_000).devices(None);
        assert_eq!(devices.len(), 2);
        let device = device_of(&devices, v1.v1_id());
        assert!(device.has_clock(v2.id()), "{middle:x?}");
        assert_eq!(device.key, "02:00:5e:10:00:01");
    }
}

#[test]
fn the_2019_form_joins_only_where_the_source_address_agrees() {
    for agrees in [true, false] {
        let v1 = actor(1);
        let mut v2 = actor(1);
        v2.port = PortIdentity { clock: [0x02, 0, 0x5E, 0x10, 0, 1, 0xAB, 0xCD], port: 1 };
        v2.ip = Some(Ipv4Addr::new(192, 168, 30, 1));
        if !agrees {
            v2.mac = [0x02, 0, 0x5E, 0x77, 0, 1];
        }
        let mut stage = Stage::default();
        stage.announces(0..5, &[&v2]);
        stage.v1_sync(100, &v1, false, 4);
        let devices = stage.scene(5_000).devices(None);
        assert_eq!(devices.len(), if agrees { 1 } else { 2 });
    }
}

#[test]
fn two_clocks_behind_one_router_are_two_devices_with_two_names() {
    let (mut left, mut right) = (actor(1), actor(2));
    left.mac = [0x02, 0, 0x5E, 0x77, 0, 1];
    right.mac = left.mac;
    let mut stage = Stage::default();
    stage.announces(0..5, &[&left, &right]);
    let devices = stage.scene(5_000).devices(None);
    assert_eq!(devices.len(), 2);
    let keys: BTreeSet<_> = devices.iter().map(|device| device.key.as_str()).collect();
    assert_eq!(keys.len(), 2, "{keys:?}");
}

#[test]
fn two_clocks_of_one_address_pair_are_one_device() {
    let (left, mut right) = (actor(1), actor(2));
    (right.mac, right.ip) = (left.mac, left.ip);
    let mut stage = Stage::default();
    stage.announces(0..5, &[&left, &right]);
    assert_eq!(stage.scene(5_000).devices(None).len(), 1);
}

#[test]
fn over_ethernet_an_address_that_carries_many_clocks_joins_none() {
    for (count, expected) in [(2, 1), (3, 3)] {
        let mut stage = Stage::default();
        for number in 1..=count {
            let mut clock = actor(number);
            (clock.mac, clock.ip) = ([0x02, 0, 0x5E, 0x77, 0, 1], None);
            stage.announces(0..3, &[&clock]);
        }
        assert_eq!(stage.scene(5_000).devices(None).len(), expected);
    }
}

#[test]
fn leading_following_and_standing_by_in_one_healthy_domain() {
    let (worse, better, follower) = (actor(1), actor(2).class(6), actor(3));
    let mut stage = Stage::default();
    stage.announces(0..10, &[&worse]);
    stage.announces(10..=12, &[&worse, &better]);
    stage.announces(13..=30, &[&better]);
    stage.requests(13..=30, &follower, Some(&better));
    let devices = stage.scene(31_000).devices(None);
    let expected = [State::StandingBy, State::Leading, State::Following];
    assert_eq!(states(&devices, &[&worse, &better, &follower]), expected);
    assert_eq!(device_of(&devices, follower.id()).strength, Strength::Shown);
    assert_eq!(device_of(&devices, follower.id()).leader, Some(better.id()));
}

#[test]
fn a_leader_that_fell_silent_with_nobody_after_it_is_unproven_and_not_standing_by() {
    let (leader, follower) = (actor(1), actor(2));
    let mut stage = Stage::default();
    stage.announces(0..=10, &[&leader]);
    stage.requests(0..=10, &follower, Some(&leader));
    let devices = stage.scene(30_000).devices(None);
    assert_eq!(states(&devices, &[&leader, &follower]), [State::Unproven, State::Unproven]);
}

#[test]
fn a_lost_leader_is_not_said_to_have_yielded() {
    let (leader, worse) = (actor(1).class(6), actor(2));
    let mut stage = Stage::default();
    stage.announces(0..=10, &[&leader]);
    stage.announces(14..=30, &[&worse]);
    let devices = stage.scene(31_000).devices(None);
    assert_eq!(states(&devices, &[&leader, &worse]), [State::Unproven, State::Leading]);
}

#[test]
fn a_boundary_clock_is_relaying() {
    let gm = actor(1).class(6);
    let follower_port = actor(2);
    let mut leading_port = actor(2).relays(&gm, 1);
    leading_port.port.port = 2;
    let mut stage = Stage::default();
    stage.announces(0..=20, &[&gm, &leading_port]);
    stage.requests(0..=18, &follower_port, Some(&gm));
    let devices = stage.scene(21_000).devices(None);
    assert_eq!(states(&devices, &[&gm, &follower_port]), [State::Leading, State::Relaying]);
    assert_eq!(device_of(&devices, follower_port.id()).strength, Strength::Shown);
}

#[test]
fn a_worse_clock_that_never_yields_is_a_rival_until_it_does() {
    let (better, worse) = (actor(1).class(6), actor(2));
    let mut stage = Stage::default();
    stage.announces(0..=40, &[&better, &worse]);
    let devices = stage.scene(40_500).devices(None);
    assert_eq!(states(&devices, &[&better, &worse]), [State::Leading, State::Rival]);

    let mut stage = Stage::default();
    stage.announces(0..=40, &[&better, &worse]);
    stage.announces(41..=60, &[&better]);
    let devices = stage.scene(60_500).devices(None);
    assert_eq!(states(&devices, &[&better, &worse]), [State::Leading, State::StandingBy]);
}

#[test]
fn a_follower_that_both_leaders_answer_is_unproven() {
    let (better, worse, follower) = (actor(1).class(6), actor(2), actor(3));
    let mut stage = Stage::default();
    stage.announces(0..=40, &[&better, &worse]);
    for sequence in 0..30_u16 {
        let time = i64::from(sequence) * 1000 + 500;
        stage.ask(time, &follower, sequence);
        stage.answer(time + 1, &better, &follower, sequence);
        stage.answer(time + 2, &worse, &follower, sequence);
    }
    let devices = stage.scene(40_500).devices(None);
    assert_eq!(device_of(&devices, follower.id()).state, State::Unproven);
}

#[test]
fn multicast_requests_that_nobody_answers_are_unanswered_where_others_are_answered() {
    let (leader, lucky, unlucky) = (actor(1), actor(2), actor(3));
    let mut stage = Stage::default();
    stage.announces(0..=30, &[&leader]);
    stage.requests(0..=25, &lucky, Some(&leader));
    stage.requests(0..=25, &unlucky, None);
    let devices = stage.scene(31_000).devices(None);
    assert_eq!(states(&devices, &[&lucky, &unlucky]), [State::Following, State::Unanswered]);
    assert_eq!(device_of(&devices, unlucky.id()).strength, Strength::Shown);
}

#[test]
fn answers_that_stop_are_unanswered() {
    let (leader, follower) = (actor(1), actor(2));
    let mut stage = Stage::default();
    stage.announces(0..=30, &[&leader]);
    stage.requests(0..=10, &follower, Some(&leader));
    stage.requests(11..=25, &follower, None);
    let devices = stage.scene(31_000).devices(None);
    assert_eq!(device_of(&devices, follower.id()).state, State::Unanswered);
}

#[test]
fn two_requests_without_an_answer_say_nothing_yet() {
    let (leader, asker) = (actor(1), actor(2));
    let mut stage = Stage::default();
    stage.announces(0..=30, &[&leader]);
    stage.requests(0..=1, &asker, None);
    let devices = stage.scene(31_000).devices(None);
    assert_eq!(device_of(&devices, asker.id()).state, State::Unproven);
}

#[test]
fn unicast_requests_whose_answers_cannot_be_in_view_are_unproven() {
    let (leader, asker) = (actor(1), actor(2));
    let mut stage = Stage::default();
    stage.announces(0..=30, &[&leader]);
    for sequence in 0..25_u16 {
        let time = i64::from(sequence) * 1000;
        stage.send(Some(time), &asker, leader.ip, sequence, &Body::DelayReq { origin_ns: 0 });
    }
    let devices = stage.scene(31_000).devices(None);
    let device = device_of(&devices, asker.id());
    assert_eq!((device.state, device.strength), (State::Unproven, Strength::CannotTell));
}

#[test]
fn unicast_answers_without_their_requests_in_view_show_a_follower() {
    let (leader, asker) = (actor(1), actor(2));
    let mut stage = Stage::default();
    stage.announces(0..=30, &[&leader]);
    for sequence in 0..25_u16 {
        let body = Body::DelayResp { receipt_ns: 0, requester: asker.port };
        stage.send(Some(i64::from(sequence) * 1000), &leader, asker.ip, sequence, &body);
    }
    let devices = stage.scene(31_000).devices(None);
    let device = device_of(&devices, asker.id());
    assert_eq!((device.state, device.strength), (State::Following, Strength::Inferred));
}

/// Two domains with a leader and followers each; the first has more.
fn two_houses(asked_for: Option<u8>) -> Vec<Device> {
    let (leader, other) = (actor(1), actor(11).in_domain(5));
    let mut stage = Stage::default();
    stage.announces(0..=30, &[&leader, &other]);
    for number in 2..5 {
        stage.requests(0..=25, &actor(number), Some(&leader));
    }
    for number in 12..14 {
        stage.requests(0..=25, &actor(number).in_domain(5), Some(&other));
    }
    stage.scene(31_000).devices(asked_for)
}

#[test]
fn a_second_domain_with_its_own_followers_is_not_astray_while_the_sites_is_assumed() {
    let devices = two_houses(None);
    let expected = [State::Leading, State::Following, State::Leading, State::Following];
    assert_eq!(states(&devices, &[&actor(1), &actor(2), &actor(11), &actor(12)]), expected);
}

#[test]
fn where_the_site_names_its_domain_whoever_is_in_another_is_astray() {
    let devices = two_houses(Some(5));
    let expected = [State::Astray, State::Astray, State::Leading, State::Following];
    assert_eq!(states(&devices, &[&actor(1), &actor(2), &actor(11), &actor(12)]), expected);
    assert_eq!(device_of(&devices, actor(2).id()).strength, Strength::Shown);
}

#[test]
fn a_device_alone_in_another_domain_is_astray_by_inference() {
    let (leader, follower, lost) = (actor(1), actor(2), actor(3).in_domain(7));
    let mut stage = Stage::default();
    stage.announces(0..=30, &[&leader]);
    stage.requests(0..=25, &follower, Some(&leader));
    stage.requests(0..=25, &lost, None);
    let devices = stage.scene(31_000).devices(None);
    let device = device_of(&devices, lost.id());
    assert_eq!((device.state, device.strength), (State::Astray, Strength::Inferred));
    assert_eq!(states(&devices, &[&leader, &follower]), [State::Leading, State::Following]);
}

#[test]
fn a_single_message_in_another_domain_makes_nobody_astray() {
    let (leader, follower, lost) = (actor(1), actor(2), actor(3).in_domain(7));
    let mut stage = Stage::default();
    stage.announces(0..=30, &[&leader]);
    stage.requests(0..=25, &follower, Some(&leader));
    stage.ask(5_000, &lost, 1);
    let devices = stage.scene(31_000).devices(None);
    assert_eq!(device_of(&devices, lost.id()).state, State::Unproven);
}

/// A boundary clock from v1 to v2 keeps the v1 side on the site's time.
#[test]
fn a_v1_domain_that_a_follower_of_the_site_leads_is_not_astray() {
    let (leader, bridge, old) = (actor(1), actor(2), actor(3));
    let mut stage = Stage::default();
    stage.announces(0..=30, &[&leader]);
    stage.requests(0..=25, &bridge, Some(&leader));
    for second in 0..=25_u16 {
        let time = i64::from(second) * 1000;
        stage.v1_sync(time + 100, &bridge, false, 4);
        stage.v1_request(time + 300, &old, Some(&bridge), second);
    }
    let devices = stage.scene(31_000).devices(None);
    assert_eq!(device_of(&devices, bridge.id()).state, State::Relaying);
    assert_eq!(device_of(&devices, old.v1_id()).state, State::Following);
}

#[test]
fn four_thousand_clocks_do_not_make_the_judging_take_minutes() {
    let mut stage = Stage::default();
    stage.announces(0..30, &[&actor(1)]);
    for number in 0..4000_u16 {
        let mut asker = actor(2);
        let [high, low] = number.to_be_bytes();
        asker.mac = [0x02, 0, 0x5E, 0x40, high, low];
        asker.port.clock = [0x02, 0, 0x5E, 0xFF, 0xFE, 0x40, high, low];
        asker.ip = Some(Ipv4Addr::new(10, 77, high, low));
        stage.ask(i64::from(number), &asker, 1);
        stage.announce(i64::from(number), &asker);
    }
    // In no time even unoptimised where the work grows with the clocks; where it grows with their square, this does
    // not end while anybody waits.
    let devices = stage.scene(30_000).devices(None);
    assert_eq!(devices.len(), 4001);
}
