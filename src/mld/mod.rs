//! MLD: who asks for which IPv6 group, in ICMPv6 (v1 RFC 2710, v2 RFC 3810; from memory).

mod message;

pub use crate::record_type::RecordType;
pub use message::{
    AddressRecord, Body, Envelope, Message, Note, Query, QueryV2, decode, interval_code, response_code,
};
