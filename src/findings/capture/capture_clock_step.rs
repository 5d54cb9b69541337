//! `capture-clock-step`

use crate::analysis::Analysis;
use crate::clock::Whose;
use crate::devices::Strength;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::finding::at;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;

/// Jumps in the evidence (chosen).
const NAMED: usize = 8;

/// The capture's own clock was set.
pub(super) struct CaptureClockStep;

impl Rule for CaptureClockStep {
    fn id(&self) -> &'static str {
        "capture-clock-step"
    }

    fn summary(&self) -> &'static str {
        "the capturing machine's clock jumped: all that was captured jumps with it"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "capture with a clock that nothing sets meanwhile: stop the machine's time service, or let it settle before",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &["common practice, no source", "two clocks that jump alike within 2 s (chosen)"]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let steps =
            analysis.clocks.paths().flat_map(|(key, path)| path.steps.iter().map(move |step| (key, step)));
        let own: Vec<_> = steps.filter(|(_, step)| step.whose == Whose::Capture).collect();
        let Some((_, first)) = own.first() else { return Outcome::Quiet };
        let title = format!("the capture's clock jumped at {}", at(analysis, first.time));
        let evidence = own.iter().take(NAMED).map(|(key, step)| {
            let size = step.size.nanos().map(|size| size.as_seconds_text()).unwrap_or_default();
            Evidence::at(
                None,
                format!("against the leader of {key} by {size} at {}", at(analysis, step.time)),
            )
        });
        let finding = Finding::of(self, (Severity::Info, Strength::Inferred), title, evidence.collect());
        Outcome::Broken(vec![finding])
    }
}
