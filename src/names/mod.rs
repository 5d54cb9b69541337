//! What devices call themselves, and which addresses are theirs: multicast DNS, LLDP, DHCP, ARP and neighbour
//! discovery, in the order in which a name is believed.
//!
//! Names are kept as they came and are untrusted: whoever shows one escapes it.

mod directory;
mod name;
mod neighbour;

pub use directory::Directory;
pub use name::{Name, NamedBy};
pub use neighbour::LinkNeighbour;
