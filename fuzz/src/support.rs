//! Makers of octets, the tests' own.

#[path = "craft.rs"]
pub(crate) mod craft;
