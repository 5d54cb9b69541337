//! All integration tests in one binary; each module says what belongs in it.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::panic,
    clippy::as_conversions
)]
#![allow(missing_docs)]

mod ptp_v2_vectors;
mod support;
