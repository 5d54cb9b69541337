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
