//! Everything that happened in time order, related events as one incident with its probable cause first.
//!
//! It is made from a report's document alone: its events, and the tenures that say who led before and after.

mod document;
mod filter;
mod incident;
mod text;

pub use document::{IncidentDocument, SCHEMA, TimelineDocument, schema, timeline};
pub use filter::{Filter, KINDS};
pub use incident::{WINDOW_S, cause, group};
pub use text::write;
