//! IEEE 1588-2008 (2.0) and IEEE 1588-2019 (2.1), and IEEE 802.1AS messages, which use the same layout.

mod announce;
mod header;
pub mod management;
mod message;
pub mod registry;

pub use announce::{Announce, ClockQuality};
pub use header::{Flags, Header, MessageType};
pub use message::{Body, Message};

use crate::bytes::DecodeError;

/// Decodes one message.
///
/// # Errors
/// Where the octets end inside the header or the fixed body, or `messageLength` is too small or too large.
pub(super) fn decode(octets: &[u8]) -> Result<Message, DecodeError> {
    message::decode(octets)
}
