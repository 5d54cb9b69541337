//! What single bits and numbers of PTP messages mean, row by row of their tables: each from its own bit or value and from no other.

use downbeat::ptp::ClockIdentity;
use downbeat::ptp::Note;
use downbeat::ptp::v1;
use downbeat::ptp::v2;
use downbeat::ptp::v2::management;
use downbeat::ptp::v2::management::ManagementData;
use downbeat::ptp::v2::tlv::SlaveRxSyncComputedData;

/// `flagField`, first octet high (IEEE 1588-2008 Table 20, from memory; checked against other software).
#[test]
fn each_flag_of_version_2_is_read_from_its_own_bit() {
    type Row = (u16, &'static str, fn(v2::Flags) -> bool);
    let rows: [Row; 9] = [
        (0x0100, "alternate_master", v2::Flags::alternate_master),
        (0x0200, "two_step", v2::Flags::two_step),
        (0x0400, "unicast", v2::Flags::unicast),
        (0x0001, "leap61", v2::Flags::leap61),
        (0x0002, "leap59", v2::Flags::leap59),
        (0x0004, "current_utc_offset_valid", v2::Flags::current_utc_offset_valid),
        (0x0008, "ptp_timescale", v2::Flags::ptp_timescale),
        (0x0010, "time_traceable", v2::Flags::time_traceable),
        (0x0020, "frequency_traceable", v2::Flags::frequency_traceable),
    ];
    for (bit, name, is_set) in rows {
        assert!(is_set(v2::Flags(bit)), "{name}");
        assert!(!is_set(v2::Flags(!bit)), "{name}");
        assert_eq!(v2::Flags(bit).names().collect::<Vec<_>>(), [name]);
        assert!(!v2::Flags(!bit).names().any(|set| set == name), "{name}");
    }
}

/// Bits without a name are kept as well.
#[test]
fn flags_of_version_1_are_kept_as_they_came() {
    assert_eq!(v1::Flags(0xA55A).raw(), 0xA55A);
}

/// `computedFlags` (IEEE 1588-2019 16.11.4.2, from memory): one bit each, whatever the others are.
#[test]
fn each_value_a_follower_computed_is_vouched_for_by_its_own_bit() {
    let data = |computed_flags| SlaveRxSyncComputedData {
        source_port_identity: v2_port(),
        computed_flags,
        records: Vec::new(),
    };
    for flags in 0..=u8::MAX {
        let computed = data(flags);
        assert_eq!(computed.is_scaled_neighbor_rate_ratio_valid(), flags % 2 == 1, "{flags:#04x}");
        assert_eq!(computed.is_mean_path_delay_valid(), flags / 2 % 2 == 1, "{flags:#04x}");
        assert_eq!(computed.is_offset_from_master_valid(), flags / 4 % 2 == 1, "{flags:#04x}");
    }
}

fn v2_port() -> downbeat::ptp::PortIdentity {
    downbeat::ptp::PortIdentity {
        clock_identity: ClockIdentity([0x02, 0, 0x5E, 0xFF, 0xFE, 0, 0, 1]),
        port_number: 1,
    }
}

/// SLAVE_ONLY (IEEE 1588-2008 15.5.3.4.1, from memory): the lowest bit of its first octet alone.
#[test]
fn follower_only_is_the_lowest_bit_of_its_octet() {
    for octet in 0..=u8::MAX {
        let mut notes = Vec::new();
        let read = management::decode(management::RESPONSE, &[0x20, 0x08, octet, 0], &mut notes);
        assert_eq!(read.data, ManagementData::SlaveOnly(octet % 2 == 1), "{octet:#04x}");
        assert_eq!(notes, []);
    }
}

/// `managementErrorId` (IEEE 1588-2008 Table 72, from memory).
#[test]
fn management_errors_have_the_standards_names_and_no_other_value_has_one() {
    let named: Vec<_> = (0..=u16::MAX)
        .filter_map(|id| management::management_error_name(id).map(|name| (id, name)))
        .collect();
    assert_eq!(
        named,
        [
            (1, "RESPONSE_TOO_BIG"),
            (2, "NO_SUCH_ID"),
            (3, "WRONG_LENGTH"),
            (4, "WRONG_VALUE"),
            (5, "NOT_SETABLE"),
            (6, "NOT_SUPPORTED"),
            (0xFFFE, "GENERAL_ERROR"),
        ]
    );
}

/// `networkProtocol` (IEEE 1588-2008 Table 3, from memory).
#[test]
fn network_protocols_have_their_names_and_no_other_value_has_one() {
    let named: Vec<_> = (0..=u16::MAX)
        .filter_map(|value| management::network_protocol_name(value).map(|name| (value, name)))
        .collect();
    assert_eq!(
        named,
        [
            (1, "UDP/IPv4"),
            (2, "UDP/IPv6"),
            (3, "IEEE 802.3"),
            (4, "DeviceNet"),
            (5, "ControlNet"),
            (6, "PROFINET"),
            (0xFFFE, "unknown"),
        ]
    );
}

/// The stratum's and the identifier's words (IEEE 1588-2002 tables 2 and 3, from memory).
#[test]
fn sources_of_version_1_clocks_have_their_words() {
    let words = [
        (*b"ATOM", Some("atomic reference")),
        (*b"GPS\0", Some("satellite")),
        (*b"NTP\0", Some("NTP")),
        (*b"HAND", Some("set by hand")),
        (*b"INIT", Some("set by initialisation")),
        (*b"DFLT", Some("no source")),
        (*b"hand", None),
    ];
    for (identifier, word) in words {
        assert_eq!(v1::clock_identifier_name(&identifier), word);
    }
    let strata: Vec<_> =
        (0..=255).filter_map(|stratum| v1::stratum_name(stratum).map(|word| (stratum, word))).collect();
    assert_eq!(
        strata,
        [
            (0, "temporarily the best of all"),
            (1, "primary reference"),
            (2, "secondary reference"),
            (3, "could be timed from outside, is not"),
            (4, "free-running"),
            (255, "follower only"),
        ]
    );
    let media: Vec<_> = (0..=255)
        .filter_map(|value| v1::communication_technology_name(value).map(|word| (value, word)))
        .collect();
    assert_eq!(
        media,
        [
            (0, "closed"),
            (1, "Ethernet"),
            (4, "FFbus"),
            (5, "PROFIBUS"),
            (6, "LON"),
            (7, "DeviceNet"),
            (8, "SDS"),
            (9, "ControlNet"),
            (10, "CANopen"),
            (243, "IEEE 1394"),
            (244, "IEEE 802.11a"),
            (255, "default"),
        ]
    );
}

/// `clockType` (IEEE 1588-2008 Table 42, from memory): the highest bits, one for each kind.
#[test]
fn each_kind_of_clock_is_read_from_its_own_bit() {
    let rows = [
        (0x8000, "ordinary_clock"),
        (0x4000, "boundary_clock"),
        (0x2000, "peer_to_peer_transparent_clock"),
        (0x1000, "end_to_end_transparent_clock"),
        (0x0800, "management_node"),
    ];
    for (bit, name) in rows {
        assert_eq!(management::ClockType(bit).names().collect::<Vec<_>>(), [name]);
        assert!(!management::ClockType(!bit).names().any(|set| set == name), "{name}");
    }
    assert_eq!(management::ClockType(0x07FF).names().count(), 0);
}

/// `clockClass` (IEEE 1588-2008 Table 5, from memory).
#[test]
fn clock_classes_have_their_words_and_reserved_ones_have_none() {
    let named: Vec<u8> = (0..=255).filter(|class| v2::registry::clock_class_name(*class).is_some()).collect();
    let expected: Vec<u8> = [6, 7, 13, 14, 52, 58]
        .into_iter()
        .chain(68..=122)
        .chain(133..=170)
        .chain([187, 193])
        .chain(216..=232)
        .chain([248, 255])
        .collect();
    assert_eq!(named, expected);
    assert_eq!(v2::registry::clock_class_name(255), Some("follower only"));
    assert_eq!(v2::registry::clock_class_name(248), Some("default"));
    assert_eq!(v2::registry::clock_class_name(6), Some("locked to a primary reference"));
    assert_eq!(v2::registry::clock_class_name(7), Some("holding over after a primary reference"));
}

/// FF-FE within (IEEE 1588-2008 7.5.2.2.2) or FF-FF; one octet of the two alone is none.
#[test]
fn a_mac_address_is_read_from_an_identity_with_both_octets_only() {
    let embedded = |x, y| ClockIdentity([0x02, 0, 0x5E, x, y, 0x10, 0, 7]).embedded_mac().map(|mac| mac.0);
    let mac = Some([0x02, 0, 0x5E, 0x10, 0, 7]);
    assert_eq!([embedded(0xFF, 0xFE), embedded(0xFF, 0xFF)], [mac, mac]);
    assert_eq!([embedded(0xFF, 0xFD), embedded(0xFE, 0xFE), embedded(0xFE, 0xFF), embedded(0, 0)], [None; 4]);
}

/// A note says which field or TLV it is about, and how many octets or which value.
#[test]
fn notes_say_what_they_are_about() {
    let rows = [
        (
            Note::NanosecondsOutOfRange { field: "originTimestamp" },
            "originTimestamp has 10^9 nanoseconds or more",
        ),
        (Note::TlvTooShort { tlv_type: 0x0008, length: 7 }, "TLV 0x0008: 7 octets are too few for its type"),
        (
            Note::TlvExtended { tlv_type: 0x0001, extra_octets: 3 },
            "TLV 0x0001: 3 octets beyond the known layout",
        ),
        (Note::ReservedValue { field: "timeSource", value: 17 }, "timeSource holds the reserved value 17"),
        (
            Note::CutByCapture { message_length: 64, available: 50 },
            "the capture kept 50 of the message's 64 octets",
        ),
        (Note::ClassMismatch, "messageType and control do not belong together"),
        (Note::NegativeTime { field: "originTimestamp" }, "originTimestamp lies before the epoch"),
    ];
    for (note, text) in rows {
        assert_eq!(note.to_string(), text);
    }
}
