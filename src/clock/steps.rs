//! Jumps of the leader's time or of the capture's clock, told apart where another clock is in view.

use crate::domains::ClockId;
use crate::domains::ClockPort;
use crate::domains::Domain;
use crate::domains::Domains;
use crate::statistics::Point;
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
    index: usize,
}

/// The jumps of the series of `port`, the leader's in `domain`; the clocks of all domains are compared with it.
pub(super) fn find(domains: &Domains, domain: &Domain, port: &ClockPort, points: &[Point]) -> Vec<ClockStep> {
    let jumps = jumps(points);
    if jumps.is_empty() {
        return Vec::new();
    }
    let others: Vec<&[Point]> = domains
        .iter()
        .flat_map(|theirs| theirs.ports.values().map(move |other| (theirs, other)))
        .filter_map(|(theirs, other)| Some((theirs, other, other.samples.as_deref()?.one_way().points())))
        .filter(|(.., points)| points.len() >= 2 * SIDE)
        .filter(|(theirs, other, _)| is_apart((domain, port), (theirs, other)))
        .map(|(.., points)| points)
        .collect();
    jumps
        .into_iter()
        .take(KEPT)
        .map(|(index, time, size)| ClockStep { time, size, whose: whose(time, size, &others), index })
        .collect()
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
