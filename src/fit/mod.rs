//! Whether what is planned fits on the link that was captured.
//!
//! Loads are of the wire and all frames of the capture count together, whichever way they went: that is more than either
//! direction of the link carries, so an answer of yes holds.

mod growth;
mod plan;
mod verdict;

pub use growth::Growth;
pub use plan::{Direction, KeepFree, Planned};
pub use verdict::{Answer, Fit, LEAST_LENGTH, Now};
