//! `broadcast-or-unknown-load`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::units::Nanos;

/// Broadcasts a second that are no usual traffic (reference: 1000).
const A_SECOND: u64 = 1000;

/// Time from which a rate means something (chosen).
const LENGTH: Nanos = Nanos::from_seconds(2);

/// Broadcasts flood the network.
pub(super) struct BroadcastOrUnknownLoad;

impl Rule for BroadcastOrUnknownLoad {
    fn id(&self) -> &'static str {
        "broadcast-or-unknown-load"
    }

    fn summary(&self) -> &'static str {
        "more than 1000 broadcasts a second: every device has to take in each of them"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "look for a loop: the switches' spanning tree, and cables plugged in twice",
            "find the sender in the switches' address tables and take it off the network",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &["common practice, no source", "1000 a second on average, over 2 s or more (chosen)"]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let length = analysis.watched_for(Nanos::from_seconds(1));
        if length < LENGTH {
            return Outcome::Quiet;
        }
        let broadcasts = analysis.scope.broadcasts();
        let span = u128::try_from(length.0).unwrap_or(u128::MAX);
        let rate = u128::from(broadcasts) * 1_000_000_000 / span;
        if rate <= u128::from(A_SECOND) {
            return Outcome::Quiet;
        }
        let title = format!("{rate} broadcasts a second");
        let text = format!("{broadcasts} frames to ff:ff:ff:ff:ff:ff in {}", length.as_seconds_text());
        let evidence = vec![Evidence::at(None, text)];
        Outcome::Broken(vec![Finding::of(self, (Severity::Major, Strength::Shown), title, evidence)])
    }
}
