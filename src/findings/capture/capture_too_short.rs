//! `capture-too-short`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::units::Nanos;

/// Below this most of what needs time was not looked at (chosen; the reference has 10 s for elections, 60 s for delay
/// and jitter).
const SHORT: Nanos = Nanos::from_seconds(10);

/// What needs how long.
const FLOORS: &str = "10 s show who leads, 60 s delay and jitter, 300 s whether group members are asked for, 10 minutes a leader that changes often or drifts";

/// The capture is too short for most of what is looked for.
pub(super) struct CaptureTooShort;

impl Rule for CaptureTooShort {
    fn id(&self) -> &'static str {
        "capture-too-short"
    }

    fn summary(&self) -> &'static str {
        "the capture is shorter than 10 s: that nothing else is found says little"
    }

    fn next(&self) -> &'static [&'static str] {
        &["capture for a minute, and for five where multicast is in question"]
    }

    fn sources(&self) -> &'static [&'static str] {
        &["the time each rule needs stands on its page; 10 s (chosen)"]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let length = analysis.watched_for(Nanos::from_seconds(1));
        if analysis.ptp_messages == 0 || length >= SHORT {
            return Outcome::Quiet;
        }
        let title = format!("the capture holds {} only", length.as_seconds_text());
        let finding =
            Finding::of(self, (Severity::Info, Strength::Shown), title, vec![Evidence::at(None, FLOORS)]);
        Outcome::Broken(vec![finding])
    }
}
