//! `failover-time-step`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::ClockPort;
use crate::domains::Domain;
use crate::domains::Tenure;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::finding::at;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::statistics::Point;
use crate::statistics::median;
use crate::statistics::median_absolute_deviation_scaled_ns;
use crate::units::CaptureTime;
use crate::units::Nanos;

/// Syncs on either side that are compared (chosen: a second of 8 Syncs).
const SIDE: usize = 8;

/// The fewest that have a median and a spread.
const LEAST_SYNCS: usize = 3;

/// Steps above this are no matter of stamping (reference: 1 ms for software stamps, chosen).
const LEAST_SCALED_NS: i128 = 1_000_000 << 16;

/// How much the capture's clock may drift in a second, 10⁻⁶: beyond a bad oscillator (common practice, no source).
const DRIFT_PPM: i128 = 200;

/// Spreads of either side that a step must exceed (chosen, as for jumps: 9 is about 6 σ).
const NOISE_FACTOR: i128 = 9;

/// Time between the two sides beyond which nothing is said (chosen).
const TOO_FAR: Nanos = Nanos::from_seconds(30);

/// The new leader gives another time than the old one gave.
pub(super) struct FailoverTimeStep;

impl Rule for FailoverTimeStep {
    fn id(&self) -> &'static str {
        "failover-time-step"
    }

    fn summary(&self) -> &'static str {
        "with a change of leader the time itself jumped"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "give both clocks one reference, or let the standby follow the leader until it is needed",
            "whole seconds point to a wrong UTC offset or timescale on one of the two",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &["common practice, no source", "1 ms and 200 ppm of the time between, and 9 spreads (chosen)"]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        if let Some(why) = analysis.clocks_disagree() {
            return Outcome::CannotTell(why);
        }
        let hand_overs = analysis
            .domains
            .iter()
            .flat_map(|domain| domain.election.hand_overs().map(move |pair| (domain, pair)));
        Outcome::of_each(
            hand_overs.filter_map(|(domain, (before, after))| self.finding(analysis, domain, before, after)),
        )
    }
}

impl FailoverTimeStep {
    fn finding(
        &self,
        analysis: &Analysis,
        domain: &Domain,
        before: &Tenure,
        after: &Tenure,
    ) -> Option<Result<Finding, String>> {
        let (old, new) = (port_of(domain, before)?, port_of(domain, after)?);
        if old.port == new.port {
            return None;
        }
        // The change is at the latest where the new leader was seen to lead.
        let old_side = last_before(points(old), after.from);
        let new_side = first_after(points(new), after.from);
        let (old_level, new_level) = (Level::of(old_side)?, Level::of(new_side)?);
        let apart = CaptureTime(new_level.middle_ns).since(CaptureTime(old_level.middle_ns));
        if apart.0 <= 0 || apart > TOO_FAR {
            return None;
        }
        let drift = i128::from(apart.0).saturating_mul(DRIFT_PPM << 16) / 1_000_000;
        let spread = old_level.spread.max(new_level.spread).saturating_mul(NOISE_FACTOR);
        // "Capture less leader" falls where the new leader's time is ahead of the old one's.
        let step = old_level.value.saturating_sub(new_level.value);
        if step.saturating_abs() <= LEAST_SCALED_NS.saturating_add(drift).max(spread) {
            return None;
        }
        let size = Nanos(i64::try_from(step.saturating_abs() >> 16).unwrap_or(i64::MAX));
        let two_captures = [old, new].iter().any(|port| port.replays.are_of_two_captures());
        if two_captures || analysis.may_have_been_set_by(size) {
            return Some(Err(
                "the time differs before and after a change of leader, but the capture's clock may have been set meanwhile, or this is two captures in one"
                    .to_owned(),
            ));
        }
        let way = if step > 0 { "ahead" } else { "back" };
        let title = format!(
            "{}: the time went {way} by {} when {} took over from {} at {}",
            domain.key,
            size.as_seconds_text(),
            after.clock,
            before.clock,
            at(analysis, after.from)
        );
        let evidence = vec![
            Evidence::at(
                before.until_place,
                format!("the last {} Syncs of {} before", old_side.len(), old.port),
            ),
            Evidence::at(
                Some(after.from_place),
                format!(
                    "the first {} of {} are {} {way} of those",
                    new_side.len(),
                    new.port,
                    size.as_seconds_text()
                ),
            ),
        ];
        let finding = Finding::of(self, (Severity::Critical, Strength::Inferred), title, evidence);
        Some(Ok(finding.in_domain(domain.key).about_clock(analysis, after.clock)))
    }
}

/// The middle of some values of "capture less leader", 2⁻¹⁶ ns.
struct Level {
    value: i128,
    spread: i128,
    middle_ns: i64,
}

impl Level {
    fn of(points: &[Point]) -> Option<Self> {
        if points.len() < LEAST_SYNCS {
            return None;
        }
        let values: Vec<i128> = points.iter().map(|point| point.value_scaled_ns).collect();
        let spread = median_absolute_deviation_scaled_ns(&values)?;
        Some(Self {
            value: median(&values)?,
            spread: i128::try_from(spread).unwrap_or(i128::MAX),
            middle_ns: points.get(points.len() / 2)?.time_ns,
        })
    }
}

/// The port whose offer made a tenure.
fn port_of<'a>(domain: &'a Domain, tenure: &Tenure) -> Option<&'a ClockPort> {
    domain.ports.get(&tenure.candidate.sender)
}

fn points(port: &ClockPort) -> &[Point] {
    port.samples.as_deref().map(|samples| samples.one_way().points()).unwrap_or_default()
}

fn last_before(points: &[Point], instant: CaptureTime) -> &[Point] {
    let end = points.partition_point(|point| point.time_ns < instant.0);
    points.get(end.saturating_sub(SIDE)..end).unwrap_or_default()
}

fn first_after(points: &[Point], instant: CaptureTime) -> &[Point] {
    let from = points.partition_point(|point| point.time_ns < instant.0);
    points.get(from..points.len().min(from.saturating_add(SIDE))).unwrap_or_default()
}
