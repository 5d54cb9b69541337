//! IEEE 1588 octets to owned messages, versions 1, 2.0, 2.1 and the gPTP use of them.
//!
//! One call, [`decode`], takes the octets that follow the UDP header or the 0x88F7 Ethertype. A message
//! that decodes but holds something the standard does not allow keeps it and carries a [`Note`].

mod identity;
mod note;
pub mod v1;
pub mod v2;

pub use identity::{ClockIdentity, PortIdentity};
pub use note::Note;

use crate::bytes::Cursor;
use crate::bytes::DecodeError;

/// UDP port of event messages (IANA `ptp-event`).
pub const EVENT_PORT: u16 = 319;
/// UDP port of general messages (IANA `ptp-general`).
pub const GENERAL_PORT: u16 = 320;
/// Ethertype of PTP over IEEE 802.3 (1588-2008 Annex F, from memory; seen in real captures).
pub const ETHERTYPE: u16 = 0x88F7;

/// A message of either version.
#[derive(Debug, Clone, PartialEq)]
pub enum Message {
    /// IEEE 1588-2002.
    V1(v1::Message),
    /// IEEE 1588-2008 and -2019, and IEEE 802.1AS.
    V2(v2::Message),
}

/// What becomes of a message whose octets end after its fixed body but before its own length.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Cut {
    /// The message is not decoded.
    Refused,
    /// What is there is decoded, if header and fixed body are whole.
    Noted,
}

/// Decodes one PTP message; octets after its own length (pads, frame check sequence) are counted, not read.
///
/// # Errors
/// Where the version is neither 1 nor 2, or the octets end inside the header or the fixed body.
pub fn decode(octets: &[u8]) -> Result<Message, DecodeError> {
    decode_either(octets, Cut::Refused)
}

/// Decodes one PTP message that the capture is known to have cut short.
///
/// A v2 message whose header and fixed body are whole is decoded as far as its octets go and carries
/// [`Note::CutByCapture`]. A v1 message has nothing after its fixed body that could be left out.
///
/// # Errors
/// As [`decode`], but not for octets missing after the fixed body.
pub fn decode_snapped(octets: &[u8]) -> Result<Message, DecodeError> {
    decode_either(octets, Cut::Noted)
}

fn decode_either(octets: &[u8], cut: Cut) -> Result<Message, DecodeError> {
    let mut cursor = Cursor::new(octets);
    let [_, second] = cursor.take::<2>("versionPTP")?;
    match second & 0x0F {
        1 => v1::decode(octets).map(Message::V1),
        2 => v2::decode(octets, cut).map(Message::V2),
        other => Err(DecodeError::Value {
            field: "versionPTP",
            offset: 1,
            value: u64::from(other),
            rule: "1 (IEEE 1588-2002) and 2 (IEEE 1588-2008, -2019) are known",
        }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_unknown_version_is_told_with_its_number() {
        for version in (0..=15).filter(|version| *version != 1 && *version != 2) {
            // The high nibble is `minorVersionPTP` and does not decide.
            let octets = [0x00, 0x10 | version];
            for result in [decode(&octets), decode_snapped(&octets)] {
                let Err(DecodeError::Value { field: "versionPTP", offset: 1, value, .. }) = result else {
                    panic!("{result:?}")
                };
                assert_eq!(value, u64::from(version));
            }
        }
    }

    #[test]
    fn fewer_than_two_octets_have_no_version() {
        for length in 0..2 {
            let short = DecodeError::Short { field: "versionPTP", offset: 0, needed: 2, available: length };
            assert_eq!(decode(&[0x00, 0x02][..length]), Err(short));
        }
    }
}
