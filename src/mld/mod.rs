//! MLD: who asks for which IPv6 group, in ICMPv6 (v1 RFC 2710, v2 RFC 3810; from memory).

mod message;

pub use crate::membership::{Note, RecordType, float_code as interval_code};
pub use message::{AddressRecord, Body, Envelope, Message, Query, QueryV2, decode, response_code};
