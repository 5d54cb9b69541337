//! `fail-back-flip`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::Domain;
use crate::domains::EndedBy;
use crate::domains::Tenure;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::finding::at;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;

/// A leader that had failed took the lead back at once.
pub(super) struct FailBackFlip;

impl Rule for FailBackFlip {
    fn id(&self) -> &'static str {
        "fail-back-flip"
    }

    fn summary(&self) -> &'static str {
        "a leader that had failed took the lead back as soon as it returned: two changes for one failure"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "PTP has no waiting time of its own: the better clock leads as soon as it is heard",
            "where that is not wanted, keep a failed leader off, or on a higher priority1, and bring it back in a quiet hour",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &["common practice, no source", "IEEE 1588-2008 9.3 (from memory)"]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let domains = analysis.domains.iter();
        Outcome::from_findings(domains.filter_map(|domain| self.finding(analysis, domain)).collect())
    }
}

impl FailBackFlip {
    /// The first such flip of a domain.
    fn finding(&self, analysis: &Analysis, domain: &Domain) -> Option<Finding> {
        let tenures: Vec<&Tenure> = domain.election.tenures().collect();
        let flip = tenures.windows(3).find_map(|three| {
            let [lost, between, back] = three else { return None };
            let failed = matches!(lost.ended_by, EndedBy::AnnounceTimeout | EndedBy::SyncStopped);
            let flips = lost.clock == back.clock && lost.clock != between.clock;
            (failed && flips && between.ended_by == EndedBy::BetterClock).then_some((lost, between, back))
        });
        let (lost, between, back) = flip?;
        let title = format!(
            "{}: {} took the lead back from {} at {}, as soon as it was there again",
            domain.key,
            back.clock,
            between.clock,
            at(analysis, back.from)
        );
        let until = lost.until.map(|until| at(analysis, until)).unwrap_or_default();
        let evidence = vec![
            Evidence::at(lost.until_place, format!("{} fell silent at {until}", lost.clock)),
            Evidence::at(Some(back.from_place), format!("it leads again, better by {}", back.won_on.name())),
        ];
        // The change itself is told by another rule; this is what to know of it.
        let finding = Finding::of(self, (Severity::Info, Strength::Shown), title, evidence);
        Some(finding.in_domain(domain.key).about_clock(analysis, back.clock))
    }
}
