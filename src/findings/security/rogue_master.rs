//! `rogue-master`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::DecidedBy;
use crate::domains::Domain;
use crate::domains::EndedBy;
use crate::domains::Kind;
use crate::domains::Tenure;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::finding::at;
use crate::findings::leading::v2_data;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::units::Nanos;

/// How long the network must have been led before somebody new, so that a start-up is not taken for an intrusion:
/// receipt timeout and election, in announce intervals (reference: 3 + 4).
const SETTLED: i64 = 7;

/// A clock never seen before took the lead by its priority.
pub(super) struct RogueMaster;

impl Rule for RogueMaster {
    fn id(&self) -> &'static str {
        "rogue-master"
    }

    fn summary(&self) -> &'static str {
        "a clock that had not been there before took the lead by its priority"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "find out whose clock it is, by its address in the switches' tables",
            "if it is not meant to lead, unplug it or shut its port, then let computers and media devices only follow",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "RFC 7384 section 3.2 (from memory)",
            "who may lead is not in a capture: major where its clockClass is worse, else context (chosen)",
            "the lower clockClass is the better clock: IEEE 1588-2008 7.6.2.4 table 5 (from memory)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let mut findings = Vec::new();
        for domain in analysis.domains.iter().filter(|domain| !domain.key.is_v1()) {
            let election = &domain.election;
            findings.extend(election.hand_overs().enumerate().filter_map(|(index, (before, after))| {
                let led_earlier =
                    election.tenures().take(index + 1).any(|earlier| earlier.clock == after.clock);
                (!led_earlier).then(|| self.finding(analysis, domain, before, after)).flatten()
            }));
        }
        Outcome::from_findings(findings)
    }
}

impl RogueMaster {
    fn finding(
        &self,
        analysis: &Analysis,
        domain: &Domain,
        before: &Tenure,
        after: &Tenure,
    ) -> Option<Finding> {
        let by_priority = before.ended_by == EndedBy::BetterClock && after.won_on == DecidedBy::Priority1;
        let interval = domain.ports.get(&before.candidate.sender)?.series(Kind::Announce)?.pace()?;
        let settled: Nanos = interval.saturating_mul(SETTLED);
        // New is who had sent nothing at all in this domain while another led for long enough.
        let first = domain.ports_of(after.clock).map(|port| port.first).min_by_key(|place| place.time)?;
        if !by_priority || first.time? < before.from.plus(settled) {
            return None;
        }
        let title = format!(
            "{}: {} was never seen before {} and took the lead from {} by its priority1",
            domain.key,
            after.clock,
            at(analysis, first.time?),
            before.clock
        );
        let mut evidence = vec![
            Evidence::at(Some(first), format!("first message of {}", after.clock)),
            Evidence::at(Some(after.from_place), format!("it leads from {}", at(analysis, after.from))),
        ];
        // Whether it was meant to lead is not in a capture. Who plans a new leader takes one that is as good; a worse
        // clock that wins by its priority alone harms the time of everybody.
        let (former, newcomer) =
            (v2_data(&before.latest)?.clock_class, v2_data(&after.candidate)?.clock_class);
        let severity = if newcomer > former {
            evidence.push(Evidence::at(
                Some(after.from_place),
                format!("its clockClass is {newcomer}; that of {} was {former}", before.clock),
            ));
            Severity::Major
        } else {
            Severity::Info
        };
        let finding = Finding::of(self, (severity, Strength::Inferred), title, evidence);
        Some(finding.in_domain(domain.key).about_clock(analysis, after.clock))
    }
}
