//! `correction-field-wrong`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::ClockPort;
use crate::domains::Domain;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::findings::words::difference;
use crate::findings::words::percent;
use crate::timing::ScaledNanos;

/// Syncs before their corrections are judged (reference: 20).
const SYNCS: u64 = 20;

/// Below this a negative correction may be set for a known asymmetry (chosen).
const ASYMMETRY: ScaledNanos = ScaledNanos(10_000 << 16);

/// No frame stays longer in a switch that keeps time (reference: 10 ms a hop, chosen).
const LONGEST: ScaledNanos = ScaledNanos(10_000_000 << 16);

/// Share of negative corrections in per cent that is no accident (chosen).
const NEGATIVE_PERCENT: u64 = 10;

/// Corrections that no transparent clock can mean.
pub(super) struct CorrectionFieldWrong;

impl Rule for CorrectionFieldWrong {
    fn id(&self) -> &'static str {
        "correction-field-wrong"
    }

    fn summary(&self) -> &'static str {
        "corrections of Sync are negative, beyond all residence times, or 0 behind a gPTP bridge"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "find the transparent clock or bridge on the way and update it; bypass it for a test",
            "capture before and behind it: the difference of the corrections is the time it says the frames stayed",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "correctionField: IEEE 1588-2008 13.3.2.7, 11.5; a gPTP relay adds residence and link delay: IEEE 802.1AS 11.2.14 (from memory)",
            "20 Syncs; below -10 us, above 10 ms (chosen)",
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

impl CorrectionFieldWrong {
    fn finding(&self, analysis: &Analysis, domain: &Domain, port: &ClockPort) -> Option<Finding> {
        let checks = port.samples.as_deref()?.checks();
        let (least, most) = checks.least_correction.zip(checks.most_correction)?;
        if checks.timed < SYNCS {
            return None;
        }
        let negative = percent(checks.negative_corrections, checks.timed);
        let (what, place, text) = if least.0 < ScaledNanos::ZERO.minus(ASYMMETRY)
            && negative >= NEGATIVE_PERCENT
        {
            let text = format!(
                "{} of {} Sync carry a negative correction, the least {}",
                checks.negative_corrections,
                checks.timed,
                difference(least.0)
            );
            ("negative", least.1, text)
        } else if most.0 > LONGEST {
            ("too large", most.1, format!("a Sync with its Follow_Up carries {}", difference(most.0)))
        } else if least.0 == ScaledNanos::ZERO && most.0 == ScaledNanos::ZERO && relays_in_gptp(domain, port)
        {
            let text = format!(
                "all {} Sync carry 0, and its Announces say that it passes another's time on",
                checks.timed
            );
            ("always 0 behind a bridge", port.first, text)
        } else {
            return None;
        };
        let title = format!("{}: the corrections in Syncs of {} are {what}", domain.key, port.port);
        let severity = (Severity::Major, Strength::Shown);
        let finding = Finding::of(self, severity, title, vec![Evidence::at(Some(place), text)]);
        Some(finding.in_domain(domain.key).about_clock(analysis, port.port.clock))
    }
}

/// Whether a gPTP port passes on the time of a clock that is not its own.
fn relays_in_gptp(domain: &Domain, port: &ClockPort) -> bool {
    domain.key.is_gptp() && port.offer.is_some_and(|offer| offer.steps_removed > 0)
}
