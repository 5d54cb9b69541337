//! `declared-interval-differs`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::Cadence;
use crate::domains::ClockPort;
use crate::domains::Domain;
use crate::domains::Kind;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::units::Nanos;

/// Messages before a pace is judged (reference: 20).
const MESSAGES: u64 = 20;

/// Time before a pace is judged (reference: 10 s).
const WATCHED: Nanos = Nanos::from_seconds(10);

/// A series of which a fourth as many messages are missing as were captured has no pace to judge (chosen).
const LOSS: u64 = 4;

/// A sender keeps another interval than it declares.
pub(super) struct DeclaredIntervalDiffers;

impl Rule for DeclaredIntervalDiffers {
    fn id(&self) -> &'static str {
        "declared-interval-differs"
    }

    fn summary(&self) -> &'static str {
        "a clock sends Announce or Sync at another interval than it declares"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "compare the interval that is set on the sender with that of its followers, and set one for all",
            "followers that time out sooner than the sender sends lose it again and again",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "a mean interval keeps within 30 % of the declared one: IEEE 1588-2008 7.7.2.1, 9.5.8, 9.5.9.2 (from memory)",
            "20 messages and 10 s before a pace is judged (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        if let Some(why) = analysis.clocks_disagree() {
            return Outcome::CannotTell(why);
        }
        let mut findings = Vec::new();
        for domain in analysis.domains.iter() {
            for port in domain.ports.values().filter(|port| port.twins.two().is_none()) {
                for kind in [Kind::Announce, Kind::Sync] {
                    findings.extend(self.finding(analysis, domain, port, kind));
                }
            }
        }
        Outcome::from_findings(findings)
    }
}

impl DeclaredIntervalDiffers {
    fn finding(&self, analysis: &Analysis, domain: &Domain, port: &ClockPort, kind: Kind) -> Option<Finding> {
        let series = port.series(kind)?;
        let declared = series.declared_interval()?;
        // Of what was declared before, nothing is known that holds for all gaps; several series in one have no pace.
        if series.is_redeclared() || series.leaps().saturating_mul(10) > series.count() {
            return None;
        }
        if series.count() < MESSAGES || analysis.watched_for(declared) < WATCHED {
            return None;
        }
        // Where much is lost, half of the gaps have a loss in them.
        if series.missed().saturating_mul(LOSS) > series.count() {
            return None;
        }
        // The middle of the gaps: a lost message doubles its own gap and no other.
        let kept = series.gaps().median()?;
        // The mean as well: where a host stamps in batches, half of the gaps are next to nothing.
        let mean = mean_interval(series)?;
        let differs = |kept: Nanos| kept.0.saturating_sub(declared.0).saturating_abs() > allowed(declared).0;
        if !differs(kept) || !differs(mean) {
            return None;
        }
        let text = format!(
            "logMessageInterval says {}; half of the {} gaps are up to {}",
            kept_text(declared),
            series.gaps().count(),
            kept_text(kept)
        );
        let severity = if kind == Kind::Announce { Severity::Major } else { Severity::Minor };
        let title = format!(
            "{}: {} declares {} every {} and sends it every {}",
            domain.key,
            port.port,
            kind.name(),
            kept_text(declared),
            kept_text(kept)
        );
        let evidence = vec![Evidence::at(Cadence::last(series), text)];
        let finding = Finding::of(self, (severity, Strength::Shown), title, evidence);
        Some(finding.in_domain(domain.key).about_clock(analysis, port.port.clock))
    }
}

/// How far the kept interval may be off. Source: 1588-2008 7.7.2.1, 30 % at 90 % confidence (from memory).
fn allowed(declared: Nanos) -> Nanos {
    Nanos(declared.0.saturating_mul(3) / 10)
}

/// Time from the first to the latest message over the steps of their numbers.
fn mean_interval(series: &Cadence) -> Option<Nanos> {
    let span = series.last()?.time?.since(series.first()?.time?);
    let steps = series.gaps().count().saturating_add(series.missed());
    Some(Nanos(span.0 / i64::try_from(steps).ok().filter(|steps| *steps > 0)?))
}

/// `1.000 s`, or finer where that is needed.
fn kept_text(interval: Nanos) -> String {
    if interval >= Nanos::from_seconds(1) {
        interval.as_seconds_text()
    } else {
        let us = interval.0 / 1000;
        format!("{}.{:03} ms", us / 1000, us % 1000)
    }
}
