//! `several-domains-in-use`

use std::collections::BTreeSet;

use crate::analysis::Analysis;
use crate::devices::State;
use crate::devices::Strength;
use crate::domains::Domain;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;

/// More than one domain is led and followed.
pub(super) struct SeveralDomainsInUse;

impl Rule for SeveralDomainsInUse {
    fn id(&self) -> &'static str {
        "several-domains-in-use"
    }

    fn summary(&self) -> &'static str {
        "more than one domain of one PTP version is led and followed"
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let followed: BTreeSet<_> = analysis
            .devices
            .iter()
            .filter(|device| device.state == State::Following)
            .filter_map(|device| device.in_domain)
            .collect();
        let used: Vec<&Domain> = analysis
            .domains
            .iter()
            .filter(|domain| !domain.key.is_v1() && domain.election.leader().is_some())
            .filter(|domain| followed.contains(&domain.key))
            .collect();
        let leaders: BTreeSet<_> = used.iter().filter_map(|domain| domain.election.leader()).collect();
        if used.len() < 2 {
            return Outcome::Quiet;
        }
        let names: Vec<String> = used.iter().map(|domain| domain.key.to_string()).collect();
        let (severity, tail) = if leaders.len() == 1 {
            (Severity::Info, "one clock leads them all")
        } else {
            (Severity::Minor, "different clocks lead them")
        };
        let evidence = used.iter().map(|domain| Evidence {
            place: Some(domain.first),
            text: format!(
                "{} is led by {}",
                domain.key,
                domain.election.leader().map(|leader| leader.to_string()).unwrap_or_default()
            ),
        });
        Outcome::Broken(vec![Finding {
            id: self.id(),
            severity,
            strength: Strength::Shown,
            domain: None,
            device: None,
            stream: None,
            follows_from: None,
            affected: Vec::new(),
            title: format!("{} domains are in use ({}); {tail}", used.len(), names.join(", ")),
            evidence: evidence.collect(),
            next: vec![
                "if it is intended, note which device belongs to which, and that no stream crosses",
                "if not, bring all devices into one domain, or join the domains by one boundary clock",
            ],
            sources: vec!["IEEE 1588-2008 7.1 (from memory)", "common practice, no source"],
        }])
    }
}
