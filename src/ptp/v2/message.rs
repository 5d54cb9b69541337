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
