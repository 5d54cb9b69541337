//! The data set comparison against its check values, winner and deciding field, and the laws of an order.

use downbeat::domains::Candidate;
use downbeat::domains::ClockId;
use downbeat::domains::Comparison;
use downbeat::domains::DataSet;
use downbeat::domains::DataSetV1;
use downbeat::domains::DataSetV2;
use downbeat::domains::DecidedBy;
use downbeat::domains::PortId;
use downbeat::domains::Receiver;
use downbeat::domains::Verdict;
use downbeat::domains::compare;
use downbeat::ptp::ClockIdentity;
use downbeat::units::MacAddress;
use proptest::prelude::*;
use serde_json::Value;

use crate::support::vectors::from_hex;

const V2: &str = include_str!("../data/check-values/bmca-v2.json");
const V1: &str = include_str!("../data/check-values/bmca-v1.json");

fn rows(file: &str) -> Vec<Value> {
    let file: Value = serde_json::from_str(file).unwrap();
    file["vectors"].as_array().unwrap().clone()
}

fn number<T: TryFrom<i64>>(set: &Value, key: &str) -> T {
    let Some(number) = set[key].as_i64() else { panic!("{key} in {set}") };
    T::try_from(number).unwrap_or_else(|_| panic!("{key} in {set}"))
}

fn octets<const N: usize>(set: &Value, key: &str) -> [u8; N] {
    from_hex(set[key].as_str().unwrap()).try_into().unwrap()
}

fn port_v2(set: &Value, clock: &str, port: &str) -> PortId {
    PortId { clock: ClockId::V2(ClockIdentity(octets(set, clock))), port: number(set, port) }
}

fn candidate_v2(set: &Value) -> Candidate {
    Candidate {
        grandmaster: ClockId::V2(ClockIdentity(octets(set, "gmIdentity"))),
        data: DataSet::V2(DataSetV2 {
            priority1: number(set, "priority1"),
            clock_class: number(set, "clockClass"),
            clock_accuracy: number(set, "clockAccuracy"),
            variance: number(set, "offsetScaledLogVariance"),
            priority2: number(set, "priority2"),
        }),
        steps_removed: number(set, "stepsRemoved"),
        sender: port_v2(set, "sender", "senderPort"),
    }
}

fn candidate_v1(set: &Value) -> Candidate {
    let mut identifier = [0; 4];
    let text = set["identifier"].as_str().unwrap().as_bytes();
    identifier[..text.len()].copy_from_slice(text);
    Candidate {
        grandmaster: ClockId::V1(MacAddress(octets(set, "gmUuid"))),
        data: DataSet::V1(DataSetV1 {
            preferred: number::<u8>(set, "preferred") == 1,
            stratum: number(set, "stratum"),
            identifier,
            variance: number(set, "variance"),
            is_boundary_clock: number::<u8>(set, "isBC") == 1,
            grandmaster_port: number(set, "gmPort"),
            grandmaster_sequence_id: number(set, "gmSeq"),
            sequence_id: number(set, "seq"),
        }),
        steps_removed: number(set, "steps"),
        sender: port_v1(set, "sourceUuid"),
    }
}

/// The v1 vectors give no port of sender and receiver: all are port 1.
fn port_v1(set: &Value, uuid: &str) -> PortId {
    PortId { clock: ClockId::V1(MacAddress(octets(set, uuid))), port: 1 }
}

fn verdict(result: &str) -> Verdict {
    match result {
        "A_BETTER" | "A" => Verdict::First,
        "B_BETTER" | "B" => Verdict::Second,
        "A_BETTER_BY_TOPOLOGY" | "A_topology" => Verdict::FirstByTopology,
        "B_BETTER_BY_TOPOLOGY" | "B_topology" => Verdict::SecondByTopology,
        "A_newer" => Verdict::FirstNewer,
        "ERROR_1" => Verdict::OwnMessage,
        other => panic!("result {other}"),
    }
}

fn field(row: &Value) -> DecidedBy {
    let name = row["decidingField"].as_str().unwrap();
    match name.split(' ').next().unwrap() {
        "priority1" => DecidedBy::Priority1,
        "clockClass" => DecidedBy::ClockClass,
        "clockAccuracy" => DecidedBy::ClockAccuracy,
        "offsetScaledLogVariance" | "variance" => DecidedBy::Variance,
        "priority2" => DecidedBy::Priority2,
        "grandmasterIdentity" | "grandmasterClockUuid" => DecidedBy::Identity,
        "senderPortIdentity" | "sourceUuid" => DecidedBy::Sender,
        "receiverPortNumber" => DecidedBy::ReceiverPort,
        "preferred" => DecidedBy::Preferred,
        "stratum" => DecidedBy::Stratum,
        "identifier" => DecidedBy::Identifier,
        "isBoundaryClock" => DecidedBy::BoundaryClock,
        "localStepsRemoved" | "stepsRemoved" => DecidedBy::StepsRemoved,
        "grandmasterSequenceId" => DecidedBy::Sequence,
        // "message received by its own transmitter": looked for one step apart only, so the steps decided.
        "message" => DecidedBy::StepsRemoved,
        other => panic!("deciding field {other}"),
    }
}

fn mirrored(verdict: Verdict) -> Verdict {
    match verdict {
        Verdict::First => Verdict::Second,
        Verdict::Second => Verdict::First,
        Verdict::FirstByTopology => Verdict::SecondByTopology,
        Verdict::SecondByTopology => Verdict::FirstByTopology,
        Verdict::FirstNewer => Verdict::SecondNewer,
        Verdict::SecondNewer => Verdict::FirstNewer,
        Verdict::OwnMessage => Verdict::OwnMessage,
        Verdict::SameMessage => Verdict::SameMessage,
    }
}

fn check(row: &Value, a: &Candidate, b: &Candidate, receiver: Receiver) {
    let expected = Comparison { verdict: verdict(row["result"].as_str().unwrap()), decided_by: field(row) };
    assert_eq!(compare(a, b, Some(receiver)), expected, "{}", row["id"]);
    let swapped = Receiver { first: receiver.second, second: receiver.first };
    let expected = Comparison { verdict: mirrored(expected.verdict), ..expected };
    assert_eq!(compare(b, a, Some(swapped)), expected, "{} swapped", row["id"]);
}

#[test]
fn every_v2_pair_has_its_winner_and_its_deciding_field() {
    let rows = rows(V2);
    assert_eq!(rows.len(), 20);
    for row in &rows {
        let receiver = Receiver {
            first: port_v2(&row["A"], "receiver", "receiverPort"),
            second: port_v2(&row["B"], "receiver", "receiverPort"),
        };
        check(row, &candidate_v2(&row["A"]), &candidate_v2(&row["B"]), receiver);
    }
}

#[test]
fn every_v1_pair_has_its_winner_and_its_deciding_field() {
    let rows = rows(V1);
    assert_eq!(rows.len(), 14);
    for row in &rows {
        let receiver = Receiver {
            first: port_v1(&row["A"], "receiverUuid"),
            second: port_v1(&row["B"], "receiverUuid"),
        };
        check(row, &candidate_v1(&row["A"]), &candidate_v1(&row["B"]), receiver);
    }
}

/// A capture point is no clock: one grandmaster by two ways is told apart by the way only.
#[test]
fn without_a_receiver_the_way_decides_between_offers_of_one_grandmaster() {
    let row = &rows(V2)[0]["A"];
    let near = candidate_v2(row);
    let farther = Candidate { steps_removed: near.steps_removed + 1, ..near };
    let expected = Comparison { verdict: Verdict::FirstByTopology, decided_by: DecidedBy::StepsRemoved };
    assert_eq!(compare(&near, &farther, None), expected);
    let other = Candidate { sender: PortId { port: near.sender.port + 1, ..near.sender }, ..near };
    let expected = Comparison { verdict: Verdict::FirstByTopology, decided_by: DecidedBy::Sender };
    assert_eq!(compare(&near, &other, None), expected);
    assert_eq!(compare(&near, &near, None).verdict, Verdict::SameMessage);
}

/// Few values, so that ties and near ties are common.
fn few_v2() -> impl Strategy<Value = Candidate> {
    let data = (0..3_u8, 0..3_u8, 0..3_u8, prop_oneof![Just(0_u16), Just(0x7FFF), Just(0x8000)], 0..3_u8);
    (data, 0..4_u8, 0..4_u16, 0..3_u8, 1..3_u16).prop_map(
        |(data, grandmaster, steps_removed, sender, port)| {
            let (priority1, clock_class, clock_accuracy, variance, priority2) = data;
            let clock = |last| ClockId::V2(ClockIdentity([0x02, 0, 0x5E, 0xFF, 0xFE, 0, 0, last]));
            Candidate {
                grandmaster: clock(grandmaster),
                data: DataSet::V2(DataSetV2 { priority1, clock_class, clock_accuracy, variance, priority2 }),
                steps_removed,
                sender: PortId { clock: clock(0x10 + sender), port },
            }
        },
    )
}

fn few_v1() -> impl Strategy<Value = Candidate> {
    let identifier = prop_oneof![Just(*b"ATOM"), Just(*b"GPS\0"), Just(*b"DFLT"), Just(*b"ELSE")];
    let variance = prop_oneof![Just(-4000_i16), Just(-3744), Just(-3743), Just(i16::MIN), Just(i16::MAX)];
    let data = (any::<bool>(), 1..5_u8, identifier, variance, any::<bool>());
    (data, 0..3_u8, 0..4_u16, 0..3_u8, 0..3_u16, prop_oneof![Just(0_u16), Just(1), Just(0xFFFF)]).prop_map(
        |(data, grandmaster, steps_removed, sender, grandmaster_sequence_id, sequence_id)| {
            let (preferred, stratum, identifier, variance, is_boundary_clock) = data;
            let clock = |last| ClockId::V1(MacAddress([0x02, 0, 0x5E, 0, 0, last]));
            Candidate {
                grandmaster: clock(grandmaster),
                data: DataSet::V1(DataSetV1 {
                    preferred,
                    stratum,
                    identifier,
                    variance,
                    is_boundary_clock,
                    grandmaster_port: 1,
                    grandmaster_sequence_id,
                    sequence_id,
                }),
                steps_removed,
                sender: PortId { clock: clock(0x10 + sender), port: 1 },
            }
        },
    )
}

fn assert_mirrored(a: &Candidate, b: &Candidate, first: PortId, second: PortId) {
    let there = compare(a, b, Some(Receiver { first, second }));
    let back = compare(b, a, Some(Receiver { first: second, second: first }));
    assert_eq!(back, Comparison { verdict: mirrored(there.verdict), ..there });
    let there = compare(a, b, None);
    assert_eq!(compare(b, a, None), Comparison { verdict: mirrored(there.verdict), ..there });
}

proptest! {
    #[test]
    fn swapping_two_v2_offers_mirrors_the_verdict(a in few_v2(), b in few_v2(), c in few_v2(), d in few_v2()) {
        assert_mirrored(&a, &b, c.sender, d.sender);
    }

    #[test]
    fn swapping_two_v1_offers_mirrors_the_verdict(a in few_v1(), b in few_v1(), c in few_v1(), d in few_v1()) {
        assert_mirrored(&a, &b, c.sender, d.sender);
    }

    #[test]
    fn better_than_is_transitive_between_different_v2_grandmasters(
        a in few_v2(), b in few_v2(), c in few_v2(),
    ) {
        let (a_id, b_id, c_id) = (a.grandmaster, b.grandmaster, c.grandmaster);
        prop_assume!(a_id != b_id && b_id != c_id && a_id != c_id);
        let beats = |x: &Candidate, y: &Candidate| compare(x, y, None).verdict == Verdict::First;
        prop_assert!(beats(&a, &b) != beats(&b, &a), "exactly one of two grandmasters is better");
        if beats(&a, &b) && beats(&b, &c) {
            prop_assert!(beats(&a, &c));
        }
    }
}
