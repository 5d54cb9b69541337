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
use crate::units::CaptureTime;

/// Jumps in the evidence (chosen).
const NAMED: usize = 8;

/// The capture's own clock was set.
pub(super) struct CaptureClockStep;

impl Rule for CaptureClockStep {
    fn id(&self) -> &'static str {
        "capture-clock-step"
    }

    fn summary(&self) -> &'static str {
        "the capturing machine's clock jumped, and all that was captured with it, or its interfaces have clocks that differ"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "capture with a clock that nothing sets meanwhile: stop the machine's time service, or let it settle before",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "common practice, no source",
            "two clocks that jump alike within 2 s; stamps that go back by more than 1/32 s and stay there; 10 times to and fro \
             (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let steps =
            analysis.clocks.paths().flat_map(|(key, path)| path.steps.iter().map(move |step| (key, step)));
        let own = steps.filter(|(_, step)| step.whose == Whose::Capture && !step.is_in_stamps);
        let mut told: Vec<(CaptureTime, Evidence)> = own
            .map(|(key, step)| {
                let size = step.size.nanos().map(|size| size.as_seconds_text()).unwrap_or_default();
                let text = format!("against the leader of {key} by {size} at {}", at(analysis, step.time));
                (step.time, Evidence::at(None, text))
            })
            .collect();
        told.extend(analysis.set_backs.iter().map(|set_back| {
            let text = format!("back by {} or little more", set_back.size().as_seconds_text());
            (set_back.to, Evidence::at(Some(set_back.place), text))
        }));
        told.sort_by_key(|(time, _)| *time);
        let first = told.first().map(|(time, _)| *time);
        let mut evidence: Vec<Evidence> =
            told.into_iter().take(NAMED).map(|(_, evidence)| evidence).collect();
        let title = match (first, analysis.clocks_apart()) {
            (Some(first), _) => format!("the capture's clock jumped at {}", at(analysis, first)),
            (None, Some(apart)) => format!(
                "stamps are of clocks that are {apart} apart: times of one cannot be held against times of the other"
            ),
            (None, None) => return Outcome::Quiet,
        };
        evidence.extend(analysis.clocks_disagree().map(|why| Evidence::at(None, why)));
        let finding = Finding::of(self, (Severity::Info, Strength::Inferred), title, evidence);
        Outcome::Broken(vec![finding])
    }
}
