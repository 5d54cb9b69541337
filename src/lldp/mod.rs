//! LLDP: what a neighbour says of itself (IEEE 802.1AB clauses 8 and 9, from memory but for what captures show).

mod message;

pub use message::{
    ChassisId, ETHERTYPE, ManagementAddress, Message, Note, OrganizationallySpecific, PortId, decode,
};
