//! Observations: a control message together with where in the capture it stands and how it came. Nothing here
//! keeps state between frames but [`MirrorDuplicates`].

mod control;
mod fingerprint;
mod from_frame;
mod mirror;
mod observation;
mod place;
mod protocol;
mod watch;

pub use from_frame::from_frame;
pub use mirror::MirrorDuplicates;
pub use observation::{Observation, Trouble, What};
pub use place::{Path, Place, Transport, Way};
pub use protocol::Protocol;
pub use watch::{HOLE, Instant, Jump, Now, SetBack, Stamps, Watch, Watched};
