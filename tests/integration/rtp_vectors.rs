//! RTP headers, payload headers and sequences against worked-out values, and what decoders must bear.

use downbeat::bytes::DecodeError;
use downbeat::rtp;
use downbeat::rtp::Arrival;
use downbeat::rtp::Media;
use downbeat::rtp::Numbered;
use downbeat::rtp::Sequence;
use downbeat::rtp::payload;
use downbeat::rtp::payload::FieldMark;
use downbeat::rtp::payload::LinearAudio;
use downbeat::rtp::static_payload_type;
use downbeat::units::CaptureTime;
use proptest::prelude::*;
use serde_json::Value;
use serde_json::json;

use crate::support::survival::bears_cuts_and_changes;
use crate::support::survival::bears_noise;
use crate::support::vectors::from_hex;

const VECTORS: &str = include_str!("../data/check-values/rtp-sap.json");

pub(crate) fn vector(id: &str) -> Value {
    let document: Value = serde_json::from_str(VECTORS).unwrap();
    let vectors = document["vectors"].as_array().unwrap();
    assert_eq!(vectors.len(), 6);
    vectors.iter().find(|vector| vector["id"] == id).unwrap().clone()
}

pub(crate) fn octets(vector: &Value) -> Vec<u8> {
    from_hex(vector["hex"].as_str().unwrap())
}

/// Compares each key that `expected` has.
fn assert_has(id: &str, found: &Value, expected: &Value) {
    for (key, value) in expected.as_object().unwrap() {
        assert_eq!(found.get(key), Some(value), "{id} {key}");
    }
}

#[test]
fn headers_have_the_fields_that_were_worked_out() {
    for id in ["RTP-1", "RTP-2"] {
        let vector = vector(id);
        let octets = octets(&vector);
        let header = rtp::decode(&octets, true).unwrap();
        let csrcs: Vec<String> = header.csrcs().map(|csrc| format!("{csrc:08x}")).collect();
        let mut found = json!({
            "version": 2,
            "padding": u8::from(header.padding_octets > 0),
            "extension": u8::from(header.extension.is_some()),
            "csrcCount": csrcs.len(),
            "csrc": csrcs,
            "marker": u8::from(header.marker),
            "payloadType": header.payload_type,
            "sequenceNumber": header.sequence_number,
            "timestamp": header.rtp_timestamp,
            "ssrc": format!("{:08x}", header.ssrc),
            "headerOctets": header.header_octets,
        });
        if let Some(extension) = header.extension {
            found["extensionProfile"] = json!(format!("{:04x}", extension.profile));
            found["extensionWords"] = json!(extension.octets.len() / 4);
        }
        assert_has(id, &found, &vector["decoded"]);
        assert!(rtp::is_plausible(&octets));
        for length in 0..header.header_octets {
            assert!(
                matches!(rtp::decode(&octets[..length], true), Err(DecodeError::Short { .. })),
                "{id} {length}"
            );
        }
    }
}

#[test]
fn an_uncompressed_video_header_has_the_segments_that_were_worked_out() {
    let vector = vector("RTP-2110-20-1");
    let octets = octets(&vector);
    let header = rtp::decode(&octets, true).unwrap();
    let video = payload::uncompressed(header.payload).unwrap();
    let segments: Vec<Value> = video
        .segments()
        .iter()
        .map(|segment| {
            json!({
                "length": segment.length,
                "field": u8::from(segment.second_field),
                "row": segment.row,
                "continuation": u8::from(segment.continuation),
                "offset": segment.offset,
            })
        })
        .collect();
    let found = json!({
        "extendedSequence32": video.sequence_number(header.sequence_number),
        "marker": u8::from(header.marker),
        "srd": segments,
        "headerOctets": header.header_octets + video.header_octets,
    });
    assert_has("RTP-2110-20-1", &found, &vector["decoded"]);
    for length in 0..video.header_octets {
        assert!(payload::uncompressed(&header.payload[..length]).is_err(), "{length}");
    }
    let endless = [0, 7, 0, 10, 0, 1, 0x80, 0, 0, 10, 0, 2, 0x80, 0, 0, 10, 0, 3, 0x80, 0, 0, 10, 0, 4, 0, 0];
    assert!(matches!(
        payload::uncompressed(&endless),
        Err(DecodeError::Value { field: "C", offset: 18, .. })
    ));
}

#[test]
fn sequences_are_counted_as_was_worked_out() {
    let vector = vector("RTP-sequence-rules");
    let rows = vector["vectors"].as_array().unwrap();
    assert_eq!(rows.len(), 5);
    for row in rows {
        let id = row["id"].as_str().unwrap();
        let mut sequence = Sequence::default();
        let mut gaps = Vec::new();
        let mut highest = 0;
        for number in row["inputs"].as_array().unwrap() {
            let number = u16::try_from(number.as_u64().unwrap()).unwrap();
            let packet = Numbered { number, timestamp: u32::from(number) * 48, time: CaptureTime(0) };
            if let Arrival::AfterGap { missing } = sequence.push(packet) {
                gaps.push(json!({ "after": highest, "missing": missing }));
            }
            highest = number;
        }
        let counts = sequence.counts();
        let found = json!({
            "received": counts.received,
            "unique": counts.unique,
            "expectedCount": counts.expected,
            "lost": counts.lost(),
            "outOfOrder": counts.reordered,
            "duplicate": counts.duplicates,
            "cycles": counts.wraps,
            "gaps": gaps,
            "restart": counts.restarts > 0,
        });
        assert_has(id, &found, &row["expected"]);
        if id == "SEQ-5" {
            assert_eq!((counts.restarts, counts.lost(), counts.strays()), (1, 0, 0));
        }
    }
}

/// RFC 3550 section 5.1: the last octet counts the padding, itself among it.
#[test]
fn padding_is_taken_off_and_a_wrong_count_is_refused() {
    let mut octets = octets(&vector("RTP-1"));
    octets[0] |= 0x20;
    octets.extend([1, 2, 3, 0, 0, 3]);
    let header = rtp::decode(&octets, true).unwrap();
    assert_eq!((header.payload, header.padding_octets), (&[1, 2, 3][..], 3));
    assert_eq!(rtp::decode(&octets, false).unwrap().payload.len(), 6);
    for wrong in [0, 7] {
        octets[17] = wrong;
        assert!(matches!(rtp::decode(&octets, true), Err(DecodeError::Value { offset: 17, .. })));
    }
    assert!(matches!(rtp::decode(&octets[..12], true), Err(DecodeError::Short { .. })));
}

/// RFC 3550 section 12.1; the report is 200 with version 2.
#[test]
fn rtcp_and_short_payloads_are_not_plausible() {
    let mut octets = octets(&vector("RTP-1"));
    octets[1] = 200;
    assert!(!rtp::is_plausible(&octets));
    octets[1] = 0xE0;
    assert!(rtp::is_plausible(&octets));
    assert!(!rtp::is_plausible(&octets[..11]));
    octets[0] = 0x40;
    assert!(!rtp::is_plausible(&octets));
}

/// Octets made by hand from the layouts of RFC 6184 section 5 and RFC 7798 section 4.
#[test]
fn pictures_that_need_no_other_are_found_in_every_kind_of_packet() {
    for (octets, packet_type, unit_type, start) in [
        (&[0x65, 0x88][..], 5, 5, None),
        (&[0x78, 0x00, 0x10, 0x67][..], 24, 7, None),
        (&[0x79, 0x00, 0x01, 0x00, 0x10, 0x65][..], 25, 5, None),
        (&[0x7a, 0, 1, 0, 16, 0, 0, 0, 0x65][..], 26, 5, None),
        (&[0x7b, 0, 1, 0, 16, 0, 0, 0, 0, 0x61][..], 27, 1, None),
        (&[0x7c, 0x85][..], 28, 5, Some(true)),
        (&[0x7c, 0x41][..], 28, 1, Some(false)),
    ] {
        let unit = payload::h264(octets).unwrap();
        assert_eq!((unit.packet_type, unit.unit_type, unit.fragment_start), (packet_type, unit_type, start));
        assert_eq!(unit.random_access, unit_type == 5);
        for length in 0..octets.len() - usize::from(packet_type == 5) {
            assert!(payload::h264(&octets[..length]).is_err());
        }
    }
    for (octets, packet_type, unit_type, start) in [
        (&[0x26, 0x01][..], 19, 19, None),
        (&[0x60, 0x01, 0x00, 0x10, 0x40, 0x01][..], 48, 32, None),
        (&[0x62, 0x01, 0x93][..], 49, 19, Some(true)),
        (&[0x62, 0x01, 0x01][..], 49, 1, Some(false)),
    ] {
        let unit = payload::h265(octets).unwrap();
        assert_eq!((unit.packet_type, unit.unit_type, unit.fragment_start), (packet_type, unit_type, start));
        assert_eq!(unit.random_access, unit_type == 19);
        for length in 0..octets.len() {
            assert!(payload::h265(&octets[..length]).is_err());
        }
    }
    assert!(payload::h264(&[0x1e]).is_err());
    assert!(payload::h265(&[0x64, 0x01]).is_err());
}

/// Octets made by hand from the layouts of RFC 9134 section 4.3 and RFC 8331 section 2.1.
#[test]
fn jpeg_xs_and_ancillary_headers_are_read() {
    // T 1, K 0, L 1, I 2, F 21, SEP 1027, P 1365.
    let word = 1_u32 << 31 | 1 << 29 | 2 << 27 | 21 << 22 | 1027 << 11 | 1365;
    let header = payload::jpeg_xs(&word.to_be_bytes()).unwrap();
    assert_eq!((header.sequential, header.slice_mode, header.last), (true, false, true));
    assert_eq!((header.interlaced, header.frame_counter), (2, 21));
    assert_eq!((header.sep_counter, header.packet_counter), (1027, 1365));
    assert!(payload::jpeg_xs(&[0; 3]).is_err());
    let header = payload::ancillary(&[0, 1, 0, 24, 2, 0xC0, 0, 0]).unwrap();
    assert_eq!((header.extended_sequence_number, header.length, header.count), (1, 24, 2));
    assert_eq!(header.field, FieldMark::Second);
    assert!(payload::ancillary(&[0; 7]).is_err());
}

#[test]
fn linear_audio_names_every_format_that_fits_likeliest_first() {
    let found = payload::linear_audio_candidates(288, 48);
    let expected = [(3, 2), (2, 3)].map(|(sample_octets, channels)| LinearAudio { sample_octets, channels });
    assert_eq!(found, expected);
    assert_eq!(payload::linear_audio_candidates(288, 0), []);
    assert_eq!(payload::linear_audio_candidates(289, 48), []);
    assert_eq!(payload::linear_audio_candidates(0, 48), []);
}

/// RFC 3551 section 6.
#[test]
fn static_payload_types_are_known_and_dynamic_ones_are_not() {
    let stereo = static_payload_type(10).unwrap();
    assert_eq!((stereo.encoding, stereo.clock_rate, stereo.channels), ("L16", 44_100, Some(2)));
    let transport = static_payload_type(33).unwrap();
    assert_eq!((transport.encoding, transport.media), ("MP2T", Media::AudioAndVideo));
    assert!((96..128).all(|payload_type| static_payload_type(payload_type).is_none()));
    assert_eq!((0..96).filter(|payload_type| static_payload_type(*payload_type).is_some()).count(), 24);
}

fn every_decoder(octets: &[u8]) {
    for whole in [true, false] {
        if let Ok(header) = rtp::decode(octets, whole) {
            assert!(header.header_octets + header.payload.len() + header.padding_octets == octets.len());
            assert!(header.csrcs().count() <= 15);
        }
    }
    assert!(!rtp::is_plausible(octets) || octets.len() >= 12);
    if let Ok(video) = payload::uncompressed(octets) {
        assert!((1..=3).contains(&video.segments().len()));
    }
    for read in [payload::h264(octets), payload::h265(octets)].into_iter().flatten() {
        assert!(read.unit_type < 64);
    }
    assert_eq!(payload::jpeg_xs(octets).is_ok(), octets.len() >= 4);
    assert_eq!(payload::ancillary(octets).is_ok(), octets.len() >= 8);
}

#[test]
fn cuts_changes_and_noise_are_borne() {
    for id in ["RTP-1", "RTP-2", "RTP-2110-20-1"] {
        bears_cuts_and_changes(&octets(&vector(id)), every_decoder);
    }
    bears_noise(&[&[], &[0x80, 96], &[0xBF, 0xE0]], every_decoder);
}

proptest! {
    #[test]
    fn any_octets_are_borne(octets in prop::collection::vec(any::<u8>(), 0..200)) {
        every_decoder(&octets);
    }
}
