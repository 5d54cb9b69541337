//! IGMP: who asks for which IPv4 group (v1 RFC 1112 appendix I, v2 RFC 2236, v3 RFC 3376; from memory but for
//! what captures show).

mod message;

pub use crate::record_type::RecordType;
pub use message::{Body, GroupRecord, Message, Note, Query, QueryV3, decode, float_code};
