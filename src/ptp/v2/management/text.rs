//! `PTPText`: a length octet and that many octets of text.

use crate::bytes::Cursor;
use crate::bytes::DecodeError;

/// The octets of a `PTPText`, UTF-8 by the standard (1588-2008 5.3.9, from memory), kept as they are.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct PtpText(pub Vec<u8>);

impl PtpText {
    /// The text; octets that are not UTF-8 become U+FFFD.
    #[must_use]
    pub fn to_string_lossy(&self) -> String {
        String::from_utf8_lossy(&self.0).into_owned()
    }

    pub(super) fn read(cursor: &mut Cursor<'_>, field: &'static str) -> Result<Self, DecodeError> {
        let length = cursor.u8(field)?;
        cursor.slice(field, usize::from(length)).map(|octets| Self(octets.to_vec()))
    }
}
