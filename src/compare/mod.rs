//! What differs between two reports: of two captures, of two saved reports, or of one of each.
//!
//! Both sides are read from the JSON report, so captures and saved reports take one path. What only one side holds or
//! could have shown is not compared, and that is said.

mod change;
mod clocks;
mod devices;
mod document;
mod domains;
mod report;
mod shift;
mod streams;
mod text;

pub use change::{ChangeDocument, WeightName};
pub use document::{CompareDocument, SCHEMA, compare, schema};
pub use report::Report;
pub use shift::{JITTER_FACTOR, LEAST_FOR_JITTER, LEAST_FOR_SHIFT};
pub use text::write;
