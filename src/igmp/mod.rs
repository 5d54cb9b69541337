//! IGMP: who asks for which IPv4 group (v1 RFC 1112 appendix I, v2 RFC 2236, v3 RFC 3376; from memory but for
//! what captures show).

mod message;

pub use crate::membership::{Note, RecordType, float_code};
pub use message::{Body, GroupRecord, Message, Query, QueryV3, decode};
