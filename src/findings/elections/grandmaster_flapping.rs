//! `grandmaster-flapping`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::Tenure;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::finding::at;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;

/// Changes of leader from which it is flapping (reference: three, or two full changes).
const CHANGES: usize = 3;

/// The leader changes again and again.
pub(super) struct GrandmasterFlapping;

impl Rule for GrandmasterFlapping {
    fn id(&self) -> &'static str {
        "grandmaster-flapping"
    }

    fn summary(&self) -> &'static str {
        "the leader changes again and again"
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let mut findings = Vec::new();
        for domain in analysis.domains.iter() {
            let tenures: Vec<&Tenure> = domain.election.tenures().collect();
            let changes = tenures.len().saturating_sub(1);
            if changes < CHANGES {
                continue;
            }
            let evidence = domain.election.hand_overs().map(|(before, after)| {
                let text = format!(
                    "at {}: {} after {} ({})",
                    at(analysis, after.from),
                    after.clock,
                    before.clock,
                    before.ended_by.name()
                );
                Evidence { place: Some(after.from_place), text }
            });
            findings.push(Finding {
                id: self.id(),
                severity: Severity::Critical,
                strength: Strength::Shown,
                domain: Some(domain.key),
                device: None,
                stream: None,
                follows_from: None,
                affected: Vec::new(),
                title: format!("{}: the leader changed {changes} times", domain.key),
                evidence: evidence.collect(),
                next: vec![
                    "announce-timeout: look for loss or a restart between the leader and this point",
                    "quality-change: look at the leader's reference (antenna, feed)",
                    "better-clock: give the intended leader the lowest priority1",
                ],
                sources: vec!["IEEE 1588-2008 9.3.2.5, 9.2.6.11 (from memory)", "3 or more changes (chosen)"],
            });
        }
        Outcome::from_findings(findings)
    }
}
