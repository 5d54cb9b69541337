//! `master-rate-off`

use crate::analysis::Analysis;
use crate::clock::Path;
use crate::clock::Rate;
use crate::devices::Strength;
use crate::domains::ClockId;
use crate::domains::DomainKey;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;

/// How far off a clock's rate may be: ±0.01 % (IEEE 1588-2008 Annex J.3, from memory).
const ALLOWED_PPM: f64 = 100.0;

/// How far off the oscillator of a capturing machine is at the most (common practice, no source: ±50, doubled here).
const CAPTURE_PPM: f64 = 100.0;

/// The leader runs too fast or too slow.
pub(super) struct MasterRateOff;

impl Rule for MasterRateOff {
    fn id(&self) -> &'static str {
        "master-rate-off"
    }

    fn summary(&self) -> &'static str {
        "the leader's clock runs too fast or too slow"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "capture again with a machine whose clock is disciplined, to be sure whose rate is off",
            "look at the leader's reference and oscillator, and restart its PTP service if it has followed before",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "within 0.01 % of the right rate: IEEE 1588-2008 Annex J.3 (from memory)",
            "capturing machines within 100 ppm (common practice, no source)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let paths = analysis.clocks.paths();
        Outcome::from_findings(paths.filter_map(|(key, path)| self.finding(analysis, *key, path)).collect())
    }
}

impl MasterRateOff {
    fn finding(&self, analysis: &Analysis, key: DomainKey, path: &Path) -> Option<Finding> {
        let rate = path.rate.filter(|rate| beyond(*rate, ALLOWED_PPM))?;
        let leader = analysis.domains.get(&key)?.election.leader()?;
        let steady = steady_elsewhere(analysis, key, leader);
        // With no other clock to compare with, the capture's own may be what is off.
        if steady.is_none() && !beyond(rate, ALLOWED_PPM + CAPTURE_PPM) {
            return None;
        }
        let way = if rate.ppm > 0.0 { "slow" } else { "fast" };
        let ppm = rate.ppm.abs();
        let title = match steady {
            Some(_) => format!("{key}: the clock of {leader} is {way} by {ppm:.1} ppm"),
            None => format!(
                "{key}: {leader} is {way} against the capture's clock by {ppm:.1} ppm; one of the two is off"
            ),
        };
        let sigma = rate.sigma_ppm;
        let mut evidence = vec![Evidence::at(
            None,
            format!("the capture's clock gains {:.1} ppm on it (± {sigma:.2})", rate.ppm),
        )];
        if let Some((other, other_rate)) = steady {
            let text = format!(
                "and {:.1} ppm on the leader of {other}, which agrees with the capture's clock",
                other_rate.ppm
            );
            evidence.push(Evidence::at(None, text));
        }
        let severity = if steady.is_some() { Severity::Major } else { Severity::Info };
        let finding = Finding::of(self, (severity, Strength::Inferred), title, evidence);
        Some(finding.in_domain(key).about_clock(analysis, leader))
    }
}

fn beyond(rate: Rate, limit_ppm: f64) -> bool {
    rate.ppm.abs() > limit_ppm + 3.0 * rate.sigma_ppm
}

/// Another domain whose leader is another device and runs as the capture's clock does.
fn steady_elsewhere(analysis: &Analysis, key: DomainKey, leader: ClockId) -> Option<(DomainKey, Rate)> {
    let own = analysis.device_of(leader).map(|device| &device.key);
    analysis.clocks.paths().filter(|(other, _)| **other != key).find_map(|(other, path)| {
        let theirs = analysis.domains.get(other)?.election.leader()?;
        let apart = Some(&analysis.device_of(theirs)?.key) != own;
        path.rate.filter(|rate| apart && rate.ppm.abs() < ALLOWED_PPM / 2.0).map(|rate| (*other, rate))
    })
}
