//! Names that hosts announce: multicast DNS (RFC 6762) and service discovery (RFC 6763), from memory. The grammar
//! of DNS messages is the crate simple-dns's.

mod message;

pub use message::{Error, MDNS_PORT, MOST_RECORDS, Message, Record, RecordData, decode};
