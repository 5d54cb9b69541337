//! What several test modules need: octets written from the formats' texts, never by the code under test.

pub(crate) mod capture_writer;
