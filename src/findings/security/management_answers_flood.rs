//! `management-answers-flood`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::ClockPort;
use crate::domains::Domain;
use crate::domains::Kind;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::units::Nanos;

/// Clocks that answer by multicast from which it is a flood (chosen).
const CLOCKS: usize = 20;

/// Answers of all of them in a second, on average, from which it is one (chosen: as many as an AES67 leader sends Syncs).
const PER_SECOND: u64 = 8;

/// Time before an average is taken (chosen).
const WATCHED: Nanos = Nanos::from_seconds(10);

/// Many clocks answer management questions by multicast.
pub(super) struct ManagementAnswersFlood;

impl Rule for ManagementAnswersFlood {
    fn id(&self) -> &'static str {
        "management-answers-flood"
    }

    fn summary(&self) -> &'static str {
        "many clocks answer management questions by multicast, so that everybody hears all answers"
    }

    fn next(&self) -> &'static [&'static str] {
        &["ask less often, ask clocks one by one by unicast, or let only one machine ask"]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "described in a public issue of an open-source daemon (each answer by multicast makes its sender a source)",
            "20 clocks and 8 answers a second over 10 s (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let domains = analysis.domains.iter();
        Outcome::from_findings(domains.filter_map(|domain| self.finding(analysis, domain)).collect())
    }
}

impl ManagementAnswersFlood {
    fn finding(&self, analysis: &Analysis, domain: &Domain) -> Option<Finding> {
        let answering: Vec<&ClockPort> =
            domain.ports.values().filter(|port| port.orders.multicast_answers() > 0).collect();
        let answers: u64 = answering.iter().map(|port| port.orders.multicast_answers()).sum();
        let length = analysis.duration().filter(|length| *length >= WATCHED)?;
        let seconds = u64::try_from(length.0 / 1_000_000_000).ok()?.max(1);
        if answering.len() < CLOCKS || answers / seconds < PER_SECOND {
            return None;
        }
        let title = format!(
            "{}: {} clocks answer management questions by multicast, {} times a second together",
            domain.key,
            answering.len(),
            answers / seconds
        );
        let busiest = answering.iter().max_by_key(|port| port.orders.multicast_answers())?;
        let place = busiest.series(Kind::Management).and_then(crate::domains::Cadence::first);
        let text =
            format!("{} answers by multicast from {}", busiest.orders.multicast_answers(), busiest.port);
        let finding =
            Finding::of(self, (Severity::Minor, Strength::Shown), title, vec![Evidence::at(place, text)]);
        Some(finding.in_domain(domain.key))
    }
}
