//! How well everybody is on the clock: the capture's clock against the leader, and each follower as far as its own
//! messages tell.
//!
//! Everything here is worked out at the end from the samples that a domain has gathered. What one capture point
//! cannot tell apart (offset and asymmetry, whose clock drifts) is said in the basis and not guessed.

mod clocks;
mod follower;
mod path;
mod peer;
mod stability;
mod steps;

pub use clocks::Clocks;
pub use follower::{Basis, FollowerTime, MANAGEMENT_LIMIT, OffBy, RATE_LIMIT_PPM, STAMP_LIMIT, times};
pub use path::{LeaderTime, Path, PathBasis, Rate};
pub use peer::Peer;
pub use stability::StabilityRow;
pub use steps::{ClockStep, SetBacks, Whose};
