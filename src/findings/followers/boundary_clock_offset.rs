//! `boundary-clock-offset`

use crate::analysis::Analysis;
use crate::clock::Basis;
use crate::clock::FollowerTime;
use crate::devices::State;
use crate::devices::Strength;
use crate::domains::ClockPort;
use crate::domains::Domain;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::findings::words::difference;
use crate::timing::ScaledNanos;
use crate::units::Nanos;

/// Syncs on either side before they are compared (reference: 100).
const SYNCS: usize = 100;

/// Beyond this, and beyond what the stamps can be wrong by, the two sides differ (reference: 1 us; 20 us here, as a
/// mirror may hold the two sides' frames for different times; chosen).
const LIMIT: Nanos = Nanos(20_000);

/// A boundary clock hands on another time than it gets.
pub(super) struct BoundaryClockOffset;

impl Rule for BoundaryClockOffset {
    fn id(&self) -> &'static str {
        "boundary-clock-offset"
    }

    fn summary(&self) -> &'static str {
        "the time that a boundary clock sends on differs from its leader's by more than the stamps can be wrong"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "look at that clock's own state page: is it locked, and on which port?",
            "test its uplink both ways for a difference in delay",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &["common practice, no source", "100 Syncs; beyond 20 us and the uncertainty of the stamps (chosen)"]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let mut findings = Vec::new();
        for domain in analysis.domains.iter() {
            let relays = domain.ports.values().filter(|port| {
                port.offer
                    .is_some_and(|offer| offer.grandmaster != port.port.clock && offer.steps_removed > 0)
            });
            for port in relays {
                let times = analysis.clocks.times_of(port.port.clock, domain.key);
                let downstream = times.iter().find(|time| time.basis == Basis::DownstreamSync);
                let found = downstream.and_then(|time| self.finding(analysis, domain, port, time));
                findings.extend(found);
            }
        }
        findings.dedup_by(|one, other| one.device.is_some() && one.device == other.device);
        Outcome::from_findings(findings)
    }
}

impl BoundaryClockOffset {
    fn finding(
        &self,
        analysis: &Analysis,
        domain: &Domain,
        port: &ClockPort,
        time: &FollowerTime,
    ) -> Option<Finding> {
        // Where it is off by far, that is told already.
        let device = analysis.device_of(port.port.clock);
        if device.is_some_and(|device| device.state == State::Adrift) {
            return None;
        }
        let off = time.beyond(LIMIT).filter(|_| time.offset.count >= SYNCS)?;
        let ahead = if off.is_behind { "behind" } else { "ahead of" };
        let text = format!(
            "{} Syncs on either side: {} {ahead} the leader's in the middle, give or take {}",
            time.offset.count,
            difference(ScaledNanos(time.offset.median).abs()),
            difference(ScaledNanos::from(time.uncertainty))
        );
        let title = format!(
            "{}: {} sends on a time that is at least {} {ahead} its leader's",
            domain.key,
            port.port.clock,
            difference(off.at_least)
        );
        let evidence = vec![Evidence::at(Some(port.first), text)];
        let finding = Finding::of(self, (Severity::Major, Strength::Inferred), title, evidence);
        Some(finding.in_domain(domain.key).about_clock(analysis, port.port.clock))
    }
}
