//! From records to one value that holds everything known of a capture.
//!
//! [`Tally`] takes records and joins: `left.join(right)` equals one pass over both. [`Reading`] folds tallies in
//! capture order, so the joint where they were cut does not show. [`Analysis`] is what is left at the end.

mod crew;
mod digest;
mod media;
mod outcome;
mod reading;
mod receivers;
mod relay;
mod tally;
mod threads;
mod veil;

pub use outcome::{Analysis, CaptureReport, LEAST_SETTING, Remains};
pub use reading::{Bound, Range, Reading, Settings};
pub use tally::{CutPtp, FileTally, Problem, Tally};
pub use threads::{Threads, read};
