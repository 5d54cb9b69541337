//! IEEE 1588-2002, a world of its own: no Announce, the election data ride in Sync.

mod flags;
mod management;
mod message;
mod names;
mod wire;

pub use flags::Flags;
pub use management::{
    CurrentDataSet, GlobalTimeDataSet, Management, ManagementData, ParentDataSet, PortDataSet, PortState,
    management_key_name,
};
pub use message::{Body, DelayResp, FollowUp, Header, Message, PortUuid, SyncOrDelayReq};
pub use names::{
    clock_identifier_name, clock_identifier_text, communication_technology_name, stratum_name, subdomain_text,
};

use crate::bytes::DecodeError;

/// Decodes one message.
///
/// # Errors
/// Where the octets end inside the header or the fixed body.
pub(super) fn decode(octets: &[u8]) -> Result<Message, DecodeError> {
    message::decode(octets)
}
