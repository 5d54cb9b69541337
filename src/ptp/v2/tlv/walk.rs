//! The walk from TLV to TLV by `lengthField`.

use super::Tlv;
use crate::bytes::Cursor;
use crate::ptp::Note;
use crate::ptp::v2::Action;

/// Octets of `tlvType` and `lengthField`.
const FRAME_OCTETS: usize = 4;

/// Reads TLVs from `cursor` on, which stands behind the fixed body and ends at `message_end` or, where the capture cut
/// the message, before it.
///
/// The first TLV that is broken ends the walk with [`Note::TlvBroken`]. One that only the capture cut ends it without:
/// the message carries [`Note::CutByCapture`] for that.
pub(in crate::ptp::v2) fn decode_all(
    mut cursor: Cursor<'_>,
    message_end: usize,
    action: Option<Action>,
    notes: &mut Vec<Note>,
) -> Vec<Tlv> {
    let mut tlvs = Vec::new();
    while cursor.offset() < message_end {
        let offset = cursor.offset();
        let left_in_message = message_end.saturating_sub(offset);
        let Ok(tlv_type) = cursor.u16("tlvType") else {
            if left_in_message < FRAME_OCTETS {
                notes.push(broken(0, offset, FEWER_THAN_FOUR));
            }
            break;
        };
        if left_in_message < FRAME_OCTETS {
            notes.push(broken(tlv_type, offset, FEWER_THAN_FOUR));
            break;
        }
        let Ok(length) = cursor.u16("lengthField") else { break };
        if usize::from(length) > left_in_message.saturating_sub(FRAME_OCTETS) {
            notes.push(broken(tlv_type, offset, "lengthField runs past messageLength"));
            break;
        }
        if length % 2 == 1 {
            notes.push(broken(tlv_type, offset, "lengthField is odd"));
            break;
        }
        let Ok(value) = cursor.slice("valueField", usize::from(length)) else { break };
        tlvs.push(Tlv::decode(tlv_type, length, value, action, notes));
    }
    tlvs
}

const FEWER_THAN_FOUR: &str = "fewer than 4 octets are left for tlvType and lengthField";

const fn broken(tlv_type: u16, offset: usize, why: &'static str) -> Note {
    Note::TlvBroken { tlv_type, offset, why }
}

#[cfg(test)]
mod tests {
    use super::super::Authentication;
    use super::super::testing;
    use super::super::testing::octets;
    use super::super::types;
    use super::*;

    /// A PAD of two octets, a type without a layout, an AUTHENTICATION without a check value.
    const THREE: &str = "8008 0002 0000 8001 0004 01020304 8009 0006 01 00 00000005";

    fn three() -> Vec<Tlv> {
        let authentication =
            Authentication { spp: 1, sec_param_indicator: 0, key_id: 5, remaining_octets: 0 };
        vec![
            Tlv::Pad { length: 2 },
            Tlv::Other { tlv_type: 0x8001, length: 4 },
            Tlv::Authentication(authentication),
        ]
    }

    #[test]
    fn tlvs_follow_one_another_by_length_field() {
        let octets = octets(THREE);
        assert_eq!(testing::walk(&octets, octets.len(), None), (three(), vec![]));
    }

    #[test]
    fn every_end_of_message_inside_a_tlv_is_noted_and_keeps_the_earlier_ones() {
        let octets = octets(THREE);
        let starts = [0, 6, 14, octets.len()];
        for end in 0..octets.len() {
            let whole = starts.iter().filter(|start| **start <= end).count() - 1;
            let (tlvs, notes) = testing::walk(&octets[..end], end, None);
            assert_eq!(tlvs, three()[..whole], "end at {end}");
            if starts.contains(&end) {
                assert_eq!(notes, [], "end at {end}");
            } else {
                let [Note::TlvBroken { offset, .. }] = notes[..] else { panic!("end at {end}: {notes:?}") };
                assert_eq!(offset, starts[whole], "end at {end}");
            }
        }
    }

    #[test]
    fn a_cut_by_the_capture_is_not_called_broken() {
        let octets = octets(THREE);
        for cut in 0..octets.len() {
            let (tlvs, notes) = testing::walk(&octets[..cut], octets.len(), None);
            assert!(three().starts_with(&tlvs), "cut at {cut}");
            assert_eq!(notes, [], "cut at {cut}");
        }
    }

    #[test]
    fn a_length_that_overruns_the_message_is_broken_even_where_the_capture_is_cut() {
        let octets = octets("8008 0010 0000");
        let why = "lengthField runs past messageLength";
        let expected = [Note::TlvBroken { tlv_type: types::PAD, offset: 0, why }];
        assert_eq!(testing::walk(&octets, 12, None), (vec![], expected.to_vec()));
    }

    #[test]
    fn an_odd_length_ends_the_walk() {
        let octets = octets("8008 0002 0000 8001 0003 010203 8008 0000");
        let (tlvs, notes) = testing::walk(&octets, octets.len(), None);
        assert_eq!(tlvs, [Tlv::Pad { length: 2 }]);
        let why = "lengthField is odd";
        assert_eq!(notes, [Note::TlvBroken { tlv_type: 0x8001, offset: 6, why }]);
    }

    #[test]
    fn management_outside_a_management_message_has_no_action_to_be_read_by() {
        let octets = octets("0001 0004 2001 0000 0002 0004 0001 0002");
        let (tlvs, notes) = testing::walk(&octets, octets.len(), None);
        let expected = [types::MANAGEMENT, types::MANAGEMENT_ERROR_STATUS]
            .map(|tlv_type| Tlv::Other { tlv_type, length: 4 });
        assert_eq!(tlvs, expected);
        assert_eq!(notes, []);
        let (tlvs, _) = testing::walk(&octets[..8], 8, Some(Action::Get));
        assert!(matches!(tlvs[..], [Tlv::Management(_)]));
    }

    #[test]
    fn every_type_and_length_ends_without_a_panic_and_keeps_its_type() {
        for tlv_type in (0..=0xFFFF_u16).filter(|tlv_type| tlv_type & 0x3FF0 == 0) {
            for length in (0..128).step_by(2) {
                let (tlv, _) = testing::decode(tlv_type, &vec![0x5A; length]);
                assert_eq!(tlv.tlv_type(), tlv_type);
            }
        }
    }
}
