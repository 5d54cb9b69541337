//! What is kept of what ports tell, ask and order: one message after another, each with what it changes and what it leaves.

use downbeat::domains::Candidate;
use downbeat::domains::ClockId;
use downbeat::domains::DataSet;
use downbeat::domains::DataSetV1;
use downbeat::domains::DataSetV2;
use downbeat::domains::Domains;
use downbeat::domains::Lease;
use downbeat::domains::LeaseKey;
use downbeat::domains::PortId;
use downbeat::ptp::v1;
use downbeat::ptp::v2::Action;
use downbeat::ptp::v2::MessageType;
use downbeat::statistics::EvenSeries;
use downbeat::units::MacAddress;
use downbeat::units::Nanos;

use crate::support::craft::octets::Octets;
use crate::support::craft::ptp_v2;
use crate::support::craft::ptp_v2::Body;
use crate::support::craft::ptp_v2::PortIdentity;
use crate::support::stage::Actor;
use crate::support::stage::Stage;
use crate::support::stage::actor;
use crate::support::stage::only;

const PRIORITY1: u16 = 0x2005;
const PRIORITY2: u16 = 0x2006;
const DEFAULT_DATA_SET: u16 = 0x2000;
const ACTION_SET: u8 = 1;

fn manages(stage: &mut Stage, ms: i64, who: &Actor, action: u8, (id, data): (u16, &[u8])) {
    let tlvs = ptp_v2::management_tlv(id, data);
    let body = Body::Management { target: PortIdentity::ALL, hops: (1, 1), action, tlvs };
    stage.send(Some(ms), who, None, 0, &body);
}

#[test]
fn nothing_heard_is_no_domain() {
    assert!(Domains::default().is_empty());
    let mut stage = Stage::default();
    stage.announce(0, &actor(1));
    assert!(!stage.finish(1000).is_empty());
    assert!(!EvenSeries::new(1, &[0, 1, 2]).unwrap().is_empty());
}

#[test]
fn orders_are_counted_each_for_itself_in_the_order_of_their_first() {
    let desk = actor(240);
    let mut stage = Stage::default();
    for (ms, id) in [(0, PRIORITY2), (100, PRIORITY1), (200, PRIORITY1), (300, PRIORITY2), (400, PRIORITY1)] {
        manages(&mut stage, ms, &desk, ACTION_SET, (id, &[50, 0]));
    }
    manages(&mut stage, 500, &desk, ptp_v2::ACTION_COMMAND, (PRIORITY1, &[50, 0]));
    manages(&mut stage, 600, &desk, ptp_v2::ACTION_GET, (PRIORITY1, &[]));
    let domains = stage.finish(1000);
    let port = only(&domains).ports.get(&desk.port_id()).unwrap();
    let given: Vec<_> =
        port.orders.given().iter().map(|order| (order.action, order.management_id, order.count)).collect();
    assert_eq!(
        given,
        [(Action::Set, PRIORITY2, 2), (Action::Set, PRIORITY1, 3), (Action::Command, PRIORITY1, 1)]
    );
    assert_eq!(port.orders.multicast_answers(), 0);
}

/// DEFAULT_DATA_SET (IEEE 1588-2008 Table 61, from memory): flags, reserved, ports, priority1, quality, priority2, identity,
/// domain, reserved. Bit 1 of the flags is slaveOnly.
fn default_data_set(flags: u8, who: &Actor) -> Vec<u8> {
    Octets::new()
        .u8(flags)
        .u8(0)
        .u16(1)
        .u8(97)
        .u8(6)
        .u8(0x21)
        .u16(0x4E5D)
        .u8(98)
        .bytes(&who.port.clock)
        .u8(0)
        .u8(0)
        .0
}

#[test]
fn a_clock_that_tells_its_data_could_lead_unless_it_only_follows() {
    for (flags, leads) in [(0b00, true), (0b01, true), (0b10, false), (0b11, false)] {
        let clock = actor(7);
        let mut stage = Stage::default();
        manages(
            &mut stage,
            0,
            &clock,
            ptp_v2::ACTION_RESPONSE,
            (DEFAULT_DATA_SET, &default_data_set(flags, &clock)),
        );
        let domains = stage.finish(1000);
        let port = only(&domains).ports.get(&clock.port_id()).unwrap();
        let data = DataSetV2 {
            priority1: 97,
            clock_class: 6,
            clock_accuracy: 0x21,
            variance: 0x4E5D,
            priority2: 98,
        };
        let own = Candidate {
            grandmaster: clock.id(),
            data: DataSet::V2(data),
            steps_removed: 0,
            sender: clock.port_id(),
        };
        assert_eq!(port.claims.candidate, leads.then_some(own), "{flags:#b}");
    }
}

const SYNC: u8 = 0x0;
const ANNOUNCE: u8 = 0xB;

fn signals(stage: &mut Stage, ms: i64, (from, target): (&Actor, PortIdentity), tlvs: Vec<u8>) {
    stage.send(Some(ms), from, None, 0, &Body::Signaling { target, tlvs });
}

/// GRANT_UNICAST_TRANSMISSION (IEEE 1588-2008 Table 74, from memory).
fn grant(message_type: u8, seconds: u32) -> Vec<u8> {
    Octets::new().u16(0x0005).u16(8).u8(message_type << 4).i8(-3).u32(seconds).u8(0).u8(1).0
}

/// CANCEL_UNICAST_TRANSMISSION (IEEE 1588-2008 Table 75, from memory).
fn cancel(message_type: u8) -> Vec<u8> {
    Octets::new().u16(0x0006).u16(2).u8(message_type << 4).u8(0).0
}

/// Two followers are granted Syncs and Announces by one leader; then `more` passes.
fn leases(more: impl Fn(&mut Stage, [&Actor; 3])) -> Vec<(LeaseKey, Lease)> {
    let (leader, one, other) = (actor(1), actor(20), actor(21));
    let mut stage = Stage::default();
    for (ms, follower) in [(0, &one), (100, &other)] {
        signals(&mut stage, ms, (&leader, follower.port), grant(SYNC, 30));
        signals(&mut stage, ms + 10, (&leader, follower.port), grant(ANNOUNCE, 60));
    }
    more(&mut stage, [&leader, &one, &other]);
    let domains = stage.finish(10_000);
    only(&domains).leases.iter().map(|(key, lease)| (*key, *lease)).collect()
}

fn of(leases: &[(LeaseKey, Lease)], asker: &Actor, message_type: MessageType) -> Lease {
    let found: Vec<_> = leases
        .iter()
        .filter(|(key, _)| key.asker == asker.port_id() && key.message_type == message_type)
        .map(|(_, lease)| *lease)
        .collect();
    assert_eq!(found.len(), 1, "{asker:?} {message_type}");
    found[0]
}

#[test]
fn a_lease_is_of_one_asker_one_granter_and_one_kind_of_message() {
    let all = leases(|_, _| {});
    assert_eq!(all.len(), 4);
    for (key, lease) in &all {
        assert_eq!(key.granter, actor(1).port_id());
        let lasts = if key.message_type == MessageType::Sync { 30 } else { 60 };
        assert_eq!(lease.granted.map(|(_, lasts)| lasts), Some(Nanos::from_seconds(lasts)), "{key:?}");
        assert!(!lease.cancelled && lease.asked_again.is_none() && lease.denied == 0, "{key:?}");
    }
}

#[test]
fn a_request_renews_the_askers_own_lease_of_that_message_alone() {
    let (one, other) = (actor(20), actor(21));
    let asked = |target: PortIdentity| {
        let all = leases(|stage, [_, one, _]| {
            signals(stage, 5000, (one, target), ptp_v2::request_unicast_tlv(SYNC, -3, 30));
        });
        let is_asked = |who: &Actor, kind| of(&all, who, kind).asked_again.is_some();
        [
            is_asked(&one, MessageType::Sync),
            is_asked(&one, MessageType::Announce),
            is_asked(&other, MessageType::Sync),
            is_asked(&other, MessageType::Announce),
        ]
    };
    assert_eq!(asked(actor(1).port), [true, false, false, false]);
    assert_eq!(asked(PortIdentity::ALL), [true, false, false, false], "asked of all ports");
    assert_eq!(asked(actor(2).port), [false; 4], "asked of another clock");
}

#[test]
fn a_denial_and_a_cancel_change_what_they_name_alone() {
    let (one, other) = (actor(20), actor(21));
    let kinds = [(one, MessageType::Sync), (one, MessageType::Announce), (other, MessageType::Sync)];
    let denied = leases(|stage, [leader, one, _]| {
        for ms in [5000, 6000] {
            signals(stage, ms, (leader, one.port), grant(SYNC, 0));
        }
    });
    assert_eq!(kinds.map(|(who, kind)| of(&denied, &who, kind).denied), [2, 0, 0]);
    let given_up = leases(|stage, [leader, one, _]| signals(stage, 5000, (one, leader.port), cancel(SYNC)));
    assert_eq!(kinds.map(|(who, kind)| of(&given_up, &who, kind).cancelled), [true, false, false]);
    // The granter ends all of that kind that it gave.
    let taken_back = leases(|stage, [leader, one, _]| signals(stage, 5000, (leader, one.port), cancel(SYNC)));
    assert_eq!(kinds.map(|(who, kind)| of(&taken_back, &who, kind).cancelled), [true, false, true]);
    let stranger =
        leases(|stage, [leader, _, _]| signals(stage, 5000, (&actor(9), leader.port), cancel(SYNC)));
    assert_eq!(kinds.map(|(who, kind)| of(&stranger, &who, kind).cancelled), [false; 3]);
}

/// What a version 1 clock offers is the same however far its numbers have gone on, and another where any datum differs.
#[test]
fn a_version_1_offer_is_the_same_but_for_its_numbers() {
    let data = DataSetV1 {
        preferred: false,
        stratum: 2,
        identifier: *b"GPS\0",
        variance: -4000,
        is_boundary_clock: false,
        grandmaster_port: 1,
        grandmaster_sequence_id: 10,
        sequence_id: 20,
    };
    let uuid = v1::PortUuid { uuid: MacAddress([0x02, 0, 0x5E, 0x10, 0, 1]), port_id: 1 };
    let sender = PortId::from(uuid);
    let offer = |data| Candidate {
        grandmaster: ClockId::V1(uuid.uuid),
        data: DataSet::V1(data),
        steps_removed: 0,
        sender,
    };
    let own = offer(data);
    assert!(own.same_quality(&offer(DataSetV1 { grandmaster_sequence_id: 11, ..data })));
    assert!(own.same_quality(&offer(DataSetV1 { sequence_id: 21, ..data })));
    for other in [
        DataSetV1 { preferred: true, ..data },
        DataSetV1 { stratum: 3, ..data },
        DataSetV1 { identifier: *b"NTP\0", ..data },
        DataSetV1 { variance: -3999, ..data },
        DataSetV1 { is_boundary_clock: true, ..data },
        DataSetV1 { grandmaster_port: 2, ..data },
    ] {
        assert!(!own.same_quality(&offer(other)), "{other:?}");
    }
    let second =
        DataSetV2 { priority1: 128, clock_class: 6, clock_accuracy: 0x21, variance: 0, priority2: 128 };
    let of_version_2 = Candidate { data: DataSet::V2(second), ..own };
    assert!(!own.same_quality(&of_version_2) && of_version_2.same_quality(&of_version_2));
    let other = DataSetV2 { priority2: 127, ..second };
    assert!(!of_version_2.same_quality(&Candidate { data: DataSet::V2(other), ..own }));
}
