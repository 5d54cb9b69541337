//! Rules about who may lead and set clocks: made captures on which each fires, and near misses.

use serde_json::Value;

use crate::support::craft::frame::Mac;
use crate::support::craft::ptp_v2;
use crate::support::craft::ptp_v2::Body;
use crate::support::craft::ptp_v2::PortIdentity;
use crate::support::script::Script;
use crate::support::script::evidence;
use crate::support::script::said;
use crate::support::stage::Actor;
use crate::support::stage::BEGINNING;
use crate::support::stage::actor;

const STRANGER: Mac = [0x02, 0x00, 0x5E, 0x10, 0x00, 0xEE];
const PRIORITY1: u16 = 0x2005;
const TIME: u16 = 0x200F;
const ACTION_SET: u8 = 1;

#[test]
fn a_newcomer_that_takes_the_lead_is_noted_where_the_house_had_settled() {
    // When it comes, whether it asked before, its priority1: the rule's answer.
    let rows = [
        (20_000, false, 100, vec!["info"]),
        (3000, false, 100, vec![]),
        (20_000, true, 100, vec![]),
        (20_000, false, 200, vec![]),
    ];
    for (from_ms, known, priority1, expected) in rows {
        let (house, mut newcomer) = (actor(1), actor(2));
        newcomer.data.priority1 = priority1;
        let mut script = Script::default();
        script.leads(0, 24, (&house, house.mac), 0);
        if known {
            script.asks(20, &newcomer);
        }
        script.leads(from_ms, 30, (&newcomer, newcomer.mac), 0);
        assert_eq!(said(&script.report(), "rogue-master"), expected, "{from_ms} {known} {priority1}");
    }
}

#[test]
fn a_few_messages_under_anothers_identity_are_named_and_many_are_a_duplicate() {
    let leader = actor(1);
    // Messages of the stranger, their first number: the rule's answer, and the other rule's.
    let rows = [(4, 30_000, 1, 0), (2, 30_000, 0, 0), (4, 12, 0, 0), (20, 30_000, 0, 1)];
    for (count, first, spoofed, duplicate) in rows {
        let mut script = Script::default();
        script.leads(0, 30, (&leader, leader.mac), 0);
        for number in 0..count {
            let body = Body::Announce { origin_ns: 0, data: leader.data };
            let ms = 4500 + i64::from(number) * 1000;
            script.send(ms, (&leader, STRANGER), first + number, 0, &body);
        }
        let report = script.report();
        assert_eq!(said(&report, "spoofed-announce").len(), spoofed, "{count} {first}");
        assert_eq!(said(&report, "duplicate-clock-identity").len(), duplicate, "{count} {first}");
    }
}

/// Follow_Ups 8 a second, of which those `again` are sent once more, `later_ms` after.
fn with_copies(again: std::ops::Range<u16>, later_ms: i64) -> Vec<String> {
    let leader = actor(1);
    let mut script = Script::default();
    script.leads(0, 40, (&leader, leader.mac), 0);
    for number in 0..320_u16 {
        let ms = i64::from(number) * 125 + 6;
        let body = Body::FollowUp { origin_ns: BEGINNING.0 + ms * 1_000_000 };
        script.send(ms, (&leader, leader.mac), number, -3, &body);
        if again.contains(&number) {
            script.send(ms + later_ms, (&leader, leader.mac), number, -3, &body);
        }
    }
    said(&script.report(), "replayed-or-stale-messages")
}

#[test]
fn old_messages_that_come_again_are_named() {
    assert_eq!(with_copies(40..44, 3000), ["critical"]);
    assert!(with_copies(40..42, 3000).is_empty());
    assert!(with_copies(40..44, 500).is_empty());
    assert!(with_copies(0..0, 0).is_empty());
    assert_eq!(with_copies(0..320, 3000), ["cannot tell"]);
}

/// One management message of a desk to every clock.
fn managed(action: u8, management_id: u16) -> Vec<String> {
    said(&managed_at(PortIdentity::ALL, action, management_id), "management-set-seen")
}

fn managed_at(target: PortIdentity, action: u8, management_id: u16) -> Value {
    let (leader, desk) = (actor(1), actor(240));
    let mut script = Script::default();
    script.leads(0, 30, (&leader, leader.mac), 0);
    let tlvs = ptp_v2::management_tlv(management_id, &[50, 0]);
    let body = Body::Management { target, hops: (1, 1), action, tlvs };
    script.send(5000, (&desk, desk.mac), 0, 0x7F, &body);
    script.report()
}

#[test]
fn settings_changed_by_management_are_told_and_questions_are_not() {
    assert_eq!(managed(ACTION_SET, PRIORITY1), ["minor"]);
    assert_eq!(managed(ACTION_SET, TIME), ["major"]);
    assert_eq!(managed(ptp_v2::ACTION_COMMAND, 0x0005), ["major"]);
    assert!(managed(ptp_v2::ACTION_GET, PRIORITY1).is_empty());
    assert!(managed(ptp_v2::ACTION_RESPONSE, PRIORITY1).is_empty());
    let told = |target| evidence(&managed_at(target, ACTION_SET, PRIORITY1), "management-set-seen");
    let everybody = told(PortIdentity::ALL);
    assert!(everybody.contains("SET PRIORITY1 to every clock, once"), "{everybody}");
    let one = told(actor(1).port);
    assert!(one.contains("SET PRIORITY1 to 02-00-5e"), "{one}");
}

#[test]
fn answers_to_everybody_are_a_flood_only_in_number() {
    for (clocks, times, expected) in [(25, 12, vec!["minor"]), (25, 3, vec![]), (10, 40, vec![])] {
        let leader = actor(1);
        let mut script = Script::default();
        script.leads(0, 30, (&leader, leader.mac), 0);
        for number in 0..clocks {
            let clock = actor(100 + number);
            for time in 0..times {
                let tlvs =
                    ptp_v2::management_tlv(ptp_v2::CURRENT_DATA_SET, &ptp_v2::current_data_set(1, 0, 0));
                let action = ptp_v2::ACTION_RESPONSE;
                let body = Body::Management { target: leader.port, hops: (1, 1), action, tlvs };
                let ms = i64::from(time) * 700 + i64::from(number);
                script.send(ms, (&clock, clock.mac), time, 0x7F, &body);
            }
        }
        assert_eq!(said(&script.report(), "management-answers-flood"), expected, "{clocks} {times}");
    }
}

/// A port that sends Announces with an AUTHENTICATION TLV behind them.
fn authenticates(script: &mut Script, who: &Actor, count: u16) {
    for number in 0..count {
        let header = ptp_v2::Header {
            domain: who.domain,
            flags: [0, 0],
            correction: 0,
            source: who.port,
            sequence: number,
            log_interval: 0,
        };
        let mut message = ptp_v2::encode(&header, &Body::Announce { origin_ns: 0, data: who.data });
        message.extend([0x80, 0x09, 0, 10, 1, 0, 0, 0, 0, 1, 0xAA, 0xBB, 0xCC, 0xDD]);
        let length = u16::try_from(message.len()).unwrap().to_be_bytes();
        message[2..4].copy_from_slice(&length);
        script.octets(i64::from(number) * 1000, who.mac, &message);
    }
}

#[test]
fn a_domain_in_which_only_some_authenticate_is_noted() {
    for (with, without, expected) in
        [(true, true, vec!["info"]), (true, false, vec![]), (false, true, vec![])]
    {
        let mut script = Script::default();
        if with {
            authenticates(&mut script, &actor(1), 20);
        }
        if without {
            script.asks(20, &actor(2));
        }
        assert_eq!(said(&script.report(), "no-authentication"), expected, "{with} {without}");
    }
}
