//! RTP (RFC 3550): header, sequence numbers, interarrival jitter, and the payload headers of media.
//!
//! Numbers of RFC sections in this module are from memory.

mod gaps;
mod header;
mod jitter;
mod losses_over_time;
mod neighbours;
pub mod payload;
mod payload_type;
mod pending;
mod place;
mod sequence;
mod window;

pub use gaps::{Burst, Gap, Losses};
pub use header::{Extension, Header, decode, is_plausible};
pub use jitter::Jitter;
pub use losses_over_time::{LossCell, LossesOverTime};
pub use neighbours::Neighbours;
pub use payload_type::{Media, StaticPayloadType, static_payload_type};
pub use sequence::{Arrival, Numbered, Sequence, SequenceCounts};
