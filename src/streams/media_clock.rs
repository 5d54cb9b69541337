//! A stream's media clock against PTP time.

use super::minima::Minima;
use crate::clock::LeaderTime;
use crate::rtp::Neighbours;
use crate::statistics::Point;
use crate::statistics::interpolate;
use crate::statistics::median;
use crate::statistics::near_slope_ppm;
use crate::statistics::theil_sen;
use crate::statistics::thin;
use crate::statistics::without_slope;
use crate::timing::RtpUnwrapper;
use crate::timing::ScaledNanos;
use crate::timing::Step;
use crate::timing::find_steps;
use crate::timing::media_time;
use crate::units::CaptureTime;
use crate::units::NANOS_PER_SECOND;
use crate::units::Nanos;

/// Windows from which a rate is worked out (chosen: the minimum filter's in the reference).
const LEAST_WINDOWS: usize = 16;
/// Span from which a rate is believed (reference: 10 s).
const LEAST_SPAN: Nanos = Nanos::from_seconds(10);
/// How much larger the error is as neighbouring windows go by the same Syncs (chosen).
const SHARED_SYNCS: f64 = 1.5;
/// How far beyond the leader's samples they are still used (chosen).
const BEYOND: Nanos = Nanos::from_seconds(1);
/// Points the rate is worked out of, so that thousands of streams stay cheap (chosen).
const POINTS: usize = 128;
/// Values on either side of a step that are compared (chosen).
const SIDE: usize = 8;
/// Steps below this are left to jitter (chosen: a mirror's queues move as much).
const LEAST_STEP: ScaledNanos = ScaledNanos(1_000_000 << 16);
/// How far apart in time jumps of the stream and of the leader may be and still be one: windows and Syncs have intervals
/// of their own (chosen).
const SAME_INSTANT: Nanos = Nanos::from_seconds(3);
/// How far apart in size: so many parts of it, and the least step (chosen).
const SAME_SIZE: i64 = 100;
/// The leader's values next to a jump of its time that tell its size (chosen).
const NEXT: usize = 3;
/// A jump up to this is the timestamp's own only where two neighbouring packets show it: a way gets longer or shorter by as
/// much, by another route or a queue (chosen).
const OF_THE_WAY: Nanos = Nanos(NANOS_PER_SECOND / 4);
/// How far the two may differ, ns, and one part of so many (chosen: a mirror's queues move as much).
const JUMP_SLACK: (i64, i64) = (500_000, 8);
/// Beyond this a stream runs at another rate than the one it is held against (chosen: oscillators are within 100 ppm by
/// IEEE 1588-2008 J.3.4.1, from memory).
const MOST_PPM: f64 = 1000.0;
/// Steps kept of one stream (chosen).
const STEPS_KEPT: usize = 16;

/// Beyond this and three standard errors a media clock is not locked to PTP (reference timing-math section 7.2; common
/// practice).
pub const MEDIA_LIMIT_PPM: f64 = 1.0;

/// What a media clock was held against.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Against {
    /// The leader's time, through its Syncs.
    Leader,
    /// The capture's own clock: no leader's time was in view.
    CaptureClock,
}

/// A jump of the media clock.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct MediaStep {
    /// The first packet after it.
    pub time: CaptureTime,
    /// How far the media clock jumped ahead.
    pub size: Nanos,
}

/// A stream's media clock.
#[derive(Debug, Clone, PartialEq)]
pub struct MediaRate {
    /// How much faster it runs, 10⁻⁶.
    pub ppm: f64,
    /// Standard error.
    pub sigma_ppm: f64,
    /// Span of the packets it was worked out of.
    pub span: Nanos,
    /// Against what.
    pub against: Against,
    /// Whether both halves of the packets show it: a way that got longer on the way, or a step too small to be told,
    /// tilts the whole and no half of it alike.
    pub is_steady: bool,
    /// How long after its timestamp's instant a packet passes here, at the least half the time; with
    /// `a=mediaclk:direct=` and PTP time only.
    pub offset: Option<Nanos>,
    /// Jumps.
    pub steps: Vec<MediaStep>,
    /// Jumps of "capture less leader" at which it went on by the capture's clock: that one did not jump.
    pub went_on_at: Vec<CaptureTime>,
}

impl MediaRate {
    /// Whether it is not locked to the leader: `None` where too little is known either way.
    #[must_use]
    pub fn is_off(&self) -> Option<bool> {
        if self.against == Against::CaptureClock || self.span < LEAST_SPAN {
            return None;
        }
        if self.ppm.abs() > MEDIA_LIMIT_PPM + 3.0 * self.sigma_ppm {
            return self.is_steady.then_some(true);
        }
        // With an error as large as the limit nothing is shown.
        (3.0 * self.sigma_ppm < MEDIA_LIMIT_PPM).then_some(false)
    }
}

/// Works out the rate of a media clock of `clock_rate` Hz; `direct` is the offset of `a=mediaclk:direct=`.
pub(super) fn rate(
    (minima, neighbours): (&Minima, &Neighbours),
    clock_rate: u32,
    leader: Option<&LeaderTime<'_>>,
    resolution: Nanos,
    direct: Option<u64>,
) -> Option<MediaRate> {
    let mut unwrapper = RtpUnwrapper::default();
    let mut points = Vec::new();
    let mut phases: Vec<i128> = Vec::new();
    for stamp in minima.stamps() {
        if leader.is_some_and(|leader| !covers(leader, stamp.time)) {
            continue;
        }
        let ticks = unwrapper.unwrap(stamp.timestamp);
        let media = media_time(ticks, clock_rate)?;
        let capture = i128::from(stamp.time.0) << 16;
        // θ is the capture's clock less the leader's.
        let theta = leader.and_then(|leader| interpolate(leader.points, stamp.time.0)).unwrap_or(0);
        let delay = leader.and_then(|leader| leader.delay).map_or(0, |delay| delay.0);
        let ptp = capture.saturating_sub(theta).saturating_add(delay);
        points.push(Point { time_ns: stamp.time.0, value_scaled_ns: ptp.saturating_sub(media.0) });
        if let Some(direct) = direct.filter(|_| leader.is_some()) {
            phases.extend(phase(ptp, stamp.timestamp, clock_rate, direct));
        }
    }
    let mut steps = steps(&points);
    let mut went_on_at = Vec::new();
    for (_, step) in &mut steps {
        let of_leader = step.zip(leader).and_then(|(step, leader)| leaders_step(leader, &step));
        if let Some(of_leader) = of_leader {
            went_on_at.push(of_leader);
            *step = None;
        }
        *step = step.filter(|step| is_the_timestamps(neighbours, clock_rate, step));
    }
    let calm = longest_calm(&points, &steps);
    let (first, last) = calm.first().zip(calm.last())?;
    let span = CaptureTime(last.time_ns).since(CaptureTime(first.time_ns));
    if calm.len() < LEAST_WINDOWS {
        return None;
    }
    let slope = theil_sen(&thin(calm, POINTS)).filter(|slope| slope.ppm.abs() <= MOST_PPM)?;
    let halves = calm.split_at(calm.len() / 2);
    let half_slopes = [halves.0, halves.1].map(|half| theil_sen(&thin(half, POINTS)).map(|slope| slope.ppm));
    let is_steady = half_slopes.iter().all(|half| half.is_some_and(|half| is_alike(half, slope.ppm)));
    let step = u32::try_from(resolution.0).unwrap_or(u32::MAX);
    let shared = if leader.is_some() { SHARED_SYNCS } else { 1.0 };
    let sigma_ppm = slope.standard_error_at_resolution_ppm(step) * shared;
    let jumps = steps.iter().filter_map(|(_, step)| *step).take(STEPS_KEPT);
    Some(MediaRate {
        // The way of a packet grows where the media clock is slow.
        ppm: -slope.ppm,
        sigma_ppm,
        span,
        against: if leader.is_some() { Against::Leader } else { Against::CaptureClock },
        is_steady,
        offset: median(&phases).and_then(|phase| ScaledNanos(phase).nanos()),
        steps: jumps.collect(),
        went_on_at,
    })
}

/// Whether the rate of a half is that of the whole, give or take half of it (chosen).
fn is_alike(half: f64, whole: f64) -> bool {
    (half - whole).abs() <= whole.abs() / 2.0
}

/// Whether the leader's time is known there.
fn covers(leader: &LeaderTime<'_>, time: CaptureTime) -> bool {
    let ends = leader.points.first().zip(leader.points.last());
    ends.is_some_and(|(first, last)| {
        time.0 >= first.time_ns.saturating_sub(BEYOND.0) && time.0 <= last.time_ns.saturating_add(BEYOND.0)
    })
}

/// How long after its timestamp's instant a packet passes, within half the timestamp's range either way.
fn phase(ptp_scaled: i128, timestamp: u32, clock_rate: u32, direct: u64) -> Option<i128> {
    let second = i128::from(NANOS_PER_SECOND) << 16;
    // Scaled ticks, so that the fraction of a tick is kept.
    let now =
        ptp_scaled.checked_mul(i128::from(clock_rate))?.checked_div_euclid(i128::from(NANOS_PER_SECOND))?;
    let then = i128::from(timestamp).saturating_sub(i128::from(direct)) << 16;
    let range = 1_i128 << 48;
    let ticks = now.saturating_sub(then).rem_euclid(range);
    let ticks = if ticks >= range / 2 { ticks - range } else { ticks };
    ticks.checked_mul(second)?.checked_div_euclid(i128::from(clock_rate) << 16)
}

/// Where the series jumps: the place, and the jump of the media clock.
fn steps(points: &[Point]) -> Vec<(usize, Option<MediaStep>)> {
    let whole = || theil_sen(&thin(points, POINTS)).map(|slope| slope.ppm);
    let slope = near_slope_ppm(points, SIDE).or_else(whole).unwrap_or(0.0);
    let found = find_steps(&without_slope(points, slope), SIDE, LEAST_STEP);
    let places: Vec<usize> = found.iter().map(|step| step.index).collect();
    let before = std::iter::once(0).chain(places.iter().copied());
    let after = places.iter().copied().skip(1).chain([points.len()]);
    let jump = |((step, from), until): ((&Step, usize), usize)| {
        let left = level(points.get(from..step.index)?, true, step.time_ns, slope)?;
        let right = level(points.get(step.index..until)?, false, step.time_ns, slope)?;
        let size = ScaledNanos(right.saturating_sub(left)).nanos()?;
        Some(MediaStep { time: CaptureTime(step.time_ns), size: -size })
    };
    let jumps: Vec<Option<MediaStep>> = found.iter().zip(before).zip(after).map(jump).collect();
    places.into_iter().zip(jumps).collect()
}

/// Where a stretch that begins or ends at `at_ns` stands there: by the points next to it and its own slope, or by `slope`
/// where it is short.
fn level(stretch: &[Point], ends: bool, at_ns: i64, slope: f64) -> Option<i128> {
    let long = (stretch.len() >= LEAST_WINDOWS).then(|| theil_sen(&thin(stretch, POINTS))).flatten();
    let slope = long.map_or(slope, |slope| slope.ppm);
    let near = if ends { stretch.get(stretch.len().saturating_sub(SIDE)..) } else { stretch.get(..SIDE) };
    let mut from_there = vec![Point { time_ns: at_ns, value_scaled_ns: 0 }];
    from_there.extend(near.unwrap_or(stretch));
    let level = without_slope(&from_there, slope);
    median(&level.iter().skip(1).map(|point| point.value_scaled_ns).collect::<Vec<i128>>())
}

/// The jump of the leader's time, where it was that which jumped: the stream, which went on, then seems to jump the other
/// way.
fn leaders_step(leader: &LeaderTime<'_>, step: &MediaStep) -> Option<CaptureTime> {
    let found = leader.steps.iter().find(|of_leader| {
        // θ is the capture's clock less the leader's.
        let Some(size) = jump_at(leader.points, of_leader.time) else { return false };
        let apart = step.size.0.saturating_sub(size.0).saturating_abs();
        let allowed = size.0.saturating_abs() / SAME_SIZE + LEAST_STEP.nanos().unwrap_or_default().0;
        of_leader.time.since(step.time).0.saturating_abs() <= SAME_INSTANT.0 && apart <= allowed
    });
    found.map(|of_leader| of_leader.time)
}

/// Whether it may be the timestamps that jumped and not the way.
fn is_the_timestamps(neighbours: &Neighbours, clock_rate: u32, step: &MediaStep) -> bool {
    let size = step.size.0.saturating_abs();
    let (least, part) = JUMP_SLACK;
    let ticks = |ns: i64| {
        let ticks = i128::from(ns) * i128::from(clock_rate) / i128::from(NANOS_PER_SECOND);
        i64::try_from(ticks).unwrap_or(i64::MAX)
    };
    size > OF_THE_WAY.0 || neighbours.may_jump(ticks(step.size.0), ticks(least.max(size / part)))
}

/// How far the points on either side of an instant are apart.
fn jump_at(points: &[Point], time: CaptureTime) -> Option<Nanos> {
    let place = points.partition_point(|point| point.time_ns < time.0);
    let (before, after) = points.split_at_checked(place)?;
    let values = |points: &[Point]| points.iter().map(|point| point.value_scaled_ns).collect::<Vec<i128>>();
    let left = median(&values(before.get(before.len().saturating_sub(NEXT)..)?))?;
    let right = median(&values(after.get(..NEXT).unwrap_or(after)))?;
    ScaledNanos(right.saturating_sub(left)).nanos()
}

fn longest_calm<'a>(points: &'a [Point], steps: &[(usize, Option<MediaStep>)]) -> &'a [Point] {
    let mut longest: &[Point] = &[];
    let mut from = 0;
    for until in steps.iter().map(|(index, _)| *index).chain([points.len()]) {
        let stretch = points.get(from..until).unwrap_or_default();
        if stretch.len() > longest.len() {
            longest = stretch;
        }
        from = until;
    }
    longest
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rate_of(ppm: f64, is_steady: bool) -> MediaRate {
        MediaRate {
            ppm,
            sigma_ppm: 0.5,
            span: Nanos::from_seconds(60),
            against: Against::Leader,
            is_steady,
            offset: None,
            steps: Vec::new(),
            went_on_at: Vec::new(),
        }
    }

    #[test]
    fn a_rate_that_the_halves_do_not_show_tells_nothing() {
        assert_eq!(rate_of(20.0, true).is_off(), Some(true));
        assert_eq!(rate_of(7.8, false).is_off(), None);
        assert_eq!(rate_of(0.01, false).is_off(), None, "with an error as large as the limit");
    }

    #[test]
    fn the_size_of_a_step_is_not_bent_by_the_slopes_about_it() {
        // A second of 100 ms windows each; the clock runs 50 ppm fast and, where the second slope is given, then otherwise.
        for (at, ppm, size_ms) in [(60, 50, 1000), (20, 50, 1000), (200, -80, -3), (100, 0, 250)] {
            let value = |index: i64| {
                let jump = if index >= at { size_ms * 1_000_000 } else { 0 };
                i128::from(-(index * 100 * ppm) - jump + index * 7919 % 1000) << 16
            };
            let points: Vec<Point> = (0..300)
                .map(|index| Point { time_ns: index * 100_000_000, value_scaled_ns: value(index) })
                .collect();
            let found = steps(&points);
            assert_eq!(found.len(), 1, "{at} {ppm} {size_ms}: {found:?}");
            let step = found[0].1.unwrap();
            assert_eq!(step.time.0, at * 100_000_000);
            let off = step.size.0 - size_ms * 1_000_000;
            assert!(off.abs() < 2_000, "{at} {ppm} {size_ms}: {off}");
        }
    }

    #[test]
    fn a_tilt_by_one_longer_way_is_in_no_half() {
        assert!(is_alike(20.1, 20.0) && is_alike(11.0, 20.0) && is_alike(-19.0, -20.0));
        assert!(!is_alike(0.1, 4.0) && !is_alike(-4.0, 4.0) && !is_alike(7.0, 4.0));
    }
}
