//! `follower-hunting`

use crate::analysis::Analysis;
use crate::clock::MANAGEMENT_LIMIT;
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
use crate::statistics::order_statistics;
use crate::timing::ScaledNanos;
use crate::units::Nanos;

/// Answers before they are judged (chosen), and the time they cover (reference: 60 s).
const ANSWERS: usize = 20;
const SPAN: Nanos = Nanos::from_seconds(60);

/// Share of answers, in per cent, after which it lies on the other side of its middle (chosen): a clock that is still on
/// its way to the leader passes its middle once.
const CROSSINGS_PERCENT: usize = 10;

/// A follower says of itself that it swings about its leader.
pub(super) struct FollowerHunting;

impl Rule for FollowerHunting {
    fn id(&self) -> &'static str {
        "follower-hunting"
    }

    fn summary(&self) -> &'static str {
        "a follower's own management answers say that it swings about its leader"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "look for delay variation between the leader and this device: a busy link, queues without priority",
            "ask its maker whether its servo can be set slower",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "offsetFromMaster: IEEE 1588-2008 15.5.3.4 (from memory)",
            "20 answers over 60 s; 90 of 100 spread over more than a sample at 48 kHz, 20.833 us (chosen)",
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

impl FollowerHunting {
    fn finding(&self, analysis: &Analysis, domain: &Domain, port: &ClockPort) -> Option<Finding> {
        let points = port.claims.offsets.as_deref()?.points();
        let span = points.last()?.time_ns.saturating_sub(points.first()?.time_ns);
        // Where it is off in the middle as well, that is told already.
        let device = analysis.device_of(port.port.clock);
        let is_adrift = device.is_some_and(|device| device.state == State::Adrift);
        if is_adrift || points.len() < ANSWERS || span < SPAN.0 {
            return None;
        }
        let values: Vec<i128> = points.iter().map(|point| point.value_scaled_ns).collect();
        let offsets = order_statistics(&values)?;
        let (low, high) = (ScaledNanos(offsets.p5), ScaledNanos(offsets.p95));
        let middle = low.plus(high).half().0;
        let sides = values.windows(2).filter(|pair| {
            let side = |value: Option<&i128>| value.is_some_and(|value| *value > middle);
            side(pair.first()) != side(pair.last())
        });
        let swings = sides.count().saturating_mul(100) >= values.len().saturating_mul(CROSSINGS_PERCENT);
        if high.minus(low) <= ScaledNanos::from(MANAGEMENT_LIMIT) || !swings {
            return None;
        }
        let text = format!(
            "{} management answers: its offset is between {} and {} in 90 % of them",
            values.len(),
            difference(low),
            difference(high)
        );
        let title = format!("{}: {} swings about its leader by its own word", domain.key, port.port);
        let place = port.claims.current.map(|(_, place)| place);
        let severity = (Severity::Major, Strength::Shown);
        let finding = Finding::of(self, severity, title, vec![Evidence::at(place, text)]);
        Some(finding.in_domain(domain.key).about_clock(analysis, port.port.clock))
    }
}
