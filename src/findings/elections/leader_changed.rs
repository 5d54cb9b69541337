//! `leader-changed`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::Tenure;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::finding::at;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;

/// Another clock took over the lead.
pub(super) struct LeaderChanged;

impl Rule for LeaderChanged {
    fn id(&self) -> &'static str {
        "leader-changed"
    }

    fn summary(&self) -> &'static str {
        "another clock took over the lead during the capture"
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let mut findings = Vec::new();
        for domain in analysis.domains.iter() {
            let tenures: Vec<&Tenure> = domain.election.tenures().collect();
            let [first, .., last] = tenures.as_slice() else { continue };
            let evidence = domain.election.hand_overs().map(|(before, after)| {
                let ended = before.until.map(|until| at(analysis, until)).unwrap_or_default();
                let text = format!(
                    "{} led until {ended} ({}); {} leads from {}",
                    before.clock,
                    before.ended_by.name(),
                    after.clock,
                    at(analysis, after.from)
                );
                Evidence { place: Some(after.from_place), text }
            });
            findings.push(Finding {
                id: self.id(),
                severity: Severity::Minor,
                strength: Strength::Shown,
                domain: Some(domain.key),
                device: None,
                stream: None,
                follows_from: None,
                affected: Vec::new(),
                title: if first.clock == last.clock {
                    format!("{}: {} lost the lead and got it back", domain.key, first.clock)
                } else {
                    format!("{}: the lead passed from {} to {}", domain.key, first.clock, last.clock)
                },
                evidence: evidence.collect(),
                next: vec![
                    "check whether the change was meant; if not, find out why the first leader stopped or got worse",
                    "check that every follower is answered by the new leader (see the devices)",
                ],
                sources: vec!["IEEE 1588-2008 9.3 (from memory)"],
            });
        }
        Outcome::from_findings(findings)
    }
}
