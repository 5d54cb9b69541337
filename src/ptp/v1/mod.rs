//! IEEE 1588-2002, a world of its own: no Announce, the election data ride in Sync.

mod message;

pub use message::{Body, DelayResp, FollowUp, Header, Message, PortUuid, SyncOrDelayReq};

use crate::bytes::DecodeError;

/// Decodes one message.
///
/// # Errors
/// Where the octets end inside the header or the fixed body.
pub(super) fn decode(octets: &[u8]) -> Result<Message, DecodeError> {
    message::decode(octets)
}
