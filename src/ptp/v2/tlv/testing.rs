//! What the tests of every layout share.

use super::Tlv;
use crate::bytes::Cursor;
use crate::ptp::Note;
use crate::ptp::v2::Action;

/// The TLV that `value` makes in a message that is no Management message.
pub(super) fn decode(tlv_type: u16, value: &[u8]) -> (Tlv, Vec<Note>) {
    let mut octets = tlv_type.to_be_bytes().to_vec();
    octets.extend(u16::try_from(value.len()).unwrap().to_be_bytes());
    octets.extend(value);
    let (mut tlvs, notes) = walk(&octets, octets.len(), None);
    assert_eq!(tlvs.len(), 1, "{notes:?}");
    (tlvs.remove(0), notes)
}

/// The TLVs of `octets`, which stand at the start of a message that ends at `message_end`.
pub(super) fn walk(octets: &[u8], message_end: usize, action: Option<Action>) -> (Vec<Tlv>, Vec<Note>) {
    let mut notes = Vec::new();
    let tlvs = super::decode_all(Cursor::new(octets), message_end, action, &mut notes);
    (tlvs, notes)
}

/// A value of every even length below `value`'s must be kept as type and length with a note that says so.
pub(super) fn assert_every_shorter_value_is_kept_as_type_and_length(tlv_type: u16, value: &[u8]) {
    for length in (0..value.len()).step_by(2) {
        let short = u16::try_from(length).unwrap();
        let (tlv, notes) = decode(tlv_type, &value[..length]);
        assert_eq!(tlv, Tlv::Other { tlv_type, length: short }, "{length} octets");
        assert_eq!(notes, [Note::TlvTooShort { tlv_type, length: short }], "{length} octets");
    }
}

/// Two octets more must be noted and change nothing else.
pub(super) fn assert_a_longer_value_is_noted(tlv_type: u16, value: &[u8]) {
    let (whole, notes) = decode(tlv_type, value);
    assert_eq!(notes, []);
    let (longer, notes) = decode(tlv_type, &[value, &[0xA5, 0xA5]].concat());
    assert_eq!(longer, whole);
    assert_eq!(notes, [Note::TlvExtended { tlv_type, extra_octets: 2 }]);
}

/// Octets of a hex string in which spaces separate the fields.
pub(super) fn octets(hex: &str) -> Vec<u8> {
    let digits: String = hex.split_whitespace().collect();
    (0..digits.len()).step_by(2).map(|at| u8::from_str_radix(&digits[at..at + 2], 16).unwrap()).collect()
}
