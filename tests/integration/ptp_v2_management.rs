//! MANAGEMENT and MANAGEMENT_ERROR_STATUS values against check values: every key a vector decodes is
//! compared, and the five tests that every decoder has.
//!
//! `R-ptp-management-*` are frames of tcpdump's test capture `ptp_management.pcap`, `S2-mgmt-*` are
//! synthetic. The TLV is found by its place: 34 octets of header, 14 of body.

use downbeat::ptp::ClockIdentity;
use downbeat::ptp::Note;
use downbeat::ptp::v2::ClockQuality;
use downbeat::ptp::v2::Flags;
use downbeat::ptp::v2::management;
use downbeat::ptp::v2::management::ManagementData as Data;
use downbeat::units::LogInterval;
use downbeat::units::TimeInterval;
use downbeat::units::Timestamp;
use proptest::prelude::*;
use serde_json::Value;
use serde_json::json;

use crate::support::management_json::error_status_to_json;
use crate::support::management_json::management_to_json;

const REAL: &str = include_str!("../data/check-values/ptp-v2-real.json");
const SYNTHETIC: &str = include_str!("../data/check-values/ptp-v2-synthetic.json");
const TLV_AT: usize = 34 + 14;
const ETHERNET_HEADER: usize = 14;

struct Vector {
    id: String,
    action: u8,
    value: Vec<u8>,
    tlv: Value,
}

/// The vectors with a MANAGEMENT (1) or MANAGEMENT_ERROR_STATUS (2) TLV.
fn vectors() -> Vec<Vector> {
    let mut found = Vec::new();
    for (file, hex_key, skip) in [(REAL, "frame_hex", ETHERNET_HEADER), (SYNTHETIC, "ptp_hex", 0)] {
        let file: Value = serde_json::from_str(file).unwrap();
        for vector in file["vectors"].as_array().unwrap() {
            let tlvs = vector["decoded"]["tlvs"].as_array().cloned().unwrap_or_default();
            let Some(tlv) = tlvs.iter().find(|tlv| ["1", "2"].contains(&tlv["tlvType"].to_string().as_str()))
            else {
                continue;
            };
            assert_eq!(tlvs.len(), 1);
            let octets = unhex(&vector[hex_key].as_str().unwrap()[skip * 2..]);
            let length = usize::from(octets[TLV_AT + 2]) << 8 | usize::from(octets[TLV_AT + 3]);
            assert_eq!(tlv["lengthField"], length);
            found.push(Vector {
                id: vector["id"].as_str().unwrap().to_owned(),
                action: octets[46] & 0x0F,
                value: octets[TLV_AT + 4..TLV_AT + 4 + length].to_vec(),
                tlv: tlv.clone(),
            });
        }
    }
    found
}

fn unhex(text: &str) -> Vec<u8> {
    (0..text.len()).step_by(2).map(|at| u8::from_str_radix(&text[at..at + 2], 16).unwrap()).collect()
}

fn value_of(id: &str) -> Vec<u8> {
    vectors().into_iter().find(|vector| vector.id == id).unwrap().value
}

fn respond(value: &[u8]) -> (Data, Vec<Note>) {
    let mut notes = Vec::new();
    let tlv = management::decode(management::RESPONSE, value, &mut notes);
    assert_eq!(tlv.length, value.len());
    (tlv.data, notes)
}

/// Compares every key of `theirs`, and counts the leaves.
fn compare(at: &str, ours: &Value, theirs: &Value) -> usize {
    let Some(object) = theirs.as_object() else {
        assert_eq!(ours, theirs, "{at}");
        return 1;
    };
    object
        .iter()
        .map(|(key, theirs)| {
            let Some(ours) = ours.get(key) else { panic!("{at}.{key} is not known") };
            compare(&format!("{at}.{key}"), ours, theirs)
        })
        .sum()
}

#[test]
fn every_vector_decodes_to_every_value_it_lists() {
    let vectors = vectors();
    assert_eq!(vectors.iter().filter(|vector| vector.id.starts_with("R-ptp-management-")).count(), 10);
    assert_eq!(vectors.len(), 15);
    let mut compared = 0;
    for vector in &vectors {
        let mut notes = Vec::new();
        let mut ours = if vector.tlv["tlvType"] == 2 {
            let status = management::decode_error_status(&vector.value, &mut notes).unwrap();
            assert_eq!(status.display_data.to_string_lossy(), "");
            error_status_to_json(&status)
        } else {
            let tlv = management::decode(vector.action, &vector.value, &mut notes);
            assert_eq!(tlv.length, vector.value.len());
            management_to_json(&tlv, &vector.value)
        };
        ours["tlvType"] = vector.tlv["tlvType"].clone();
        ours["lengthField"] = json!(vector.value.len());
        assert_eq!(notes, [], "{}", vector.id);
        compared += compare(&vector.id, &ours, &vector.tlv);
    }
    // Leaves in the two files: counted by walking the JSON, not by this decoder.
    assert_eq!(compared, LEAVES);
}

const LEAVES: usize = 139;

#[test]
fn a_get_is_never_read_as_data_whatever_its_body_holds() {
    for vector in vectors().iter().filter(|vector| vector.tlv["tlvType"] == 1) {
        for action in [management::GET, management::COMMAND, management::ACKNOWLEDGE, 5, 15] {
            let mut notes = Vec::new();
            let tlv = management::decode(action, &vector.value, &mut notes);
            assert_eq!((tlv.data, notes), (Data::NotData, vec![]), "{}", vector.id);
            assert_eq!(tlv.management_id.map(u64::from), vector.tlv["managementId"].as_u64());
        }
    }
}

/// Answers with every layout: identifier and data field.
fn answers() -> Vec<(u16, Vec<u8>)> {
    let mut answers: Vec<(u16, Vec<u8>)> = vectors()
        .into_iter()
        .filter(|vector| vector.tlv["tlvType"] == 1 && vector.action == management::RESPONSE)
        .map(|vector| (vector.tlv["managementId"].as_u64().unwrap() as u16, vector.value))
        .collect();
    let more: [(u16, &[u8]); 16] = [
        (0x0002, b"\x09left rack"),
        (0x2005, &[128, 0]),
        (0x2006, &[129, 0]),
        (0x2007, &[3, 0]),
        (0x2008, &[1, 0]),
        (0x2009, &[0xFE, 0]),
        (0x200A, &[3, 0]),
        (0x200B, &[0xFD, 0]),
        (0x200C, &[0x12, 0]),
        (0x200F, &[0, 0, 0x65, 0x53, 0xF1, 0, 0, 0, 0, 5]),
        (0x2010, &[0x21, 0]),
        (0x2011, &[0xFF, 0xDB, 5, 0]),
        (0x2012, &[0x30, 0]),
        (0x2013, &[8, 0x20]),
        (0x6000, &[2, 0]),
        (0x6001, &[0, 0]),
    ];
    answers.extend(more.map(|(id, data)| (id, [&id.to_be_bytes(), data].concat())));
    answers
}

#[test]
fn answers_of_few_octets_are_read() {
    let expected = [
        Data::UserDescription(management::PtpText(b"left rack".to_vec())),
        Data::Priority1(128),
        Data::Priority2(129),
        Data::Domain(3),
        Data::SlaveOnly(true),
        Data::LogAnnounceInterval(LogInterval(-2)),
        Data::AnnounceReceiptTimeout(3),
        Data::LogSyncInterval(LogInterval(-3)),
        Data::VersionNumber(management::VersionNumber { minor_version_number: 1, version_number: 2 }),
        Data::Time(Timestamp { seconds: 1_700_000_000, nanoseconds: 5 }),
        Data::ClockAccuracy(0x21),
        Data::UtcProperties(management::UtcProperties { current_utc_offset: -37, flags: Flags(5) }),
        Data::TraceabilityProperties(Flags(0x30)),
        Data::TimescaleProperties(management::TimescaleProperties { ptp_timescale: true, time_source: 0x20 }),
        Data::DelayMechanism(2),
        Data::LogMinPdelayReqInterval(LogInterval(0)),
    ];
    let answers = answers();
    let few = &answers[answers.len() - expected.len()..];
    for ((id, value), expected) in few.iter().zip(expected) {
        assert_eq!(respond(value), (expected, vec![]), "0x{id:04x}");
    }
}

#[test]
fn every_shorter_length_is_noted_and_kept_as_identifier_and_length() {
    for (id, value) in answers() {
        for len in 0..value.len() {
            let mut notes = Vec::new();
            let tlv = management::decode(management::RESPONSE, &value[..len], &mut notes);
            let length = u16::try_from(len).unwrap();
            assert_eq!(tlv.data, Data::Undecoded, "0x{id:04x} cut at {len}");
            assert_eq!(tlv.management_id, (len >= 2).then_some(id));
            assert_eq!(tlv.length, len);
            assert_eq!(notes, [Note::TlvTooShort { tlv_type: 1, length }], "0x{id:04x} cut at {len}");
        }
    }
    let error = value_of("S2-mgmt-error-status");
    for len in 0..8 {
        let mut notes = Vec::new();
        assert_eq!(management::decode_error_status(&error[..len], &mut notes), None);
        assert_eq!(notes, [Note::TlvTooShort { tlv_type: 2, length: u16::try_from(len).unwrap() }]);
    }
}

#[test]
fn octets_beyond_the_layout_are_noted_and_change_nothing() {
    for (id, value) in answers() {
        let (alone, notes) = respond(&value);
        assert_eq!(notes, []);
        let mut longer = value.clone();
        // An octet that makes the length even belongs to the layout.
        longer.resize(value.len().next_multiple_of(2), 0xA5);
        assert_eq!(respond(&longer), (alone.clone(), vec![]), "0x{id:04x}");
        longer.extend([0xA5; 6]);
        assert_eq!(respond(&longer), (alone, vec![Note::TlvExtended { tlv_type: 1, extra_octets: 6 }]));
    }
}

#[test]
fn reserved_bits_set_change_nothing() {
    let rows: [(&str, &[(usize, u8)]); 4] = [
        ("R-ptp-management-06", &[(2, 0xFC), (3, 0xFF), (21, 0xFF)]),
        ("R-ptp-management-08", &[(12, 0xFE), (13, 0xFF)]),
        ("R-ptp-management-10", &[(36, 0xFF)]),
        ("S2-mgmt-time-properties", &[(4, 0xC0)]),
    ];
    for (id, bits) in rows {
        let value = value_of(id);
        let mut noisy = value.clone();
        for (at, bits) in bits {
            noisy[*at] |= bits;
        }
        assert_eq!(respond(&noisy), respond(&value), "{id}");
    }
}

#[test]
fn a_bad_value_is_reported_and_kept() {
    let mut value = value_of("S2-mgmt-port-ds-slave");
    value[12] = 11;
    let (data, notes) = respond(&value);
    assert_eq!(notes, [Note::ReservedValue { field: "portState", value: 11 }]);
    let Data::PortDataSet(set) = data else { panic!() };
    assert_eq!(set.port_state, management::PortState::Reserved(11));

    let time = [&[0x20, 0x0F][..], &[0, 0, 0, 0, 0, 1], &1_000_000_000_u32.to_be_bytes()].concat();
    let (data, notes) = respond(&time);
    assert_eq!(notes, [Note::NanosecondsOutOfRange { field: "currentTime" }]);
    assert_eq!(data, Data::Time(Timestamp { seconds: 1, nanoseconds: 1_000_000_000 }));

    let mut value = value_of("S2-mgmt-current-ds");
    value[4..12].copy_from_slice(&i64::MAX.to_be_bytes());
    let Data::CurrentDataSet(set) = respond(&value).0 else { panic!() };
    assert_eq!(set.offset_from_master, None);
    assert_eq!(set.mean_delay, Some(TimeInterval(532_398_080)));

    let text = [&[0x00, 0x02][..], b"\x03a\xFFb"].concat();
    let Data::UserDescription(text) = respond(&text).0 else { panic!() };
    assert_eq!(text.0, b"a\xFFb");
    assert_eq!(text.to_string_lossy(), "a\u{FFFD}b");
}

#[test]
fn fields_of_equal_value_in_the_real_answers_are_told_apart() {
    // The real DEFAULT_ and PARENT_DATA_SET hold 128 and 0xFFFF more than once.
    let mut value = value_of("R-ptp-management-08");
    value[14..16].copy_from_slice(&[1, 2]);
    value[20..26].copy_from_slice(&[3, 4, 5, 6, 7, 8]);
    let Data::ParentDataSet(set) = respond(&value).0 else { panic!() };
    assert_eq!(set.observed_parent_offset_scaled_log_variance, 0x0102);
    assert_eq!((set.grandmaster_priority1, set.grandmaster_priority2), (3, 8));
    let quality = ClockQuality { clock_class: 4, clock_accuracy: 5, offset_scaled_log_variance: 0x0607 };
    assert_eq!(set.grandmaster_clock_quality, quality);
    assert_eq!(set.grandmaster_identity, ClockIdentity([0, 0, 0, 0xFF, 0xFE, 0, 0, 0x12]));

    let mut value = value_of("R-ptp-management-06");
    value[2] = 2;
    value[6] = 100;
    value[20] = 9;
    let Data::DefaultDataSet(set) = respond(&value).0 else { panic!() };
    assert_eq!((set.two_step, set.slave_only), (false, true));
    assert_eq!((set.priority1, set.priority2, set.domain_number), (100, 128, 9));

    let mut value = value_of("S2-mgmt-time-status-np");
    value[28..40].copy_from_slice(&[0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFE]);
    value[18..22].copy_from_slice(&(-7_i32).to_be_bytes());
    let Data::TimeStatusNp(set) = respond(&value).0 else { panic!() };
    assert_eq!(set.last_gm_phase_change_scaled_ns, -2);
    assert_eq!((set.cumulative_scaled_rate_offset, set.scaled_last_gm_phase_change), (-7, 0));
}

#[test]
fn an_identifier_without_a_layout_keeps_its_length() {
    for id in [0x0000_u16, 0x0006, 0x2014, 0x200D, 0x3000, 0x4000, 0xC001, 0xE123] {
        let value = [&id.to_be_bytes()[..], &[1, 2, 3, 4]].concat();
        let mut notes = Vec::new();
        let tlv = management::decode(management::SET, &value, &mut notes);
        assert_eq!((tlv.management_id, tlv.length, tlv.data), (Some(id), 6, Data::Undecoded));
        assert_eq!(notes, []);
    }
}

#[test]
fn a_refusal_shows_its_text_and_its_name() {
    let mut notes = Vec::new();
    let value = [&[0, 5, 0x20, 0x05, 0, 0, 0, 0][..], b"\x06locked\0"].concat();
    let status = management::decode_error_status(&value, &mut notes).unwrap();
    assert_eq!(management::management_error_name(status.management_error_id), Some("NOT_SETABLE"));
    assert_eq!(management::management_name(status.management_id), Some("PRIORITY1"));
    assert_eq!(status.display_data.to_string_lossy(), "locked");
    assert_eq!(notes, []);
    // The text runs past the value.
    assert_eq!(management::decode_error_status(&value[..12], &mut notes), None);
    assert_eq!(notes, [Note::TlvTooShort { tlv_type: 2, length: 12 }]);
    notes.clear();
    let bare = management::decode_error_status(&value[..8], &mut notes).unwrap();
    assert_eq!((bare.display_data.0.len(), notes), (0, vec![]));
}

proptest! {
    #[test]
    fn random_values_never_panic(
        action in 0..16_u8,
        id in prop_oneof![Just(1_u16), Just(2), 0x2000..0x2022_u16, 0x6000..0x6002_u16, Just(0xC000), any::<u16>()],
        data in proptest::collection::vec(any::<u8>(), 0..120),
    ) {
        let value = [&id.to_be_bytes()[..], &data].concat();
        let mut notes = Vec::new();
        let tlv = management::decode(action, &value, &mut notes);
        prop_assert_eq!(tlv.management_id, Some(id));
        let _ = management::decode_error_status(&value, &mut notes);
    }

    #[test]
    fn mutated_vectors_never_panic(
        pick in any::<prop::sample::Index>(),
        changes in proptest::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..6),
    ) {
        let answers = answers();
        let mut value = answers[pick.index(answers.len())].1.clone();
        for (at, octet) in changes {
            let at = at.index(value.len());
            value[at] = octet;
        }
        let mut notes = Vec::new();
        let tlv = management::decode(management::RESPONSE, &value, &mut notes);
        prop_assert_eq!(tlv.length, value.len());
    }
}
