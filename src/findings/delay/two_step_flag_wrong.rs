//! `two-step-flag-wrong`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::ClockPort;
use crate::domains::Domain;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;

/// Syncs before their flag is judged (reference: 10).
const SYNCS: u64 = 10;

/// Changes of the flag from which it is no change of a setting (chosen: once there and back, and again).
const CHANGES: u64 = 3;

/// The flag that says whether a Follow_Up comes does not tell the truth.
pub(super) struct TwoStepFlagWrong;

impl Rule for TwoStepFlagWrong {
    fn id(&self) -> &'static str {
        "two-step-flag-wrong"
    }

    fn summary(&self) -> &'static str {
        "Syncs say that no Follow_Up comes, and one does; or say now this and now that"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "update the clock or the bridge that sends them, or set it to one-step or two-step for good",
            "followers that go by the flag take the wrong time or none at all",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &["IEEE 1588-2008 13.3.2.6, 11.5.2.2 (from memory)", "10 Syncs; 3 changes of the flag (chosen)"]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let mut findings = Vec::new();
        for domain in analysis.domains.iter() {
            findings.extend(domain.ports.values().filter_map(|port| self.finding(analysis, domain, port)));
        }
        Outcome::from_findings(findings)
    }
}

impl TwoStepFlagWrong {
    fn finding(&self, analysis: &Analysis, domain: &Domain, port: &ClockPort) -> Option<Finding> {
        if port.twins.two().is_some() {
            return None;
        }
        let checks = port.samples.as_deref()?.checks();
        let (unflagged, changes) = (checks.unflagged_follow_up, checks.flag_changes);
        let (place, what, text) = if unflagged.times >= SYNCS {
            let text = format!(
                "{} Sync with twoStepFlag 0 were followed by a Follow_Up of their number",
                unflagged.times
            );
            (unflagged.first, "sends Follow_Ups to Syncs that say none comes", text)
        } else if changes.times >= CHANGES && checks.timed >= SYNCS {
            let text = format!("twoStepFlag changed {} times from one Sync to the next", changes.times);
            (changes.first, "sends Syncs with and without twoStepFlag in turn", text)
        } else {
            return None;
        };
        let title = format!("{}: {} {what}", domain.key, port.port);
        let severity = (Severity::Major, Strength::Shown);
        let finding = Finding::of(self, severity, title, vec![Evidence::at(place, text)]);
        Some(finding.in_domain(domain.key).about_clock(analysis, port.port.clock))
    }
}
