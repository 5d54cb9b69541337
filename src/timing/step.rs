//! Steps: a time that jumps, in a series or between two messages.

use super::scaled::ScaledNanos;
use crate::statistics::Point;
use crate::statistics::median;
use crate::statistics::median_absolute_deviation_scaled_ns;
use crate::units::CaptureTime;
use crate::units::Nanos;
use crate::units::Timestamp;

/// How many median absolute deviations a shift must exceed (chosen: 9 is about 6 σ of normal noise; a straight ramp
/// reaches 4, so no rate is taken for a step).
const NOISE_FACTOR: u128 = 9;

/// A shift of a series' level.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Step {
    /// Index of the first value after it.
    pub index: usize,
    /// Time of that value, ns.
    pub time_ns: i64,
    /// Median of the values after it less the median of those before.
    pub size: ScaledNanos,
    /// Larger median absolute deviation of the two sides.
    pub noise: ScaledNanos,
}

/// Shifts of level in a series in order of time.
///
/// At each place the medians of `side` values before and after are compared. A shift counts if it exceeds `least`
/// and nine times the larger median absolute deviation of the two sides; of neighbouring places that qualify the one
/// with the least sum of distances from the two medians is told. A step needs `side` values on either side and is
/// told apart from the next only if `side` values lie between. Up to half of a side may be outliers. Where the
/// series has a slope, take it out first ([`crate::statistics::without_slope`]) or the size holds `side` intervals'
/// worth of it. Cost: O(n · side · log side). Empty unless `side` is 3 or more.
#[must_use]
pub fn find_steps(points: &[Point], side: usize, least: ScaledNanos) -> Vec<Step> {
    let mut found: Vec<(Step, u128)> = Vec::new();
    if side < 3 {
        return Vec::new();
    }
    let width = side.saturating_mul(2);
    for (start, window) in points.windows(width).enumerate() {
        let Some((before, after)) = window.split_at_checked(side) else { continue };
        let Some((step, cost)) = shift(before, after, start.saturating_add(side), least) else { continue };
        match found.last_mut() {
            Some((last, least_cost))
                if step.index - last.index < side && step.size.0.signum() == last.size.0.signum() =>
            {
                if cost < *least_cost {
                    (*last, *least_cost) = (step, cost);
                }
            }
            _ => found.push((step, cost)),
        }
    }
    found.into_iter().map(|(step, _)| step).collect()
}

/// The shift between two runs of values if it stands out, and the sum of the distances from their medians.
fn shift(before: &[Point], after: &[Point], index: usize, least: ScaledNanos) -> Option<(Step, u128)> {
    let values = |points: &[Point]| points.iter().map(|point| point.value_scaled_ns).collect::<Vec<i128>>();
    let (left, right) = (values(before), values(after));
    let (low, high) = (median(&left)?, median(&right)?);
    let noise = median_absolute_deviation_scaled_ns(&left)?.max(median_absolute_deviation_scaled_ns(&right)?);
    let size = high.abs_diff(low);
    if size <= least.0.unsigned_abs() || size <= noise.saturating_mul(NOISE_FACTOR) {
        return None;
    }
    let distances = |values: &[i128], centre: i128| {
        values.iter().fold(0_u128, |sum, value| sum.saturating_add(value.abs_diff(centre)))
    };
    let cost = distances(&left, low).saturating_add(distances(&right, high));
    let step = Step {
        index,
        time_ns: after.first()?.time_ns,
        size: ScaledNanos(high.saturating_sub(low)),
        noise: ScaledNanos(i128::try_from(noise).unwrap_or(i128::MAX)),
    };
    Some((step, cost))
}

/// How far a leader's time jumped between two of its stamps that lie `elapsed` apart by their sequence numbers and
/// interval.
#[must_use]
pub fn origin_step(before: Timestamp, after: Timestamp, elapsed: Nanos) -> ScaledNanos {
    ScaledNanos::between_timestamps(before, after).minus(ScaledNanos::from(elapsed))
}

/// Which clock a jump of C − G came from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stepped {
    /// Neither went further than the tolerance from the interval the messages declare.
    Neither,
    /// The leader's stamps jumped by this much while the capture's went on.
    Leader(ScaledNanos),
    /// The capture's clock jumped by this much while the leader's stamps went on.
    Capture(ScaledNanos),
    /// Both went wrong: a gap, a lost interval, or two jumps; nothing can be said.
    Both,
}

/// Tells whose clock jumped between two messages, by which of the two went on at the messages' own pace.
///
/// `elapsed` is the number of intervals by `sequenceId` times the interval; `tolerance` must cover the sender's
/// irregularity (the reference has none: some tenths of an interval).
#[must_use]
pub fn who_stepped(
    origin: (Timestamp, Timestamp),
    capture: (CaptureTime, CaptureTime),
    elapsed: Nanos,
    tolerance: Nanos,
) -> Stepped {
    let leader = origin_step(origin.0, origin.1, elapsed);
    let ours = ScaledNanos::between_captures(capture.0, capture.1).minus(ScaledNanos::from(elapsed));
    let is_off = |by: ScaledNanos| by.abs() > ScaledNanos::from(tolerance).abs();
    match (is_off(leader), is_off(ours)) {
        (false, false) => Stepped::Neither,
        (true, false) => Stepped::Leader(leader),
        (false, true) => Stepped::Capture(ours),
        (true, true) => Stepped::Both,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const US: i128 = 1000 * 65536;

    fn series(values: &[i128]) -> Vec<Point> {
        let point = |(at, value): (i64, &i128)| Point { time_ns: at * 125_000_000, value_scaled_ns: *value };
        (0..).zip(values).map(point).collect()
    }

    fn noise(at: i128) -> i128 {
        (at * 7919 + at * at * 31) % 11 * US / 10
    }

    #[test]
    fn a_ramp_and_a_lone_outlier_are_no_steps() {
        let mut ramp: Vec<i128> = (0..200).map(|at| at * 50 * US + noise(at)).collect();
        assert_eq!(find_steps(&series(&ramp), 8, ScaledNanos(US)), []);
        ramp = (0..200).map(noise).collect();
        ramp[90] += 1000 * US;
        assert_eq!(find_steps(&series(&ramp), 8, ScaledNanos(US)), []);
    }

    #[test]
    fn two_steps_are_told_with_place_and_size() {
        let level = |at: i128| {
            if at < 60 {
                0
            } else if at < 120 {
                40
            } else {
                -900
            }
        };
        let values: Vec<i128> = (0..180).map(|at| level(at) * US + noise(at)).collect();
        let steps = find_steps(&series(&values), 8, ScaledNanos(US));
        assert_eq!(steps.iter().map(|step| step.index).collect::<Vec<_>>(), [60, 120]);
        assert!(
            (steps[0].size.0 - 40 * US).abs() < US && (steps[1].size.0 + 940 * US).abs() < US,
            "{steps:?}"
        );
        assert_eq!(steps[1].time_ns, 120 * 125_000_000);
    }

    #[test]
    fn too_few_values_have_no_steps() {
        assert_eq!(find_steps(&series(&[0, 0, 0, 9, 9]), 3, ScaledNanos::ZERO), []);
        assert_eq!(find_steps(&series(&[0, 0, 0, 9, 9, 9]), 3, ScaledNanos::ZERO).len(), 1);
        assert_eq!(find_steps(&series(&[0; 9]), 0, ScaledNanos::ZERO), []);
        assert_eq!(find_steps(&series(&[0; 9]), usize::MAX, ScaledNanos::ZERO), []);
    }

    #[test]
    fn the_clock_that_left_the_messages_pace_stepped() {
        let second = 1_000_000_000;
        let stamp = |seconds| Timestamp { seconds, nanoseconds: 0 };
        let told = |to: u64, until: i64| {
            let origin = (stamp(100), stamp(to));
            who_stepped(origin, (CaptureTime(0), CaptureTime(until)), Nanos(second), Nanos(second / 4))
        };
        let seconds = |seconds| ScaledNanos::from(Nanos::from_seconds(seconds));
        assert_eq!(told(101, second + 5), Stepped::Neither);
        assert_eq!(told(138, second), Stepped::Leader(seconds(37)));
        assert_eq!(told(101, -36 * second), Stepped::Capture(seconds(-37)));
        assert_eq!(told(104, 4 * second), Stepped::Both);
    }

    proptest! {
        #[test]
        fn a_clean_step_is_found_where_it_is(at in 8_usize..40, size in prop_oneof![-500_i128..-20, 20_i128..500]) {
            let value = |place: usize| noise(i128::try_from(place).unwrap()) + if place < at { 0 } else { size * US };
            let values: Vec<i128> = (0..48).map(value).collect();
            let steps = find_steps(&series(&values), 8, ScaledNanos(US));
            prop_assert_eq!(steps.len(), 1);
            prop_assert_eq!(steps[0].index, at);
            prop_assert!((steps[0].size.0 - size * US).abs() <= US);
        }

        #[test]
        fn nothing_makes_it_panic(
            values in prop::collection::vec(prop_oneof![any::<i128>(), Just(i128::MIN), Just(i128::MAX)], 0..40),
            side in 0_usize..9, least in any::<i128>()
        ) {
            let _ = find_steps(&series(&values), side, ScaledNanos(least));
        }
    }
}
