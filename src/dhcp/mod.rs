//! DHCP: what a host calls itself and which address it gets (RFC 2131, RFC 2132, from memory).

mod message;

pub use message::{CLIENT_PORT, Message, MessageType, SERVER_PORT, decode};
