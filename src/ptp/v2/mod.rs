//! IEEE 1588-2008 (2.0) and IEEE 1588-2019 (2.1), and IEEE 802.1AS messages, which use the same layout.

mod announce;
mod body;
mod fields;
mod header;
pub mod management;
mod message;
pub mod registry;
pub mod tlv;

pub use announce::{Announce, ClockQuality};
pub use body::{Action, Body};
pub use header::{Flags, Header, MessageType};
pub use message::Message;
pub use tlv::{Tlv, tlv_name};

pub(super) use message::decode;
