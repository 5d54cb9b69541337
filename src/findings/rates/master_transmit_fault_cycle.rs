//! `master-transmit-fault-cycle`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::ClockPort;
use crate::domains::Domain;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::finding::at;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::findings::transmit_cycle;
use crate::findings::transmit_cycle::Cycle;
use crate::findings::words::duration;

/// Silences shown (chosen).
const SHOWN: usize = 4;

/// A leader starts, sends Syncs without Follow_Up, falls silent and starts again.
pub(super) struct MasterTransmitFaultCycle;

impl Rule for MasterTransmitFaultCycle {
    fn id(&self) -> &'static str {
        "master-transmit-fault-cycle"
    }

    fn summary(&self) -> &'static str {
        "a leader starts, sends Syncs without their time, stops for the same while and starts again"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "look in its log for transmit time stamps that did not come; update its driver and firmware",
            "try one-step on or off, PTP 2.0 instead of 2.1 (minorVersionPTP 0), or another port",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "public threads of PTP daemons: a fault waits for 16 s in one of them",
            "3 silences of 4 s or more, alike within 30 %; half of the Syncs without Follow_Up (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let mut findings = Vec::new();
        for domain in analysis.domains.iter() {
            for port in domain.ports.values() {
                if let Some(cycle) = transmit_cycle::of(port) {
                    findings.push(self.finding(analysis, domain, port, &cycle));
                }
            }
        }
        Outcome::from_findings(findings)
    }
}

impl MasterTransmitFaultCycle {
    fn finding(&self, analysis: &Analysis, domain: &Domain, port: &ClockPort, cycle: &Cycle) -> Finding {
        let title = format!(
            "{}: {} starts, fails and waits about {} each time",
            domain.key,
            port.port,
            duration(cycle.wait)
        );
        let silences = cycle.silences.iter().take(SHOWN).map(|silence| {
            let from = silence.before.time.map(|time| at(analysis, time)).unwrap_or_default();
            Evidence::at(
                Some(silence.before),
                format!("no Announce of it for {} from {from}", duration(silence.length)),
            )
        });
        let mut evidence: Vec<Evidence> = silences.collect();
        evidence.push(Evidence::at(
            Some(port.last),
            format!("{} of {} Sync had no Follow_Up", cycle.without, cycle.syncs),
        ));
        let finding = Finding::of(self, (Severity::Critical, Strength::Inferred), title, evidence);
        finding.in_domain(domain.key).about_clock(analysis, port.port.clock)
    }
}
