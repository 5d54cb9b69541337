//! All integration tests in one binary; each module says what belongs in it.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::panic,
    clippy::as_conversions
)]
#![allow(clippy::print_stdout)]
#![allow(missing_docs)]

mod captured_frames;
mod frames;
mod layering;
mod observations;

mod capture_damage;
mod capture_files;
mod capture_joining;

/// The demo captures and what is true of them.
mod demo_captures;
mod support;

mod ptp_v1_management;
mod ptp_v1_vectors;
mod ptp_v2_management;
mod ptp_v2_vectors;
mod scapy_agreement;

mod announcements;
mod group_membership;
mod neighbours;
mod rates;
mod rtp_vectors;
