//! How devices follow.

mod device_adrift;

use super::Rule;

/// The rules of this group, in the order of the output.
pub(super) static RULES: &[&dyn Rule] = &[&device_adrift::DeviceAdrift];
