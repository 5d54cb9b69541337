//! SAP: announcements of sessions (RFC 2974, from memory).

mod message;

pub use message::{Message, Note, SAP_PORT, decode};
