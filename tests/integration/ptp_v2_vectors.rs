//! The v2 decoder against the check values: every key of every vector, every cut of it, and random damage to it.

use downbeat::bytes::DecodeError;
use downbeat::ptp;
use downbeat::ptp::Message;
use downbeat::ptp::Note;
use downbeat::ptp::v2;
use proptest::prelude::*;
use serde_json::Value;

use crate::support::ptp_v2_json::message_to_json;
use crate::support::vectors;
use crate::support::vectors::Vector;

const REAL: &str = "ptp-v2-real.json";
const SYNTHETIC: &str = "ptp-v2-synthetic.json";

#[test]
fn every_real_message_decodes_to_its_check_values() {
    assert_eq!(check(REAL), 30);
}

#[test]
fn every_synthetic_message_decodes_to_its_check_values() {
    assert_eq!(check(SYNTHETIC), 25);
}

#[test]
fn no_vector_carries_a_note() {
    for vector in all() {
        assert_eq!(decoded(&vector.id, &vector.octets).notes, [], "{}", vector.id);
    }
}

#[test]
fn every_cut_of_every_message_is_refused_with_the_place_of_the_cut() {
    for Vector { id, octets, .. } in all() {
        let message_length = usize::from(u16::from_be_bytes([octets[2], octets[3]]));
        for length in 0..message_length {
            let Err(DecodeError::Short { offset, needed, available, .. }) = ptp::decode(&octets[..length])
            else {
                panic!("{id} cut at {length}");
            };
            assert!(offset <= length && length < offset + needed, "{id} cut at {length}");
            assert_eq!(available, length - offset, "{id} cut at {length}");
        }
    }
}

#[test]
fn a_message_that_the_capture_cut_keeps_what_is_whole() {
    for Vector { id, octets, .. } in all() {
        let whole = decoded(&id, &octets);
        let message_length = whole.header.message_length;
        let fixed_octets = fixed_octets(&whole);
        for length in 0..usize::from(message_length) {
            match ptp::decode_snapped(&octets[..length]) {
                Ok(Message::V2(part)) => {
                    assert!(length >= fixed_octets, "{id} cut at {length}");
                    assert_eq!(part.header, whole.header);
                    assert_eq!(part.body, whole.body);
                    assert!(whole.tlvs.starts_with(&part.tlvs), "{id} cut at {length}");
                    assert_eq!(part.notes, [Note::CutByCapture { message_length, available: length }]);
                    assert_eq!(part.suffix_octets, 0);
                }
                Err(DecodeError::Short { .. }) => assert!(length < fixed_octets, "{id} cut at {length}"),
                other => panic!("{id} cut at {length}: {other:?}"),
            }
        }
        let same = ptp::decode_snapped(&octets).unwrap();
        assert_eq!(same, Message::V2(whole), "{id} whole");
    }
}

#[test]
fn noise_after_message_length_is_counted_and_not_read() {
    for Vector { id, octets, .. } in all() {
        let whole = decoded(&id, &octets);
        let noisy = decoded(&id, &[octets, vec![0xA5; 7]].concat());
        assert_eq!(noisy.suffix_octets, whole.suffix_octets + 7, "{id}");
        assert_eq!((noisy.header, noisy.body, noisy.tlvs), (whole.header, whole.body, whole.tlvs), "{id}");
        assert_eq!(noisy.notes, [], "{id}");
    }
}

#[test]
fn a_missing_key_and_a_wrong_value_are_told_apart_from_an_extra_key() {
    let expected = serde_json::json!({ "a": [{ "b": 1, "c": 2.0 }] });
    let compared = |found: Value| {
        let mut differences = Vec::new();
        compare("", &expected, &found, &mut differences);
        differences
    };
    assert_eq!(compared(serde_json::json!({ "a": [{ "b": 1, "c": 2.0, "d": 3 }] })), Vec::<String>::new());
    assert_eq!(compared(serde_json::json!({ "a": [{ "b": 1 }] })), ["/a/0/c is not there, 2.0 expected"]);
    assert_eq!(compared(serde_json::json!({ "a": [{ "b": 2, "c": 2.0 }] })), ["/a/0/b is 2, 1 expected"]);
    assert_eq!(compared(serde_json::json!({ "a": [] })).len(), 1);
}

proptest! {
    #[test]
    fn random_octets_never_panic(octets in proptest::collection::vec(any::<u8>(), 0..300)) {
        read_both_ways(&octets);
    }

    #[test]
    fn random_octets_behind_a_v2_header_never_panic(
        first in any::<u8>(),
        length in 34_u16..260,
        rest in proptest::collection::vec(any::<u8>(), 0..260),
    ) {
        let mut octets = vec![first, 0x12];
        octets.extend(length.to_be_bytes());
        octets.extend(rest);
        read_both_ways(&octets);
    }

    #[test]
    fn damaged_messages_never_panic(
        which in any::<prop::sample::Index>(),
        damage in proptest::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..12),
        cut in any::<prop::sample::Index>(),
    ) {
        let vectors = all();
        let mut octets = vectors[which.index(vectors.len())].octets.clone();
        for (at, value) in damage {
            let at = at.index(octets.len());
            octets[at] = value;
        }
        read_both_ways(&octets);
        read_both_ways(&octets[..cut.index(octets.len())]);
    }
}

/// What is read strictly reads the same if a cut is allowed for.
fn read_both_ways(octets: &[u8]) {
    let strict = ptp::decode(octets);
    let snapped = ptp::decode_snapped(octets);
    if strict.is_ok() {
        assert_eq!(strict, snapped);
    }
}

fn all() -> Vec<Vector> {
    let mut vectors = vectors::read(REAL);
    vectors.extend(vectors::read(SYNTHETIC));
    vectors
}

fn decoded(id: &str, octets: &[u8]) -> v2::Message {
    match ptp::decode(octets) {
        Ok(Message::V2(message)) => message,
        other => panic!("{id}: {other:?}"),
    }
}

const fn fixed_octets(message: &v2::Message) -> usize {
    match &message.body {
        v2::Body::Sync { .. }
        | v2::Body::DelayReq { .. }
        | v2::Body::FollowUp { .. }
        | v2::Body::Signaling { .. } => 44,
        v2::Body::PdelayReq { .. }
        | v2::Body::PdelayResp { .. }
        | v2::Body::DelayResp { .. }
        | v2::Body::PdelayRespFollowUp { .. } => 54,
        v2::Body::Announce(_) => 64,
        v2::Body::Management { .. } => 48,
        v2::Body::Reserved => 34,
    }
}

/// Compares all vectors of a file; says how many there are.
fn check(file: &str) -> usize {
    let vectors = vectors::read(file);
    let mut wrong = Vec::new();
    for vector in &vectors {
        wrong
            .extend(differences(vector).into_iter().map(|difference| format!("{}: {difference}", vector.id)));
    }
    assert!(wrong.is_empty(), "\n{}", wrong.join("\n"));
    vectors.len()
}

fn differences(vector: &Vector) -> Vec<String> {
    let message = decoded(&vector.id, &vector.octets);
    let found = message_to_json(&message, &vector.octets);
    let mut differences = Vec::new();
    compare("", &vector.decoded, &found, &mut differences);
    differences
}

/// Every key of `expected` must be in `found` with the same value; `found` may hold more keys.
fn compare(path: &str, expected: &Value, found: &Value, differences: &mut Vec<String>) {
    match (expected, found) {
        (Value::Object(expected), Value::Object(found)) => {
            for (key, value) in expected {
                let path = format!("{path}/{key}");
                match found.get(key) {
                    Some(other) => compare(&path, value, other, differences),
                    None => differences.push(format!("{path} is not there, {value} expected")),
                }
            }
        }
        (Value::Array(expected), Value::Array(found)) if expected.len() == found.len() => {
            for (at, (value, other)) in expected.iter().zip(found).enumerate() {
                compare(&format!("{path}/{at}"), value, other, differences);
            }
        }
        _ if expected == found || close(expected, found) => {}
        _ => differences.push(format!("{path} is {found}, {expected} expected")),
    }
}

/// Floating-point numbers agree to 10⁻⁹ of their size, as the check values ask; integers only exactly.
fn close(expected: &Value, found: &Value) -> bool {
    match (expected, found) {
        (Value::Number(a), Value::Number(b)) if a.is_f64() && b.is_f64() => {
            let (a, b) = (a.as_f64().unwrap(), b.as_f64().unwrap());
            (a - b).abs() <= a.abs() * 1e-9
        }
        _ => false,
    }
}
