//! `delay-request-flood`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::Cadence;
use crate::domains::Domain;
use crate::domains::Kind;
use crate::domains::Mechanism;
use crate::domains::PortId;
use crate::domains::Requester;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::findings::words::duration;
use crate::units::Nanos;

/// Requests before their rate is judged (reference: 30 intervals).
const REQUESTS: u64 = 30;

/// How many standard deviations requests come too early by before that is no chance (chosen: a few in ten million).
const DEVIATIONS: i128 = 5;

/// A follower asks more often than the leader lets it.
pub(super) struct DelayRequestFlood;

impl Rule for DelayRequestFlood {
    fn id(&self) -> &'static str {
        "delay-request-flood"
    }

    fn summary(&self) -> &'static str {
        "a follower asks for delay more often than the leader's answers allow"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "set a longer request interval on that device, or update it",
            "in large plants: longer intervals, requests by unicast, boundary clocks",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "logMessageInterval of Delay_Resp is the least mean interval of requests: IEEE 1588-2008 9.5.11.2, table 24 (from memory)",
            "intervals are random, from 0 to twice that: IEEE 1588-2008 9.5.11.2 (from memory)",
            "30 requests; beyond 1.5 times the rate, and by 5 standard deviations of such intervals (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let mut findings = Vec::new();
        for domain in analysis.domains.iter() {
            for ((port, mechanism), requester) in &domain.requesters {
                if *mechanism == Mechanism::EndToEnd {
                    findings.extend(self.finding(analysis, domain, *port, requester));
                }
            }
        }
        Outcome::from_findings(findings)
    }
}

/// Time from the first to the latest request, and the gaps between them.
fn span_and_gaps(series: &Cadence) -> Option<(Nanos, i64)> {
    let span = series.last()?.time?.since(series.first()?.time?);
    let gaps = i64::try_from(series.count().checked_sub(1)?).ok().filter(|gaps| *gaps > 0)?;
    Some((span, gaps))
}

/// Whether gaps that are drawn evenly from 0 to twice `allowed` would hardly ever add up to no more than `span`: the variance
/// of each is a third of `allowed` squared.
fn is_no_chance(span: Nanos, gaps: i64, allowed: Nanos) -> bool {
    let (gaps, allowed) = (i128::from(gaps), i128::from(allowed.0));
    let early = gaps.saturating_mul(allowed).saturating_sub(span.0.into());
    let variance = gaps.saturating_mul(allowed.saturating_mul(allowed)) / 3;
    early > 0 && early.saturating_mul(early) > variance.saturating_mul(DEVIATIONS * DEVIATIONS)
}

impl DelayRequestFlood {
    fn finding(
        &self,
        analysis: &Analysis,
        domain: &Domain,
        port: PortId,
        requester: &Requester,
    ) -> Option<Finding> {
        let sent = domain.ports.get(&port).filter(|sent| sent.twins.two().is_none())?;
        let series = sent.series(Kind::DelayReq).filter(|series| series.count() >= REQUESTS)?;
        // The shortest of those it was ever allowed, so that a change of setting is no fault.
        let allowed = requester.least_asked_for()?.nanos()?;
        let (span, gaps) = span_and_gaps(series)?;
        let (mean, middle) = (Nanos(span.0 / gaps), series.gaps().median()?);
        let too_often = |interval: Nanos| interval.0.saturating_mul(3) / 2 < allowed.0;
        if !too_often(mean) || !too_often(middle) || !is_no_chance(span, gaps, allowed) {
            return None;
        }
        let text = format!(
            "{} requests, every {} in the mean; logMessageInterval of the answers allows one every {}",
            series.count(),
            duration(mean),
            duration(allowed)
        );
        let title = format!(
            "{}: {port} asks every {} where {} is allowed",
            domain.key,
            duration(mean),
            duration(allowed)
        );
        let severity = (Severity::Major, Strength::Shown);
        let finding = Finding::of(self, severity, title, vec![Evidence::at(requester.last_request(), text)]);
        Some(finding.in_domain(domain.key).about_clock(analysis, port.clock))
    }
}
