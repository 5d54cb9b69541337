//! A whole v2 message.

use super::body::Action;
use super::body::Body;
use super::header::Header;
use super::tlv;
use super::tlv::Tlv;
use crate::bytes::Cursor;
use crate::bytes::DecodeError;
use crate::ptp::Cut;
use crate::ptp::Note;

/// A message: header, body, what follows, and what was odd.
#[derive(Debug, Clone, PartialEq)]
pub struct Message {
    /// The common header.
    pub header: Header,
    /// The fixed body of its type.
    pub body: Body,
    /// The TLVs between the fixed body and `messageLength`, in wire order, up to the first broken one.
    pub tlvs: Vec<Tlv>,
    /// What was odd.
    pub notes: Vec<Note>,
    /// Octets after `messageLength`: pads or a frame check sequence.
    pub suffix_octets: usize,
}

/// Decodes one message; `cut` decides what becomes of octets that end between fixed body and `messageLength`.
pub(in crate::ptp) fn decode(octets: &[u8], cut: Cut) -> Result<Message, DecodeError> {
    match plain(octets) {
        Some(message) => Ok(message),
        None => decode_any(octets, cut),
    }
}

/// A message of those that are nearly all there are: with a time, all there, nothing odd in it and nothing behind it.
/// What [`decode_any`] makes of it, at a tenth of the cost.
fn plain(octets: &[u8]) -> Option<Message> {
    let (header, rest) = octets.split_first_chunk()?;
    let header = Header::of(header);
    let fixed_octets = Header::OCTETS + Body::octets(header.message_type);
    if usize::from(header.message_length) != fixed_octets {
        return None;
    }
    let suffix_octets = octets.len().checked_sub(fixed_octets)?;
    let body = Body::plain(rest, header.message_type)?;
    Some(Message { header, body, tlvs: Vec::new(), notes: Vec::new(), suffix_octets })
}

fn decode_any(octets: &[u8], cut: Cut) -> Result<Message, DecodeError> {
    let mut cursor = Cursor::new(octets);
    let header = Header::decode(&mut cursor)?;
    let message_octets = usize::from(header.message_length);
    let fixed_octets = Header::OCTETS + Body::octets(header.message_type);
    check_message_length(header.message_length, fixed_octets)?;

    let within = octets.get(..message_octets).unwrap_or(octets);
    let mut cursor = Cursor::new(within);
    cursor.skip("header", Header::OCTETS)?;
    let mut notes = Vec::new();
    let body = Body::decode(&mut cursor, header.message_type, &mut notes)?;

    let is_cut = octets.len() < message_octets;
    if is_cut {
        match cut {
            Cut::Refused => {
                return Err(DecodeError::Short {
                    field: "the octets messageLength counts",
                    offset: fixed_octets,
                    needed: message_octets.saturating_sub(fixed_octets),
                    available: octets.len().saturating_sub(fixed_octets),
                });
            }
            Cut::Noted => notes
                .push(Note::CutByCapture { message_length: header.message_length, available: octets.len() }),
        }
    }
    let tlvs = if body == Body::Reserved {
        Vec::new()
    } else {
        tlv::decode_all(cursor, message_octets, action_of(&body), &mut notes)
    };
    Ok(Message { header, body, tlvs, notes, suffix_octets: octets.len().saturating_sub(message_octets) })
}

fn check_message_length(message_length: u16, fixed_octets: usize) -> Result<(), DecodeError> {
    let rule = if usize::from(message_length) < Header::OCTETS {
        "the header alone takes 34 octets"
    } else if usize::from(message_length) < fixed_octets {
        "less than header and fixed body of this messageType take"
    } else {
        return Ok(());
    };
    Err(DecodeError::Value { field: "messageLength", offset: 2, value: u64::from(message_length), rule })
}

const fn action_of(body: &Body) -> Option<Action> {
    match body {
        Body::Management { action, .. } => Some(*action),
        Body::Sync { .. }
        | Body::DelayReq { .. }
        | Body::PdelayReq { .. }
        | Body::PdelayResp { .. }
        | Body::FollowUp { .. }
        | Body::DelayResp { .. }
        | Body::PdelayRespFollowUp { .. }
        | Body::Announce(_)
        | Body::Signaling { .. }
        | Body::Reserved => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ptp::ClockIdentity;
    use crate::ptp::PortIdentity;
    use crate::ptp::v2::Flags;
    use crate::ptp::v2::MessageType;
    use crate::units::LogInterval;
    use crate::units::TimeInterval;
    use crate::units::Timestamp;
    use proptest::prelude::*;

    /// A Sync of version 2.1 in which every header field has a value of its own.
    const SYNC: [u8; 44] = [
        0x10, 0x12, 0x00, 0x2C, 0x05, 0x06, 0x03, 0x7F, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFE, 0x80, 0x00, 0x01,
        0x02, 0x03, 0x04, 0x02, 0x00, 0x5E, 0xFF, 0xFE, 0x10, 0x00, 0x01, 0x00, 0x07, 0x01, 0x02, 0x09, 0xFD,
        0x00, 0x00, 0x65, 0x53, 0xF1, 0x00, 0x00, 0x00, 0x00, 0x08,
    ];

    fn with(at: usize, octet: u8) -> [u8; 44] {
        let mut octets = SYNC;
        octets[at] = octet;
        octets
    }

    proptest! {
        #[test]
        fn a_plain_message_is_what_it_is_field_by_field(
            mut octets in prop::collection::vec(any::<u8>(), 0..80),
            kind in 0_u8..16,
            by in -1_i32..=1,
            late in any::<bool>(),
        ) {
            let fixed = Header::OCTETS + Body::octets(MessageType::from_nibble(kind));
            let length = u16::try_from(i32::try_from(fixed).unwrap() + by).unwrap();
            for (at, octet) in [(0, kind), (1, 2), (2, 0), (3, length.to_be_bytes()[1]), (40, u8::from(late) << 6)] {
                if let Some(place) = octets.get_mut(at) {
                    *place = octet;
                }
            }
            let is_plain = plain(&octets);
            let timed = matches!(kind, 0..=3 | 8..=10);
            prop_assert_eq!(is_plain.is_some(), timed && by == 0 && !late && octets.len() >= fixed);
            if let Some(message) = is_plain {
                prop_assert_eq!(Ok(message), decode_any(&octets, Cut::Refused));
            }
        }
    }

    fn strict(octets: &[u8]) -> Result<Message, DecodeError> {
        decode(octets, Cut::Refused)
    }

    #[test]
    fn a_header_is_read_field_by_field() {
        let message = strict(&SYNC).unwrap();
        let expected = Header {
            major_sdo_id: 1,
            message_type: MessageType::Sync,
            minor_version_ptp: 1,
            message_length: 44,
            domain_number: 5,
            minor_sdo_id: 6,
            flags: Flags(0x037F),
            correction_field: TimeInterval(-0x1_8000),
            message_type_specific: 0x0102_0304,
            source_port_identity: PortIdentity {
                clock_identity: ClockIdentity([0x02, 0, 0x5E, 0xFF, 0xFE, 0x10, 0, 1]),
                port_number: 7,
            },
            sequence_id: 0x0102,
            control_field: 9,
            log_message_interval: LogInterval(-3),
        };
        assert_eq!(message.header, expected);
        assert_eq!(message.header.sdo_id(), 0x106);
        let origin_timestamp = Timestamp { seconds: 0x6553_F100, nanoseconds: 8 };
        assert_eq!(message.body, Body::Sync { origin_timestamp });
        assert_eq!((message.tlvs, message.notes, message.suffix_octets), (vec![], vec![], 0));
    }

    #[test]
    fn a_reserved_flag_is_kept_and_has_no_name() {
        let plain = strict(&with(6, 0x00)).unwrap().header.flags;
        let reserved = strict(&with(6, 0x98)).unwrap().header.flags;
        assert_eq!(reserved, Flags(0x987F));
        assert!(reserved.names().eq(plain.names()));
    }

    #[test]
    fn the_obsolete_control_field_does_not_decide_the_type() {
        for control in 0..=5 {
            assert_eq!(strict(&with(32, control)).unwrap().header.message_type, MessageType::Sync);
        }
    }

    #[test]
    fn a_message_length_below_the_fixed_body_is_an_error() {
        for length in 0..44 {
            let error = strict(&with(3, length)).unwrap_err();
            let DecodeError::Value { field: "messageLength", offset: 2, value, rule } = error else {
                panic!("{error}")
            };
            assert_eq!(value, u64::from(length));
            assert_eq!(rule.contains("header alone"), length < 34, "{rule}");
            assert_eq!(decode(&with(3, length), Cut::Noted), Err(error));
        }
    }

    #[test]
    fn a_message_length_beyond_the_octets_is_an_error_unless_the_capture_cut_them() {
        let octets = with(3, 60);
        let expected = DecodeError::Short {
            field: "the octets messageLength counts",
            offset: 44,
            needed: 16,
            available: 0,
        };
        assert_eq!(strict(&octets), Err(expected));
        let message = decode(&octets, Cut::Noted).unwrap();
        assert_eq!(message.notes, [Note::CutByCapture { message_length: 60, available: 44 }]);
        assert_eq!(message.tlvs, []);
    }

    #[test]
    fn a_cut_inside_the_fixed_body_is_an_error_either_way() {
        for length in 0..SYNC.len() {
            let error = strict(&SYNC[..length]).unwrap_err();
            let DecodeError::Short { offset, needed, .. } = error else { panic!("{error}") };
            assert!(offset <= length && length < offset + needed, "cut at {length}");
            assert_eq!(decode(&SYNC[..length], Cut::Noted), Err(error));
        }
    }

    #[test]
    fn reserved_types_are_counted_and_not_decoded() {
        for nibble in [4, 5, 6, 7, 14, 15] {
            let message = strict(&with(0, nibble)).unwrap();
            assert_eq!(message.header.message_type, MessageType::Reserved(nibble));
            assert_eq!((message.body, message.tlvs, message.notes), (Body::Reserved, vec![], vec![]));
        }
    }

    #[test]
    fn a_broken_tlv_keeps_the_message_and_its_earlier_tlvs() {
        let mut octets = with(3, 56).to_vec();
        octets.extend([0x80, 0x08, 0x00, 0x02, 0xA5, 0xA5, 0x80, 0x08, 0x00, 0x06, 0xA5, 0xA5]);
        let message = strict(&octets).unwrap();
        assert_eq!(message.tlvs, [Tlv::Pad { length: 2 }]);
        let why = "lengthField runs past messageLength";
        assert_eq!(message.notes, [Note::TlvBroken { tlv_type: 0x8008, offset: 50, why }]);
    }

    #[test]
    fn octets_after_message_length_are_counted_even_where_they_look_like_a_tlv() {
        let mut octets = SYNC.to_vec();
        octets.extend([0x80, 0x08, 0x00, 0x02, 0xA5, 0xA5]);
        let message = strict(&octets).unwrap();
        assert_eq!((message.tlvs, message.suffix_octets), (vec![], 6));
    }
}
