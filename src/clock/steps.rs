//! Jumps of the leader's time or of the capture's clock, told apart where another clock is in view.

use crate::domains::ClockId;
use crate::domains::ClockPort;
use crate::domains::Domain;
use crate::domains::Domains;
use crate::statistics::Point;
use crate::statistics::median;
use crate::statistics::theil_sen;
use crate::statistics::thin;
use crate::statistics::without_slope;
use crate::timing::ScaledNanos;
use crate::timing::Step;
use crate::timing::find_steps;
use crate::units::CaptureTime;
use crate::units::NANOS_PER_SECOND;
use crate::units::Nanos;

use super::path::POINTS_FOR_RATE;

/// Values on either side of a jump that are compared (chosen: a second of 8 Syncs).
const SIDE: usize = 8;

/// Jumps below this are left to jitter: software stamps and mirror queues move as much (chosen).
const LEAST: ScaledNanos = ScaledNanos(100_000 << 16);

/// Values on either side of a jump above [`LARGE`] (the fewest that have a median and a spread).
const LARGE_SIDE: usize = 3;

/// Jumps above this are no jitter (chosen: a hundred times [`LEAST`]).
const LARGE: ScaledNanos = ScaledNanos(10_000_000 << 16);

/// How far apart the jumps of two series may be and still be one (chosen).
const SAME_INSTANT: Nanos = Nanos::from_seconds(2);

/// Jumps kept (chosen).
const KEPT: usize = 64;

/// Whose time jumped.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Whose {
    /// Another clock in view did not jump: the leader's time did.
    Leader,
    /// Another clock in view shows the same jump: the capture's clock did.
    Capture,
    /// No other clock is in view.
    CannotTell,
}

/// A jump.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ClockStep {
    /// First Sync after it.
    pub time: CaptureTime,
    /// How far "capture less leader" jumped.
    pub size: ScaledNanos,
    /// Whose time it was.
    pub whose: Whose,
    /// Whether the capture's stamps themselves show it: they went back.
    pub is_in_stamps: bool,
    index: usize,
}

/// Times that the capture's clock was set back: the latest stamp before and the first after.
pub type SetBacks<'a> = &'a [(CaptureTime, CaptureTime)];

/// The jumps of the series of `port`, the leader's in `domain`; the clocks of all domains are compared with it.
pub(super) fn find(
    domains: &Domains,
    domain: &Domain,
    port: &ClockPort,
    points: &[Point],
    set_backs: SetBacks<'_>,
) -> Vec<ClockStep> {
    let mut steps = Vec::new();
    let mut from = 0;
    let back = set_back_at(points, set_backs);
    for until in back.iter().copied().chain([points.len()]) {
        let stretch = points.get(from..until).unwrap_or_default();
        if from > 0
            && let Some(size) = across(points, from)
        {
            let time = stretch.first().map_or(CaptureTime(0), |point| CaptureTime(point.time_ns));
            steps.push(ClockStep { time, size, whose: Whose::Capture, is_in_stamps: true, index: from });
        }
        steps.extend(jumps(stretch).into_iter().map(|(index, time, size)| {
            let is_in_stamps = set_backs.iter().any(|set_back| is_that(*set_back, time, size));
            let whose = if is_in_stamps { Whose::Capture } else { Whose::CannotTell };
            ClockStep { time, size, whose, is_in_stamps, index: from.saturating_add(index) }
        }));
        from = until;
    }
    steps.truncate(KEPT);
    if steps.iter().all(|step| step.is_in_stamps) {
        return steps;
    }
    let others: Vec<&[Point]> = domains
        .iter()
        .flat_map(|theirs| theirs.ports.values().map(move |other| (theirs, other)))
        .filter_map(|(theirs, other)| Some((theirs, other, other.samples.as_deref()?.one_way().points())))
        .filter(|(.., points)| points.len() >= 2 * SIDE)
        .filter(|(theirs, other, _)| is_apart((domain, port), (theirs, other)))
        .map(|(.., points)| points)
        .collect();
    for step in steps.iter_mut().filter(|step| !step.is_in_stamps) {
        step.whose = whose(step.time, step.size, &others);
    }
    steps
}

/// The first points after which the series goes on with an earlier time, where the capture's clock was set back.
fn set_back_at(points: &[Point], set_backs: SetBacks<'_>) -> Vec<usize> {
    if set_backs.is_empty() {
        return Vec::new();
    }
    let pairs = points.windows(2).enumerate();
    let back = pairs.filter(|(_, pair)| matches!(pair, [before, after] if after.time_ns < before.time_ns));
    back.map(|(index, _)| index.saturating_add(1)).take(KEPT).collect()
}

/// How far the series jumps at a point: by the values next to it, whatever its slope.
fn across(points: &[Point], index: usize) -> Option<ScaledNanos> {
    let values = |points: &[Point]| points.iter().map(|point| point.value_scaled_ns).collect::<Vec<_>>();
    let before = points.get(index.saturating_sub(LARGE_SIDE)..index)?;
    let after = points.get(index..points.len().min(index.saturating_add(LARGE_SIDE)))?;
    Some(ScaledNanos(median(&values(after))?.saturating_sub(median(&values(before))?)))
}

/// Whether a jump is that of the capture's clock at a time that its stamps went back: the size is told by those but for what
/// passed between two frames.
fn is_that((from, to): (CaptureTime, CaptureTime), time: CaptureTime, size: ScaledNanos) -> bool {
    let back = ScaledNanos::between_captures(from, to);
    let off = size.minus(back).abs().0;
    time >= to && time.since(to).0 <= SAME_INSTANT.0 && off.saturating_mul(4) <= size.abs().0
}

/// Whether the times two ports give are known to come from two clocks, neither of which asks for the other's: a
/// gateway that follows one domain and leads another jumps with the first.
fn is_apart(ours: (&Domain, &ClockPort), theirs: (&Domain, &ClockPort)) -> bool {
    let sources =
        |(_, port): (&Domain, &ClockPort)| port.offer.map(|offer| [port.port.clock, offer.grandmaster]);
    let Some((our_sources, their_sources)) = sources(ours).zip(sources(theirs)) else { return false };
    let one_device = |a: ClockId, b: ClockId| a == b || a.mac().is_some_and(|mac| Some(mac) == b.mac());
    let shared = our_sources.iter().any(|our| their_sources.iter().any(|their| one_device(*our, *their)));
    let they_follow = their_sources.iter().any(|their| ours.0.is_asked_by(*their));
    let we_follow = our_sources.iter().any(|our| theirs.0.is_asked_by(*our));
    !shared && !they_follow && !we_follow
}

fn whose(time: CaptureTime, size: ScaledNanos, others: &[&[Point]]) -> Whose {
    let covers = |points: &&&[Point]| {
        let ends = points.first().zip(points.last());
        ends.is_some_and(|(first, last)| {
            let margin = NANOS_PER_SECOND;
            first.time_ns < time.0.saturating_sub(margin) && last.time_ns > time.0.saturating_add(margin)
        })
    };
    let Some(other) = others.iter().find(covers) else { return Whose::CannotTell };
    let same = jumps(other).into_iter().any(|(_, at, jump)| {
        let off = jump.minus(size).abs().0;
        at.since(time).0.abs() <= SAME_INSTANT.0 && off.saturating_mul(4) <= size.abs().0
    });
    if same { Whose::Capture } else { Whose::Leader }
}

fn jumps(points: &[Point]) -> Vec<(usize, CaptureTime, ScaledNanos)> {
    let slope = theil_sen(&thin(points, POINTS_FOR_RATE)).map_or(0.0, |slope| slope.ppm);
    let flat = without_slope(points, slope);
    let jump = |step: Step| (step.index, CaptureTime(step.time_ns), step.size);
    let mut found: Vec<_> = find_steps(&flat, SIDE, LEAST).into_iter().map(jump).collect();
    // A jump far beyond any jitter needs fewer values to be told, so that one near an end of the file is not lost.
    for (index, time, size) in find_steps(&flat, LARGE_SIDE, LARGE).into_iter().map(jump) {
        if found.iter().all(|(known, ..)| known.abs_diff(index) >= SIDE) {
            found.push((index, time, size));
        }
    }
    found.sort_unstable_by_key(|(index, ..)| *index);
    found
}

/// The longest stretch of a series without a jump.
pub(super) fn longest_calm<'a>(points: &'a [Point], steps: &[ClockStep]) -> &'a [Point] {
    let mut longest: &[Point] = &[];
    let mut from = 0;
    for until in steps.iter().map(|step| step.index).chain([points.len()]) {
        let stretch = points.get(from..until).unwrap_or_default();
        if stretch.len() > longest.len() {
            longest = stretch;
        }
        from = until;
    }
    longest
}
