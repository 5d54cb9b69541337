//! `mirror-duplicates`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::findings::words::percent;

/// Copies, in per cent of the messages, that are worth a word (reference: 1 %).
const LEAST_PER_CENT: u64 = 1;

/// A mirror captured frames twice.
pub(super) struct MirrorDuplicates;

impl Rule for MirrorDuplicates {
    fn id(&self) -> &'static str {
        "mirror-duplicates"
    }

    fn summary(&self) -> &'static str {
        "messages were captured twice within a millisecond: a mirror shows frames as they come in and go out"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "mirror one port in both directions, or a VLAN in one: loads and stream rates count each frame twice now",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &["common practice, no source", "1 % of the PTP messages, within 1 ms (chosen)"]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let copies = analysis.mirror_copies;
        let share = percent(copies, analysis.ptp_messages.saturating_add(copies));
        if share < LEAST_PER_CENT {
            return Outcome::Quiet;
        }
        let title = format!("{copies} PTP messages were captured twice");
        let text = format!("{share} % of all; the copies were left out, save from the loads and streams");
        let finding =
            Finding::of(self, (Severity::Info, Strength::Shown), title, vec![Evidence::at(None, text)]);
        Outcome::Broken(vec![finding])
    }
}
