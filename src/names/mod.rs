//! What devices are called, and by whom.

mod name;

pub use name::{Name, NamedBy};
