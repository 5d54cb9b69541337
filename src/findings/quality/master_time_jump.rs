//! `master-time-jump`

use crate::analysis::Analysis;
use crate::clock::ClockStep;
use crate::clock::Path;
use crate::clock::Whose;
use crate::devices::Strength;
use crate::domains::DomainKey;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::finding::at;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::findings::words::times;
use crate::units::Nanos;

/// Jumps from which media is hurt (reference: 1 ms, chosen).
const LEAST: Nanos = Nanos(1_000_000);

/// The leader's time jumped.
pub(super) struct MasterTimeJump;

impl Rule for MasterTimeJump {
    fn id(&self) -> &'static str {
        "master-time-jump"
    }

    fn summary(&self) -> &'static str {
        "the leader's time jumped"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "read the leader's log at that instant: reference found again, time set by hand, restart",
            "followers that may not step take very long to get there: restart their PTP service if they stay off",
            "whole seconds point to UTC or leap seconds, 37 s to TAI given as UTC",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "common practice, no source",
            "1 ms, while the clock of another domain, or a media clock, did not jump (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let mut findings = Vec::new();
        let mut unclear = 0_u64;
        for (key, path) in analysis.clocks.paths() {
            let ports = analysis.domains.get(key).map(|domain| &domain.ports);
            let leader = ports.and_then(|ports| ports.get(&path.port));
            let two_captures = leader.is_some_and(|port| port.replays.are_of_two_captures());
            for step in &path.steps {
                let Some(size) = step.size.nanos().filter(|size| size.0.saturating_abs() >= LEAST.0) else {
                    continue;
                };
                match step.whose {
                    Whose::Leader if !two_captures && !analysis.may_have_been_set_by(size) => {
                        findings.push(self.finding(analysis, *key, path, (step, size)));
                    }
                    Whose::Leader | Whose::CannotTell => unclear += 1,
                    Whose::Capture => {}
                }
            }
        }
        if findings.is_empty() && unclear > 0 {
            return Outcome::CannotTell(format!(
                "the leader's time jumped {} against the capture's clock, or that one did: nothing in view tells them apart",
                times(unclear)
            ));
        }
        Outcome::from_findings(findings)
    }
}

impl MasterTimeJump {
    fn finding(
        &self,
        analysis: &Analysis,
        key: DomainKey,
        path: &Path,
        (step, size): (&ClockStep, Nanos),
    ) -> Finding {
        // "Capture less leader" falls where the leader's time goes ahead.
        let way = if size.0 < 0 { "ahead" } else { "back" };
        let by = Nanos(size.0.saturating_abs()).as_seconds_text();
        let title =
            format!("{key}: the time of {} jumped {way} by {by} at {}", path.port, at(analysis, step.time));
        let text = format!(
            "from one Sync to the next at {} its time went {way} by {by}; another clock in view went on",
            at(analysis, step.time)
        );
        let finding = Finding::of(
            self,
            (Severity::Critical, Strength::Inferred),
            title,
            vec![Evidence::at(None, text)],
        );
        finding.in_domain(key).about_clock(analysis, path.port.clock)
    }
}
