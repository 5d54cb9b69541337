//! Lines through points of time and value: Theil–Sen, least squares, and the lower envelope.
//!
//! Differences are taken exactly, against the first point; floating point begins after that.
#![allow(clippy::as_conversions, reason = "differences of exact integers become f64, rounded to 53 bits")]

/// Most points the pairwise slopes are taken of (chosen: 1.1 million pairs).
pub const THEIL_SEN_LIMIT: usize = 1500;

/// 2⁻¹⁶ ns in a nanosecond.
const SCALE: f64 = 65536.0;

/// Standard deviation of a normal distribution whose median absolute deviation is 1 (textbook, no source).
const SIGMA_PER_MAD: f64 = 1.4826;

/// Half width of a 95 % interval of the normal distribution (textbook, no source).
const NORMAL_95: f64 = 1.959_964;

/// A value at an instant.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Point {
    /// When, ns of any one clock and from any one zero.
    pub time_ns: i64,
    /// What, 2⁻¹⁶ ns.
    pub value_scaled_ns: i128,
}

/// The slope of a series, 10⁻⁶ (1 ppm = 1 µs of value a second of time), and how sure it is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Slope {
    /// The slope.
    pub ppm: f64,
    /// Standard error for white noise: σ of the residuals / √Σ(t − t̄)². Residuals that wander make it too small.
    pub standard_error_ppm: f64,
    /// Lower end of the 95 % interval.
    pub low_ppm: f64,
    /// Upper end of the 95 % interval.
    pub high_ppm: f64,
    /// √Σ(t − t̄)² of the points used, ns.
    pub time_spread_ns: f64,
    /// Largest less smallest residual of the points used, ns.
    pub residual_peak_to_peak_ns: f64,
    /// Points the slope was taken of.
    pub points_used: usize,
}

impl Slope {
    /// Whether the slope is more than three standard errors from 0.
    #[must_use]
    pub fn is_significant(&self) -> bool {
        self.ppm.abs() > 3.0 * self.standard_error_ppm
    }

    /// The standard error where stamps come in steps of `resolution_ns`: rounding makes a uniform error of
    /// σ = resolution / √12, also where the residuals show none because all were rounded alike.
    #[must_use]
    pub fn standard_error_at_resolution_ppm(&self, resolution_ns: u32) -> f64 {
        let rounding_ns = f64::from(resolution_ns) / 12_f64.sqrt();
        self.standard_error_ppm.max(rounding_ns / self.time_spread_ns * 1e6)
    }
}

/// The lower edge of a series.
#[derive(Debug, Clone, PartialEq)]
pub struct LowerEnvelope {
    /// Slope of the edge that stands over the mean time, 10⁻⁶.
    pub ppm: f64,
    /// Corners of the lower convex hull in time order, first and last point included.
    pub corners: Vec<Point>,
    /// The two corners whose line is the envelope.
    pub edge: (Point, Point),
}

/// The Theil–Sen slope: the median of the slopes of all pairs of points (breakdown 29 %; Sen 1968, from memory).
///
/// More than [`THEIL_SEN_LIMIT`] points are thinned first by [`thin`], so the cost is bounded; where many series
/// are to be measured, thin them further before. The 95 % interval
/// is Sen's, from the variance n(n−1)(2n+5)/18 of Kendall's score; the standard error takes σ as 1.4826 · MAD of
/// the residuals. `None` below three points or where fewer than three times differ.
#[must_use]
pub fn theil_sen(points: &[Point]) -> Option<Slope> {
    let used = thin(points, THEIL_SEN_LIMIT);
    let plane = relative(&used);
    if distinct_times(&used) < 3 {
        return None;
    }
    let mut slopes = Vec::with_capacity(plane.len().saturating_mul(plane.len()) / 2);
    for (place, (time, value)) in plane.iter().enumerate() {
        for (later_time, later_value) in plane.iter().skip(place + 1) {
            let span = later_time - time;
            if span > 0.0 {
                slopes.push((later_value - value) / span);
            }
        }
    }
    let slope = median_of(&mut slopes)?;
    let count = plane.len() as f64;
    let reach = NORMAL_95 * (count * (count - 1.0) * (2.0 * count + 5.0) / 18.0).sqrt();
    let pairs = slopes.len() as f64;
    let low = nth(&mut slopes, ((pairs - reach) / 2.0).floor() - 1.0)?;
    let high = nth(&mut slopes, f64::midpoint(pairs, reach).ceil())?;
    let residuals = residuals(&plane, slope);
    let sigma = SIGMA_PER_MAD * median_distance(&residuals)?;
    let spread = time_spread(&plane);
    Some(Slope {
        ppm: slope * 1e6,
        standard_error_ppm: sigma / spread * 1e6,
        low_ppm: low * 1e6,
        high_ppm: high * 1e6,
        time_spread_ns: spread,
        residual_peak_to_peak_ns: peak_to_peak(&residuals),
        points_used: plane.len(),
    })
}

/// The median slope, 10⁻⁶, between points of a series in order that stand `distance` places apart: a jump between two long
/// stretches is in so many pairs only and leaves it, where it tilts [`theil_sen`]. `None` without such pairs.
#[must_use]
pub fn near_slope_ppm(points: &[Point], distance: usize) -> Option<f64> {
    let pairs = points.iter().zip(points.iter().skip(distance));
    let apart = pairs.filter(|(start, end)| end.time_ns > start.time_ns);
    let mut slopes: Vec<f64> = apart.map(|(start, end)| slope_between(*start, *end) * 1e6).collect();
    median_of(&mut slopes)
}

/// The slope of ordinary least squares, which a single late sample can pull away; σ from the residuals with
/// n − 2 degrees of freedom, the interval ±1.96 standard errors. `None` as for [`theil_sen`].
#[must_use]
pub fn least_squares(points: &[Point]) -> Option<Slope> {
    if distinct_times(&sorted(points)) < 3 {
        return None;
    }
    let plane = relative(points);
    let (mean_time, mean_value) = means(&plane);
    let spread = time_spread(&plane);
    let product: f64 = plane.iter().map(|(time, value)| (time - mean_time) * (value - mean_value)).sum();
    let slope = product / (spread * spread);
    let residuals = residuals(&plane, slope);
    let mean = residuals.iter().sum::<f64>() / residuals.len() as f64;
    let squares: f64 = residuals.iter().map(|residual| (residual - mean).powi(2)).sum();
    let error = (squares / (residuals.len() as f64 - 2.0)).sqrt() / spread;
    Some(Slope {
        ppm: slope * 1e6,
        standard_error_ppm: error * 1e6,
        low_ppm: (slope - NORMAL_95 * error) * 1e6,
        high_ppm: (slope + NORMAL_95 * error) * 1e6,
        time_spread_ns: spread,
        residual_peak_to_peak_ns: peak_to_peak(&residuals),
        points_used: plane.len(),
    })
}

/// The line below all points that comes closest to them: the edge of the lower convex hull over the mean time,
/// which is the solution of the linear programme that keeps the sum of distances least. Queueing only adds
/// delay, so this line is free of it. `None` where fewer than two times differ.
#[must_use]
pub fn lower_envelope(points: &[Point]) -> Option<LowerEnvelope> {
    let sorted = sorted(points);
    let mut corners: Vec<Point> = Vec::new();
    for point in &sorted {
        if corners.last().is_some_and(|last| last.time_ns == point.time_ns) {
            // Sorted by time, then value: the lowest of an instant came first.
            continue;
        }
        while let [.., before, last] = corners.as_slice() {
            if is_left_turn(*before, *last, *point) {
                break;
            }
            corners.pop();
        }
        corners.push(*point);
    }
    let sum: i128 = sorted.iter().map(|point| i128::from(point.time_ns)).sum();
    let mean = sum.checked_div(i128::try_from(sorted.len()).ok()?)?;
    let edge = corners
        .iter()
        .zip(corners.iter().skip(1))
        .find(|(_, end)| i128::from(end.time_ns) > mean)
        .or_else(|| corners.iter().zip(corners.iter().skip(1)).next_back())
        .map(|(start, end)| (*start, *end))?;
    Some(LowerEnvelope { ppm: slope_between(edge.0, edge.1) * 1e6, edge, corners })
}

/// At most `limit` of the points, in time order.
///
/// The points are cut into `limit / 2` runs of equal count; of each run the lowest point (the first of equals)
/// and the point of median value stay. The lowest carry the least queueing, the medians the symmetric noise, and
/// each keeps its own time, so neither bends a slope. Up to `limit` points stay as they are.
#[must_use]
pub fn thin(points: &[Point], limit: usize) -> Vec<Point> {
    let sorted = sorted(points);
    if sorted.len() <= limit {
        return sorted;
    }
    let runs = (limit / 2).max(1);
    let mut kept = Vec::with_capacity(limit);
    let mut rest = sorted.as_slice();
    for run in (1..=runs).rev() {
        let (head, tail) = rest.split_at_checked(rest.len().div_ceil(run)).unwrap_or((rest, &[]));
        rest = tail;
        let mut by_value: Vec<&Point> = head.iter().collect();
        by_value.sort_by_key(|point| point.value_scaled_ns);
        let lowest = by_value.first().copied();
        let middle = by_value.get(by_value.len() / 2).copied();
        kept.extend(lowest);
        if by_value.len() > 1 {
            kept.extend(middle);
        }
    }
    kept.truncate(limit.max(1));
    kept.sort_by_key(order);
    kept
}

/// The points with the line of `slope_ppm` through the first one's time taken out, values rounded to 2⁻¹⁶ ns.
#[must_use]
pub fn without_slope(points: &[Point], slope_ppm: f64) -> Vec<Point> {
    let Some(first) = points.first() else { return Vec::new() };
    let moved = |point: &Point| {
        let elapsed = i128::from(point.time_ns) - i128::from(first.time_ns);
        let drift = (elapsed as f64 * slope_ppm * 1e-6 * SCALE).round() as i128;
        Point { time_ns: point.time_ns, value_scaled_ns: point.value_scaled_ns.saturating_sub(drift) }
    };
    points.iter().map(moved).collect()
}

/// The value at `time_ns` on the straight lines between points in order of time, rounded down; before the first
/// and after the last point the nearest one's. `None` without points.
///
/// Maps an instant of one clock to the offset that holds there: θ̂ between two Syncs.
#[must_use]
pub fn interpolate(points: &[Point], time_ns: i64) -> Option<i128> {
    let after = points.partition_point(|point| point.time_ns <= time_ns);
    let before = after.checked_sub(1).and_then(|index| points.get(index));
    let (Some(start), Some(end)) = (before, points.get(after)) else {
        return before.or_else(|| points.first()).map(|point| point.value_scaled_ns);
    };
    let (run, part) = (
        i128::from(end.time_ns) - i128::from(start.time_ns),
        i128::from(time_ns) - i128::from(start.time_ns),
    );
    let rise = end.value_scaled_ns.saturating_sub(start.value_scaled_ns);
    let exact = rise.checked_mul(part).and_then(|product| product.checked_div_euclid(run));
    // A rise of centuries over centuries: the whole steps first, which loses less than one step.
    let climbed = exact.or_else(|| rise.checked_div_euclid(run)?.checked_mul(part))?;
    Some(start.value_scaled_ns.saturating_add(climbed))
}

fn order(point: &Point) -> (i64, i128) {
    (point.time_ns, point.value_scaled_ns)
}

fn sorted(points: &[Point]) -> Vec<Point> {
    let mut sorted = points.to_vec();
    sorted.sort_by_key(order);
    sorted
}

/// Of sorted points.
fn distinct_times(points: &[Point]) -> usize {
    points.chunk_by(|one, other| one.time_ns == other.time_ns).count()
}

/// Time and value in ns, both against the first point.
fn relative(points: &[Point]) -> Vec<(f64, f64)> {
    let Some(first) = points.first() else { return Vec::new() };
    points.iter().map(|point| (elapsed_ns(*first, *point), rise_scaled(*first, *point) / SCALE)).collect()
}

fn elapsed_ns(from: Point, to: Point) -> f64 {
    (i128::from(to.time_ns) - i128::from(from.time_ns)) as f64
}

fn rise_scaled(from: Point, to: Point) -> f64 {
    to.value_scaled_ns.saturating_sub(from.value_scaled_ns) as f64
}

fn slope_between(start: Point, end: Point) -> f64 {
    rise_scaled(start, end) / SCALE / elapsed_ns(start, end)
}

/// Whether the way from `one` over `two` to `three` bends upwards.
fn is_left_turn(one: Point, two: Point, three: Point) -> bool {
    let run = |from: Point, to: Point| i128::from(to.time_ns) - i128::from(from.time_ns);
    let rise = |from: Point, to: Point| to.value_scaled_ns.checked_sub(from.value_scaled_ns);
    let exact = || {
        let upper = run(one, two).checked_mul(rise(two, three)?)?;
        let lower = run(two, three).checked_mul(rise(one, two)?)?;
        Some(upper > lower)
    };
    // Beyond 127 bits only values of centuries are left, where 53 bits will do.
    exact().unwrap_or_else(|| slope_between(two, three) > slope_between(one, two))
}

fn means(plane: &[(f64, f64)]) -> (f64, f64) {
    let count = plane.len() as f64;
    let (times, values) = plane.iter().fold((0.0, 0.0), |(times, values), (t, v)| (times + t, values + v));
    (times / count, values / count)
}

fn time_spread(plane: &[(f64, f64)]) -> f64 {
    let (mean, _) = means(plane);
    plane.iter().map(|(time, _)| (time - mean).powi(2)).sum::<f64>().sqrt()
}

fn residuals(plane: &[(f64, f64)], slope: f64) -> Vec<f64> {
    plane.iter().map(|(time, value)| value - slope * time).collect()
}

fn peak_to_peak(values: &[f64]) -> f64 {
    let (low, high) = values
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| (low.min(*value), high.max(*value)));
    high - low
}

/// The value of rank `index`, which is held within the values.
fn nth(values: &mut [f64], index: f64) -> Option<f64> {
    let last = values.len().checked_sub(1)?;
    // A negative or fractional index is cut to a whole one from 0 on.
    let index = (index.max(0.0) as usize).min(last);
    Some(*values.select_nth_unstable_by(index, f64::total_cmp).1)
}

/// The median; of an even number the mean of the two middle values.
fn median_of(values: &mut [f64]) -> Option<f64> {
    let half = values.len() / 2;
    let even = values.len().is_multiple_of(2);
    if values.is_empty() {
        return None;
    }
    let (below, upper, _) = values.select_nth_unstable_by(half, f64::total_cmp);
    let upper = *upper;
    if !even {
        return Some(upper);
    }
    let lower = below.iter().copied().max_by(f64::total_cmp)?;
    Some(f64::midpoint(lower, upper))
}

fn median_distance(values: &[f64]) -> Option<f64> {
    let centre = median_of(&mut values.to_vec())?;
    median_of(&mut values.iter().map(|value| (value - centre).abs()).collect::<Vec<f64>>())
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    type Measure = fn(&[Point]) -> Option<f64>;

    fn points(values: &[(i64, i128)]) -> Vec<Point> {
        values
            .iter()
            .map(|(time_ns, value_scaled_ns)| Point { time_ns: *time_ns, value_scaled_ns: *value_scaled_ns })
            .collect()
    }

    /// Seconds of 2⁻¹⁶ ns noise around a slope of `ppm`.
    fn noisy(count: i64, ppm: i128, noise_ns: i128) -> Vec<Point> {
        let value = |at: i64| {
            let wobble = (i128::from(at) * 7919 + i128::from(at) * i128::from(at) * 104_729) % 1000;
            (at * 1_000_000_000, (i128::from(at) * ppm * 1000 + noise_ns * wobble / 1000) * 65536)
        };
        points(&(0..count).map(value).collect::<Vec<_>>())
    }

    #[test]
    fn two_times_have_no_slope() {
        for few in [points(&[]), points(&[(1, 1)]), points(&[(1, 1), (1, 2), (2, 3)]), points(&[(5, 0); 9])] {
            assert_eq!(theil_sen(&few), None);
            assert_eq!(least_squares(&few), None);
        }
        assert_eq!(lower_envelope(&points(&[(5, 0), (5, 9)])), None);
    }

    #[test]
    fn a_slope_is_found_within_its_own_error() {
        let slope = theil_sen(&noisy(400, 25, 1000)).unwrap();
        assert!((slope.ppm - 25.0).abs() < 3.0 * slope.standard_error_ppm, "{slope:?}");
        assert!(slope.low_ppm <= 25.0 && slope.high_ppm >= 25.0 && slope.is_significant(), "{slope:?}");
        // Theory: σ √12 / (T √n), with σ = 1 µs / √12 for uniform noise of 1 µs; the median of distances of
        // uniform noise is a quarter of its width, so MAD · 1.4826 stands 28 % above σ.
        let theory = 1e6 * (1000.0 * 0.25 * SIGMA_PER_MAD) * 12_f64.sqrt() / (400.0 * 1e9 * 20.0);
        assert!((slope.standard_error_ppm / theory - 1.0).abs() < 0.2, "{slope:?} {theory}");
        assert!(slope.standard_error_at_resolution_ppm(1_000_000) > slope.standard_error_ppm);
    }

    #[test]
    fn late_samples_pull_least_squares_but_neither_of_the_others() {
        let mut late = noisy(100, 2, 0);
        for point in late.iter_mut().skip(60).step_by(7) {
            point.value_scaled_ns += 500_000 * 65536;
        }
        assert!((least_squares(&late).unwrap().ppm - 2.0).abs() > 0.2);
        assert!((theil_sen(&late).unwrap().ppm - 2.0).abs() < 1e-9);
        assert!((lower_envelope(&late).unwrap().ppm - 2.0).abs() < 1e-9);
    }

    #[test]
    fn a_jump_tilts_theil_sen_and_not_the_slope_of_near_points() {
        let mut jumping = noisy(100, 2, 0);
        for point in jumping.iter_mut().skip(50) {
            point.value_scaled_ns += 1_000_000_000 * 65536;
        }
        assert!((theil_sen(&jumping).unwrap().ppm - 2.0).abs() > 100.0);
        assert!((near_slope_ppm(&jumping, 8).unwrap() - 2.0).abs() < 1e-9);
        assert_eq!(near_slope_ppm(&jumping, 100), None);
    }

    #[test]
    fn a_long_series_is_thinned_and_keeps_its_slope_and_its_lowest_point() {
        let long = noisy(20_000, -7, 400);
        let thinned = thin(&long, THEIL_SEN_LIMIT);
        assert!(thinned.len() <= THEIL_SEN_LIMIT && thinned.len() > THEIL_SEN_LIMIT / 2);
        let lowest = |points: &[Point]| points.iter().map(|point| point.value_scaled_ns).min();
        assert_eq!(lowest(&thinned), lowest(&long));
        let slope = theil_sen(&long).unwrap();
        assert!(slope.points_used <= THEIL_SEN_LIMIT && (slope.ppm + 7.0).abs() < 1e-4, "{slope:?}");
    }

    #[test]
    fn no_point_lies_below_the_envelope() {
        let series = noisy(300, 3, 900);
        let envelope = lower_envelope(&series).unwrap();
        let (start, end) = envelope.edge;
        let rise = end.value_scaled_ns - start.value_scaled_ns;
        let run = i128::from(end.time_ns - start.time_ns);
        for point in &series {
            let above = (point.value_scaled_ns - start.value_scaled_ns) * run
                - rise * i128::from(point.time_ns - start.time_ns);
            assert!(above >= 0, "{point:?} lies below {:?}", envelope.edge);
        }
    }

    #[test]
    fn between_two_points_the_value_lies_on_their_line() {
        let line = points(&[(0, 100), (10, 200), (10, 300), (20, -300)]);
        let at = |time| interpolate(&line, time);
        assert_eq!(
            [at(-5), at(0), at(3), at(10), at(15), at(99)].map(Option::unwrap),
            [100, 100, 130, 300, 0, -300]
        );
        assert_eq!(interpolate(&[], 1), None);
        let ends = points(&[(i64::MIN, i128::MIN), (i64::MAX, i128::MAX)]);
        assert!(interpolate(&ends, 0).is_some());
    }

    fn any_points() -> impl Strategy<Value = Vec<Point>> {
        let time = prop_oneof![any::<i64>(), -9_i64..9, Just(i64::MIN), Just(i64::MAX)];
        let value = prop_oneof![any::<i128>(), -9_i128..9, Just(i128::MIN), Just(i128::MAX)];
        let point = (time, value).prop_map(|(time_ns, value_scaled_ns)| Point { time_ns, value_scaled_ns });
        prop::collection::vec(point, 0..40)
    }

    proptest! {
        #[test]
        fn nothing_makes_them_panic(points in any_points(), limit in 0_usize..9) {
            let _ = (theil_sen(&points), least_squares(&points), lower_envelope(&points));
            let _ = (without_slope(&points, 1e9), interpolate(&points, 0));
            let thinned = thin(&points, limit);
            prop_assert!(thinned.len() <= limit.max(1));
        }

        #[test]
        fn a_constant_changes_no_slope_and_a_slope_adds_to_it(
            values in prop::collection::vec(-100_000_i64..100_000, 4..60),
            constant in -1_000_000_000_000_i128..1_000_000_000_000, ppm in -100_i128..100
        ) {
            let with = |constant: i128, ppm: i128| -> Vec<Point> {
                let at = |(place, value): (i64, &i64)| Point {
                    time_ns: place * 1_000_000_000,
                    value_scaled_ns: (i128::from(*value) + i128::from(place) * ppm * 1000 + constant) * 65536,
                };
                (0..).zip(&values).map(at).collect()
            };
            let (plain, moved) = (with(0, 0), with(constant, ppm));
            let measures: [Measure; 3] = [
                |points| theil_sen(points).map(|slope| slope.ppm),
                |points| least_squares(points).map(|slope| slope.ppm),
                |points| lower_envelope(points).map(|envelope| envelope.ppm),
            ];
            for measure in measures {
                let difference = measure(&moved).unwrap() - measure(&plain).unwrap();
                prop_assert!((difference - ppm as f64).abs() < 1e-6, "{difference}");
            }
            let back = without_slope(&moved, ppm as f64);
            let same: Vec<i128> = back.iter().map(|point| point.value_scaled_ns - constant * 65536).collect();
            for (ours, point) in same.iter().zip(&plain) {
                prop_assert!((ours - point.value_scaled_ns).abs() <= 1);
            }
        }
    }
}
