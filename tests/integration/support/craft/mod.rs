//! Crafts captures for the tests: message encoders written from the layout tables of the standards (never from the
//! decoder under test, so that one slip cannot hide in both), frames, capture files, a small model of a network of
//! clocks, and the demo house "Harbour Playhouse" that is played on it.
pub(crate) mod capture_file;
pub(crate) mod discovery;
mod encoder_vectors;
pub(crate) mod frame;
pub(crate) mod igmp;
pub(crate) mod octets;
pub(crate) mod playhouse;
pub(crate) mod ptp_v1;
pub(crate) mod ptp_v2;
pub(crate) mod random;
pub(crate) mod rtp;
pub(crate) mod simulation;
pub(crate) mod truth;
