//! Who leads, from when to when and why, from announced octets. Expected outcomes follow 1588-2008 9.3
//! (qualification by a second Announce, receipt timeout of three intervals; from memory) and the report's contract:
//! a tenure ends at the leader's last Announce, and the next begins at its own first.

use std::net::Ipv4Addr;

use downbeat::domains::ClockId;
use downbeat::domains::DecidedBy;
use downbeat::domains::Domain;
use downbeat::domains::DomainKey;
use downbeat::domains::DomainName;
use downbeat::domains::Domains;
use downbeat::domains::EndedBy;
use downbeat::domains::Happening;
use downbeat::domains::Standing;
use downbeat::ptp::ClockIdentity;
use proptest::prelude::*;

use crate::support::craft::ptp_v2::Body;
use crate::support::craft::ptp_v2::PortIdentity;
use crate::support::stage::Actor;
use crate::support::stage::Stage;
use crate::support::stage::actor;
use crate::support::stage::key;
use crate::support::stage::ms;
use crate::support::stage::only;

/// Clock, beginning and end in ms, and why it ended.
fn tenures(domain: &Domain) -> Vec<(ClockId, i64, i64, EndedBy)> {
    domain
        .election
        .tenures()
        .map(|tenure| (tenure.clock, ms(tenure.from), ms(tenure.until.unwrap()), tenure.ended_by))
        .collect()
}

#[test]
fn a_single_clock_leads_from_its_first_announce_to_the_end() {
    let a = actor(1);
    let mut stage = Stage::default();
    stage.announces(0..=20, &[&a]);
    let domains = stage.finish(20_500);
    let domain = only(&domains);
    assert_eq!(tenures(domain), [(a.id(), 0, 20_500, EndedBy::CaptureEnd)]);
    assert_eq!(domain.election.leader(), Some(a.id()));
    let tenure = domain.election.current().unwrap();
    assert_eq!((tenure.won_on, tenure.won_against), (DecidedBy::OnlyCandidate, None));
    assert_eq!(domain.election.rivalries(), []);
}

#[test]
fn a_better_clock_takes_over_at_its_second_announce() {
    let (worse, better) = (actor(1), actor(2).class(6));
    let mut stage = Stage::default();
    stage.announces(0..10, &[&worse]);
    stage.announces(10..=11, &[&worse, &better]);
    stage.announces(12..=20, &[&better]);
    let domains = stage.finish(20_000);
    let expected =
        [(worse.id(), 0, 11_010, EndedBy::BetterClock), (better.id(), 11_010, 20_000, EndedBy::CaptureEnd)];
    assert_eq!(tenures(only(&domains)), expected);
    let tenure = only(&domains).election.current().unwrap();
    assert_eq!((tenure.won_on, tenure.won_against), (DecidedBy::ClockClass, Some(worse.id())));
    assert_eq!(only(&domains).election.rivalries(), []);
}

#[test]
fn one_announce_of_a_better_clock_changes_nothing() {
    let (worse, better) = (actor(1), actor(2).class(6));
    let mut stage = Stage::default();
    stage.announces(0..10, &[&worse]);
    stage.announce(10_500, &better);
    stage.announces(11..=20, &[&worse]);
    assert_eq!(tenures(only(&stage.finish(20_000))), [(worse.id(), 0, 20_000, EndedBy::CaptureEnd)]);
}

#[test]
fn two_announces_further_apart_than_the_window_do_not_qualify() {
    let (worse, better) = (actor(1), actor(2).class(6));
    let mut stage = Stage::default();
    stage.announces(0..10, &[&worse]);
    stage.announce(10_500, &better);
    stage.announces(11..20, &[&worse]);
    // 9 s: beyond four intervals of 1 s.
    stage.announce(19_500, &better);
    stage.announces(20..=25, &[&worse]);
    assert_eq!(tenures(only(&stage.finish(25_000))), [(worse.id(), 0, 25_000, EndedBy::CaptureEnd)]);
}

#[test]
fn after_a_silent_leader_the_worse_clock_leads_from_its_first_announce() {
    let (better, worse) = (actor(1).class(6), actor(2));
    let mut stage = Stage::default();
    stage.announces(0..=10, &[&better]);
    stage.announces(14..=20, &[&worse]);
    let domains = stage.finish(20_000);
    let expected = [
        (better.id(), 0, 10_000, EndedBy::AnnounceTimeout),
        (worse.id(), 14_000, 20_000, EndedBy::CaptureEnd),
    ];
    assert_eq!(tenures(only(&domains)), expected);
    let lost = only(&domains).events.iter().find(|event| matches!(event.what, Happening::LeaderLost { .. }));
    assert_eq!(ms(lost.unwrap().time), 10_000);
}

#[test]
fn a_clock_that_spoke_up_before_the_timeout_leads_from_its_first_announce() {
    let (better, worse) = (actor(1).class(6), actor(2));
    let mut stage = Stage::default();
    stage.announces(0..=10, &[&better]);
    stage.announces(12..=20, &[&worse]);
    let expected = [
        (better.id(), 0, 10_000, EndedBy::AnnounceTimeout),
        (worse.id(), 12_000, 20_000, EndedBy::CaptureEnd),
    ];
    assert_eq!(tenures(only(&stage.finish(20_000))), expected);
}

/// The lost leader is "alive" at its own deadline; electing it again there once never ended.
#[test]
fn a_silent_leader_with_nobody_after_it_leaves_the_domain_without_one() {
    let a = actor(1);
    let mut stage = Stage::default();
    stage.announces(0..=10, &[&a]);
    let domains = stage.finish(30_000);
    assert_eq!(tenures(only(&domains)), [(a.id(), 0, 10_000, EndedBy::AnnounceTimeout)]);
    assert_eq!(only(&domains).election.leader(), None);
    assert_eq!(only(&domains).election.current(), None);
}

/// The same where two ports carry the lost grandmaster with one deadline.
#[test]
fn a_lost_leader_reached_by_two_ways_of_one_deadline_is_not_elected_again() {
    let a = actor(1);
    let (left, right) = (actor(2).relays(&a, 1), actor(3).relays(&a, 1));
    let mut stage = Stage::default();
    for second in 0..=10 {
        stage.announce(second * 1000, &left);
        stage.announce(second * 1000, &right);
    }
    let domains = stage.finish(30_000);
    assert_eq!(tenures(only(&domains)), [(a.id(), 0, 10_000, EndedBy::AnnounceTimeout)]);
}

#[test]
fn a_returning_leader_has_a_second_tenure() {
    let a = actor(1);
    let mut stage = Stage::default();
    stage.announces(0..=10, &[&a]);
    stage.announces(20..=30, &[&a]);
    let expected =
        [(a.id(), 0, 10_000, EndedBy::AnnounceTimeout), (a.id(), 20_000, 30_000, EndedBy::CaptureEnd)];
    assert_eq!(tenures(only(&stage.finish(30_000))), expected);
}

#[test]
fn a_leader_whose_class_worsens_loses_by_quality() {
    let (leader, standby) = (actor(1).class(6), actor(2).class(7));
    let degraded = leader.class(52);
    let mut stage = Stage::default();
    stage.announces(0..10, &[&leader]);
    // Class 7 is silent while it is passive, and speaks up once it is better (1588-2008 Figure 26, from memory).
    stage.announces(10..=12, &[&degraded, &standby]);
    stage.announces(13..=20, &[&standby]);
    let domains = stage.finish(20_000);
    let expected = [
        (leader.id(), 0, 11_010, EndedBy::QualityChange),
        (standby.id(), 11_010, 20_000, EndedBy::CaptureEnd),
    ];
    assert_eq!(tenures(only(&domains)), expected);
    assert!(only(&domains).events.iter().any(|event| {
        ms(event.time) == 10_000
            && matches!(&event.what, Happening::DataChanged { changes, .. } if changes.len() == 1)
    }));
}

#[test]
fn one_or_two_lost_announces_end_no_tenure() {
    for lost in [1, 2] {
        let (leader, worse) = (actor(1).class(6), actor(2));
        let mut stage = Stage::default();
        stage.announces(0..=10, &[&leader]);
        stage.announces(11 + lost..=20, &[&leader]);
        assert_eq!(
            tenures(only(&stage.finish(20_000))),
            [(leader.id(), 0, 20_000, EndedBy::CaptureEnd)],
            "{lost} lost beside {}",
            worse.id()
        );
    }
}

#[test]
fn a_worse_clock_that_never_yields_is_one_rivalry() {
    let (better, worse) = (actor(1).class(6), actor(2));
    let mut stage = Stage::default();
    stage.announces(0..=40, &[&better, &worse]);
    let domains = stage.finish(40_010);
    let domain = only(&domains);
    assert_eq!(tenures(domain), [(better.id(), 0, 40_010, EndedBy::CaptureEnd)]);
    let [rivalry] = domain.election.rivalries() else { panic!("{:?}", domain.election.rivalries()) };
    assert_eq!((rivalry.clock, rivalry.leader), (worse.id(), better.id()));
    assert_eq!(rivalry.decided_by, DecidedBy::ClockClass);
    assert_eq!((ms(rivalry.since), ms(rivalry.until)), (10, 40_010));
}

#[test]
fn an_overlap_of_a_hand_over_is_no_rivalry() {
    let (better, worse) = (actor(1).class(6), actor(2));
    let mut stage = Stage::default();
    stage.announces(0..10, &[&worse]);
    // Qualification and receipt timeout: 4 + 3 intervals. The old leader goes on for six.
    stage.announces(10..=16, &[&better, &worse]);
    stage.announces(17..=30, &[&better]);
    let domains = stage.finish(30_000);
    assert_eq!(only(&domains).election.rivalries(), []);
    assert_eq!(only(&domains).election.tenures().count(), 2);
}

#[test]
fn the_worse_of_two_present_from_the_start_never_led() {
    let (better, worse) = (actor(1).class(6), actor(2));
    let mut stage = Stage::default();
    stage.announces(0..=20, &[&worse, &better]);
    assert_eq!(tenures(only(&stage.finish(20_500))), [(better.id(), 10, 20_500, EndedBy::CaptureEnd)]);
}

/// 1588-2008 17.4 (from memory): an alternate master takes no part unless asked for.
#[test]
fn an_alternate_master_takes_no_part() {
    let (leader, mut alternate) = (actor(1), actor(2).class(6));
    alternate.flags = [0x01, 0];
    let mut stage = Stage::default();
    stage.announces(0..=20, &[&leader, &alternate]);
    let domains = stage.finish(20_500);
    assert_eq!(tenures(only(&domains)), [(leader.id(), 0, 20_500, EndedBy::CaptureEnd)]);
    assert_eq!(only(&domains).election.rivalries(), []);
    let offers: u64 = only(&domains).ports.values().map(|port| port.alternate_offers).sum();
    assert_eq!(offers, 21);
}

/// 1588-2008 9.3.2.5 (from memory).
#[test]
fn an_offer_of_255_steps_never_qualifies() {
    let gm = actor(1).class(6);
    let (far, near) = (actor(2).relays(&gm, 255), actor(3));
    let mut stage = Stage::default();
    stage.announces(0..=20, &[&far]);
    let domains = stage.finish(20_500);
    assert_eq!(tenures(only(&domains)), []);
    assert_eq!(Standing::at_end(only(&domains)).rightful(), None);
    let mut stage = Stage::default();
    stage.announces(0..=20, &[&far, &near]);
    let domains = stage.finish(20_500);
    assert_eq!(tenures(only(&domains)), [(near.id(), 10, 20_500, EndedBy::CaptureEnd)]);
    assert_eq!(only(&domains).election.rivalries(), []);
    let mut stage = Stage::default();
    stage.announces(0..=20, &[&actor(2).relays(&gm, 254)]);
    assert_eq!(tenures(only(&stage.finish(20_500))), [(gm.id(), 0, 20_500, EndedBy::CaptureEnd)]);
}

/// As in a real capture (`ptp_ethernet`, from 16:47:12): a boundary clock announces itself, then its grandmaster.
#[test]
fn a_boundary_clock_that_announces_another_grandmaster_changes_the_leader_at_once() {
    let relay = actor(2);
    let gm = actor(1).class(6);
    let mut stage = Stage::default();
    stage.announces(0..10, &[&relay]);
    stage.announces(10..=20, &[&relay.relays(&gm, 1)]);
    let domains = stage.finish(20_000);
    let expected =
        [(relay.id(), 0, 10_000, EndedBy::BetterClock), (gm.id(), 10_000, 20_000, EndedBy::CaptureEnd)];
    assert_eq!(tenures(only(&domains)), expected);
}

#[test]
fn one_grandmaster_by_two_boundary_clocks_is_one_tenure_and_no_rivalry() {
    let gm = actor(1).class(6);
    let (near, far) = (actor(2).relays(&gm, 1), actor(3).relays(&gm, 3));
    let mut stage = Stage::default();
    stage.announces(0..=40, &[&far, &near]);
    let domains = stage.finish(40_010);
    assert_eq!(tenures(only(&domains)), [(gm.id(), 0, 40_010, EndedBy::CaptureEnd)]);
    assert_eq!(only(&domains).election.rivalries(), []);
}

#[test]
fn a_way_that_falls_silent_does_not_end_a_grandmaster_that_another_way_shows() {
    let gm = actor(1).class(6);
    let (near, far) = (actor(2).relays(&gm, 1), actor(3).relays(&gm, 3));
    let mut stage = Stage::default();
    stage.announces(0..=10, &[&far, &near]);
    stage.announces(11..=40, &[&far]);
    assert_eq!(tenures(only(&stage.finish(40_000))), [(gm.id(), 0, 40_000, EndedBy::CaptureEnd)]);
}

#[test]
fn in_v1_the_preferred_clock_leads_and_its_silence_is_stopped_sync() {
    let (preferred, other) = (actor(1), actor(2));
    let mut stage = Stage::default();
    for second in 0..=20 {
        // A better stratum does not help against a preferred clock (vector B1-01).
        stage.v1_sync(second * 1000, &other, false, 1);
        stage.v1_sync(second * 1000 + 10, &preferred, true, 4);
    }
    let domains = stage.finish(20_500);
    assert_eq!(tenures(only(&domains)), [(preferred.v1_id(), 10, 20_500, EndedBy::CaptureEnd)]);
    assert_eq!(only(&domains).election.current().unwrap().won_on, DecidedBy::Preferred);

    let mut stage = Stage::default();
    for second in 0..=20 {
        stage.v1_sync(second * 1000, &preferred, true, 4);
    }
    // Ten Sync intervals must pass (an open-source IEEE 1588-2002 implementation).
    for second in 32..=40 {
        stage.v1_sync(second * 1000, &other, false, 4);
    }
    let expected = [
        (preferred.v1_id(), 0, 20_000, EndedBy::SyncStopped),
        (other.v1_id(), 32_000, 40_000, EndedBy::CaptureEnd),
    ];
    assert_eq!(tenures(only(&stage.finish(40_000))), expected);
}

#[test]
fn nine_lost_syncs_end_no_v1_tenure() {
    let a = actor(1);
    let mut stage = Stage::default();
    for second in (0..=20).chain(30..=40) {
        stage.v1_sync(second * 1000, &a, false, 4);
    }
    assert_eq!(tenures(only(&stage.finish(40_000))), [(a.v1_id(), 0, 40_000, EndedBy::CaptureEnd)]);
}

fn gptp(number: u8) -> Actor {
    let actor = actor(number);
    Actor { ip: None, major_sdo_id: 1, ..actor }
}

/// 802.1AS 10.3 (from memory): no foreign-master qualification.
#[test]
fn in_gptp_one_announce_qualifies() {
    let (worse, better) = (gptp(1), gptp(2).class(6));
    let mut stage = Stage::default();
    stage.announces(0..10, &[&worse]);
    stage.announces(10..=20, &[&better]);
    let domains = stage.finish(20_000);
    let expected =
        [(worse.id(), 0, 10_000, EndedBy::BetterClock), (better.id(), 10_000, 20_000, EndedBy::CaptureEnd)];
    assert_eq!(tenures(only(&domains)), expected);
    assert!(only(&domains).key.is_gptp());
}

/// 1588-2008 D.4 (from memory): bit 0 over UDP asks for long event messages and is not gPTP.
#[test]
fn major_sdo_id_1_over_udp_is_an_ordinary_domain() {
    let mut marked = actor(1);
    marked.major_sdo_id = 1;
    let mut stage = Stage::default();
    stage.announces(0..=5, &[&marked, &actor(2)]);
    let domains = stage.finish(5_500);
    assert_eq!(only(&domains).key, key(0));
}

#[test]
fn vlans_are_domains_of_their_own() {
    let (here, mut there) = (actor(1), actor(2).class(6));
    there.vlan = Some(7);
    let mut stage = Stage::default();
    stage.announces(0..=40, &[&here, &there]);
    let domains = stage.finish(40_500);
    let leader = |vlan| {
        let key = DomainKey { name: DomainName::Number { sdo_id: 0, number: 0 }, vlan };
        domains.get(&key).unwrap().election.leader()
    };
    assert_eq!((leader(None), leader(Some(7))), (Some(here.id()), Some(there.id())));
    assert!(domains.iter().all(|domain| domain.election.rivalries().is_empty()));
}

#[test]
fn a_capture_clock_that_steps_back_ends_no_tenure() {
    let a = actor(1);
    let mut stage = Stage::default();
    stage.announces((100..=110).chain(50..=60).chain(111..=120), &[&a]);
    let domains = stage.finish_as_stamped(120_000);
    let expected = [(a.id(), 100_000, 120_000, EndedBy::CaptureEnd)];
    assert_eq!(tenures(only(&domains))[..], expected);
}

#[test]
fn announces_without_a_time_are_counted_and_elect_nobody() {
    let a = actor(1);
    let mut stage = Stage::default();
    for sequence in 0..20 {
        let body = Body::Announce { origin_ns: 0, data: a.data };
        stage.send(None, &a, None, sequence, &body);
    }
    let domains = stage.finish(20_000);
    assert_eq!(tenures(only(&domains)), []);
    assert_eq!(only(&domains).count(downbeat::domains::Kind::Announce), 20);
}

#[test]
fn an_interval_that_is_not_given_is_measured() {
    let a = actor(1).every(0x7F);
    let mut stage = Stage::default();
    // 8 s apart; the default profile's 2 s would call it lost each time.
    stage.announces((0..=10).map(|n| n * 8), &[&a]);
    let domains = stage.finish(82_000);
    let last = *tenures(only(&domains)).last().unwrap();
    assert_eq!((last.0, last.2, last.3), (a.id(), 82_000, EndedBy::CaptureEnd));
    // Four gaps measure it; from then on nothing ends.
    assert!(last.1 <= 40_000, "{last:?}");

    let mut stage = Stage::default();
    stage.announces(0..=20, &[&a]);
    assert_eq!(tenures(only(&stage.finish(20_000))), [(a.id(), 0, 20_000, EndedBy::CaptureEnd)]);
}

#[test]
fn a_sender_slower_than_it_declares_is_awaited_at_its_own_pace() {
    let a = actor(1);
    let mut stage = Stage::default();
    stage.announces((0..=20).map(|n| n * 5), &[&a]);
    let domains = stage.finish(101_000);
    let tenures = tenures(only(&domains));
    let last = *tenures.last().unwrap();
    assert_eq!((last.0, last.2, last.3), (a.id(), 101_000, EndedBy::CaptureEnd));
    assert!(last.1 <= 25_000, "{tenures:?}");
}

#[test]
fn a_rival_that_falls_silent_before_the_timeout_does_not_inherit() {
    let (better, worse) = (actor(1).class(6), actor(2));
    let mut stage = Stage::default();
    stage.announces(0..=10, &[&better, &worse]);
    stage.announce(11_010, &worse);
    assert_eq!(tenures(only(&stage.finish(30_000))), [(better.id(), 0, 10_000, EndedBy::AnnounceTimeout)]);
}

#[test]
fn a_rival_leads_from_the_timeout_of_the_lost_leader() {
    let (better, worse) = (actor(1).class(6), actor(2));
    let mut stage = Stage::default();
    stage.announces(0..=10, &[&better, &worse]);
    stage.announces(11..=30, &[&worse]);
    let expected = [
        (better.id(), 0, 10_000, EndedBy::AnnounceTimeout),
        (worse.id(), 13_000, 30_000, EndedBy::CaptureEnd),
    ];
    assert_eq!(tenures(only(&stage.finish(30_000))), expected);
}

#[test]
fn who_yielded_is_next_in_line() {
    let (better, worse, worst) = (actor(1).class(6), actor(2), actor(3).class(255));
    let mut stage = Stage::default();
    stage.announces(0..10, &[&worse]);
    stage.announces(10..=30, &[&better, &worst]);
    let domains = stage.finish(30_500);
    let standing = Standing::at_end(only(&domains));
    assert_eq!(standing.rightful(), Some(better.id()));
    assert_eq!(standing.decided_by(), Some(DecidedBy::ClockClass));
    assert_eq!(standing.succession(Some(better.id())).collect::<Vec<_>>(), [worse.id()]);
}

/// v1 variances 256 apart count as similar, so "better" is no total order; a library sort may panic on that.
#[test]
fn a_standing_of_many_v1_clocks_of_near_variances_is_made() {
    let mut stage = Stage::default();
    for round in 0..3 {
        for number in 0..100_u8 {
            let variance = (i16::from(number) * 149) % 1200 - 4000;
            let mut sync = v1_sync_of_variance(number, variance);
            sync[30..32].copy_from_slice(&u16::to_be_bytes(round));
            stage.octets(Some(i64::from(round) * 1000 + i64::from(number)), &actor(number), None, &sync);
        }
    }
    let domains = stage.finish(2_500);
    assert_eq!(Standing::at_end(only(&domains)).candidates.len(), 100);
}

fn v1_sync_of_variance(number: u8, variance: i16) -> Vec<u8> {
    use crate::support::craft::ptp_v1;
    let uuid = actor(number).mac;
    let clock = ptp_v1::ClockData { uuid, stratum: 4, identifier: *b"DFLT", variance };
    let header = ptp_v1::Header { subdomain: ptp_v1::DEFAULT_SUBDOMAIN, source: uuid, sequence: 0, flags: 0 };
    ptp_v1::sync(&header, &ptp_v1::SyncBody::of(clock))
}

#[test]
fn a_flood_of_invented_clocks_does_not_unseat_the_leader_or_grow_without_bound() {
    let leader = actor(1).class(6);
    let mut stage = Stage::default();
    for n in 0..5000_i64 {
        if n % 100 == 0 {
            stage.announce(n * 10, &leader);
        }
        let [.., high, low] = n.to_be_bytes();
        let clock = [0x02, 0x00, 0x5E, 0xFF, 0xFE, 0x99, high, low];
        let mut invented = actor(2);
        invented.port = PortIdentity { clock, port: 1 };
        invented.data.grandmaster = clock;
        stage.announce(n * 10 + 1, &invented);
    }
    let domains = stage.finish(50_000);
    assert_eq!(tenures(only(&domains)), [(leader.id(), 0, 50_000, EndedBy::CaptureEnd)]);
    assert!(only(&domains).election.announcers().len() < 1000);
}

/// Three intervals and half of one more, for jitter after two lost messages (chosen).
#[test]
fn a_leader_is_given_up_half_an_interval_after_its_receipt_timeout() {
    for (back_at, expected) in [(13_400, 1), (13_600, 2)] {
        let a = actor(1);
        let mut stage = Stage::default();
        stage.announces(0..=10, &[&a]);
        stage.announce(back_at, &a);
        stage.announces(15..=20, &[&a]);
        assert_eq!(tenures(only(&stage.finish(20_000))).len(), expected, "{back_at}");
    }
}

/// Announces of a few clocks at any times, with any data.
fn any_play() -> impl Strategy<Value = Vec<(i64, u8, u8, u8, u16)>> {
    let time = prop_oneof![8 => 0..30_000_i64, 1 => -5_000_000..5_000_000_i64];
    let steps = prop_oneof![Just(0_u16), Just(1), Just(255)];
    proptest::collection::vec((time, 1..5_u8, 1..5_u8, 6..9_u8, steps), 0..80)
}

fn play(mut rows: Vec<(i64, u8, u8, u8, u16)>, in_order: bool) -> Domains {
    if in_order {
        rows.sort_by_key(|row| row.0);
    }
    let mut stage = Stage::default();
    for (time, sender, grandmaster, class, steps) in rows {
        let mut sender = actor(sender).class(class);
        sender.data.grandmaster = actor(grandmaster).port.clock;
        sender.data.steps_removed = steps;
        stage.announce(time, &sender);
    }
    if in_order { stage.finish(35_000) } else { stage.finish_as_stamped(35_000) }
}

proptest! {
    #[test]
    fn tenures_neither_overlap_nor_end_before_they_begin(rows in any_play(), in_order in any::<bool>()) {
        let domains = play(rows, in_order);
        for domain in domains.iter() {
            let mut free_from = i64::MIN;
            for (clock, from, until, _) in tenures(domain) {
                prop_assert!(from >= free_from && until >= from, "{clock} {from} {until} after {free_from}");
                free_from = until;
            }
            for rivalry in domain.election.rivalries() {
                prop_assert!(rivalry.since <= rivalry.until && rivalry.clock != rivalry.leader);
            }
        }
    }
}

#[test]
fn actors_are_told_apart_by_their_addresses() {
    assert_eq!(actor(1).ip, Some(Ipv4Addr::new(192, 168, 20, 1)));
    assert_eq!(actor(1).id(), ClockId::V2(ClockIdentity([0x02, 0, 0x5E, 0xFF, 0xFE, 0x10, 0, 1])));
}
