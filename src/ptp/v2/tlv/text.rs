//! `PTPText`: one octet of length and that many of UTF-8 (1588-2008 5.3.9, from memory; seen in real captures).

use crate::bytes::Cursor;
use crate::bytes::DecodeError;

/// Reads one; octets that are not UTF-8 become U+FFFD.
pub(super) fn ptp_text(cursor: &mut Cursor<'_>, field: &'static str) -> Result<String, DecodeError> {
    let octets = usize::from(cursor.u8(field)?);
    Ok(String::from_utf8_lossy(cursor.slice(field, octets)?).into_owned())
}
