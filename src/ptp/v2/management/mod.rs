//! The values of MANAGEMENT and MANAGEMENT_ERROR_STATUS TLVs.

use crate::bytes::Cursor;
use crate::bytes::DecodeError;
use crate::ptp::Note;

/// A MANAGEMENT TLV, known by its `managementId` alone.
#[derive(Debug, Clone, PartialEq)]
pub struct ManagementTlv {
    /// `managementId`, or `None` where the value is too short to hold one.
    pub management_id: Option<u16>,
    /// Octets of the whole value.
    pub length: usize,
}

/// A MANAGEMENT_ERROR_STATUS TLV.
#[derive(Debug, Clone, PartialEq)]
pub struct ErrorStatus {
    /// `managementErrorId`.
    pub management_error_id: u16,
    /// `managementId`.
    pub management_id: u16,
}

/// Reads a MANAGEMENT value; `action` is the message's `actionField`.
pub fn decode(_action: u8, value: &[u8], notes: &mut Vec<Note>) -> ManagementTlv {
    let management_id = Cursor::new(value).u16("managementId").ok();
    if management_id.is_none() {
        notes.push(Note::TlvTooShort {
            tlv_type: 0x0001,
            length: u16::try_from(value.len()).unwrap_or(u16::MAX),
        });
    }
    ManagementTlv { management_id, length: value.len() }
}

/// Reads a MANAGEMENT_ERROR_STATUS value; `None` where it is too short, which is noted.
pub fn decode_error_status(value: &[u8], notes: &mut Vec<Note>) -> Option<ErrorStatus> {
    let read = |cursor: &mut Cursor<'_>| -> Result<ErrorStatus, DecodeError> {
        let management_error_id = cursor.u16("managementErrorId")?;
        let management_id = cursor.u16("managementId")?;
        cursor.skip("reserved", 4)?;
        Ok(ErrorStatus { management_error_id, management_id })
    };
    let status = read(&mut Cursor::new(value)).ok();
    if status.is_none() {
        notes.push(Note::TlvTooShort {
            tlv_type: 0x0002,
            length: u16::try_from(value.len()).unwrap_or(u16::MAX),
        });
    }
    status
}
