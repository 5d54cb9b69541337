//! The MANAGEMENT_ERROR_STATUS TLV.

use super::text::PtpText;
use crate::bytes::Cursor;
use crate::bytes::DecodeError;
use crate::ptp::Note;

/// `tlvType` of MANAGEMENT_ERROR_STATUS.
const MANAGEMENT_ERROR_STATUS: u16 = 0x0002;

/// A device's refusal (1588-2008 15.5.4, from memory; layout checked against an open-source stack).
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ErrorStatus {
    /// `managementErrorId`; its name is [`super::management_error_name`].
    pub management_error_id: u16,
    /// `managementId` of what was refused.
    pub management_id: u16,
    /// `displayData`; empty where the value ends before it.
    pub display_data: PtpText,
}

/// Decodes the value of a MANAGEMENT_ERROR_STATUS TLV, `managementErrorId` first.
///
/// `None`, with a note, where the value is too short for its 8 fixed octets or for its own text.
pub fn decode_error_status(value: &[u8], notes: &mut Vec<Note>) -> Option<ErrorStatus> {
    let mut cursor = Cursor::new(value);
    let Ok(status) = read(&mut cursor) else {
        notes.push(super::too_short(MANAGEMENT_ERROR_STATUS, value));
        return None;
    };
    super::note_extra_octets(MANAGEMENT_ERROR_STATUS, &cursor, notes);
    Some(status)
}

fn read(cursor: &mut Cursor<'_>) -> Result<ErrorStatus, DecodeError> {
    let management_error_id = cursor.u16("managementErrorId")?;
    let management_id = cursor.u16("managementId")?;
    cursor.skip("reserved", 4)?;
    let display_data =
        if cursor.rest().is_empty() { PtpText::default() } else { PtpText::read(cursor, "displayData")? };
    Ok(ErrorStatus { management_error_id, management_id, display_data })
}
