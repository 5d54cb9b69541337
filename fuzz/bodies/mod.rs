//! What each fuzz target does with the octets it is given; each panics where a promise is broken.
//!
//! The same functions replay the committed corpus in `cargo test`, so the fuzzer and the tests cannot drift apart.

mod capture_files;
mod messages;
mod network_script;
mod networks;
mod reports;

pub use capture_files::capture_files;
pub use messages::messages;
pub use networks::networks;
pub use reports::reports;
pub use reports::whole;

/// The first octet, by which a target chooses, and the rest.
fn choice(data: &[u8]) -> Option<(u8, &[u8])> {
    data.split_first().map(|(first, rest)| (*first, rest))
}
