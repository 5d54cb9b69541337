//! Requests for delay, their answers, and the stamps in them.

mod delay_response_missing;

use super::Rule;

/// The rules of this group, in the order of the output.
pub(super) static RULES: &[&dyn Rule] = &[&delay_response_missing::DelayResponseMissing];
