//! `zero-or-odd-origin`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::ClockPort;
use crate::domains::Domain;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;

/// Odd stamps from which they are no accident (reference: 3).
const STAMPS: u64 = 3;

/// The stamps that followers set their clocks by are no time.
pub(super) struct ZeroOrOddOrigin;

impl Rule for ZeroOrOddOrigin {
    fn id(&self) -> &'static str {
        "zero-or-odd-origin"
    }

    fn summary(&self) -> &'static str {
        "the time in Follow_Ups, or in one-step Syncs, is 0, stands still, or is no time"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "restart the clock that sends them and look in its log for transmit time stamps that did not come",
            "until it is mended, let another clock lead",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "preciseOriginTimestamp is the time of sending: IEEE 1588-2008 9.5.10, 11.4.3; nanoseconds are below 10^9: 5.3.3 (from memory)",
            "0 is allowed in two-step Syncs, requests and Announces, which are not looked at here",
            "3 such stamps (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let mut findings = Vec::new();
        for domain in analysis.domains.iter() {
            findings.extend(domain.ports.values().filter_map(|port| self.finding(analysis, domain, port)));
        }
        Outcome::from_findings(findings)
    }
}

const STANDS_STILL: &str = "stands still";

impl ZeroOrOddOrigin {
    fn finding(&self, analysis: &Analysis, domain: &Domain, port: &ClockPort) -> Option<Finding> {
        let checks = port.samples.as_deref()?.checks();
        let sorts = [
            (checks.zero_origin, "is 0"),
            (checks.same_origin, STANDS_STILL),
            (checks.odd_origin, "has 10^9 nanoseconds or more"),
        ];
        // Of two legs of one device each Sync may carry the same time, with numbers of its own.
        let may_be_legs = |what: &str| what == STANDS_STILL && port.syncs_by_several_ways;
        let odd: Vec<_> =
            sorts.into_iter().filter(|(met, what)| met.times >= STAMPS && !may_be_legs(what)).collect();
        let (_, first) = odd.first()?;
        let evidence = odd.iter().map(|(met, what)| {
            Evidence::at(met.first, format!("the time of {} of {} Sync {what}", met.times, checks.timed))
        });
        let title = format!("{}: the time that {} sends {first}", domain.key, port.port);
        let finding = Finding::of(self, (Severity::Critical, Strength::Shown), title, evidence.collect());
        Some(finding.in_domain(domain.key).about_clock(analysis, port.port.clock))
    }
}
