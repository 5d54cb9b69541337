//! Profiles: sets of parameters that standards lay down for a use of PTP, and how well a domain agrees with each.
//!
//! A profile is inferred from what a domain shows, never known: most of what one prescribes is not on the wire.
//! What a capture does not show is no deviation.

mod catalogue;
mod facts;
mod fit;
mod judge;
mod names;
mod row;
mod text;

pub use catalogue::PROFILES;
pub use fit::{Deviation, ProfileFit, score, score_against};
pub use names::{expected, nearest};
pub use row::{Confidence, Field, How, Interval, Profile, Row, Want};
