//! How often messages are sent.

mod declared_interval_differs;

use super::Rule;

/// The rules of this group, in the order of the output.
pub(super) static RULES: &[&dyn Rule] = &[&declared_interval_differs::DeclaredIntervalDiffers];
