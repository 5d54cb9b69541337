//! The minimum filter: queueing only adds delay, so of each window the smallest value is the nearest to the truth.

use std::collections::BTreeMap;

use super::offset::TwoWay;
use super::scaled::ScaledNanos;
use crate::statistics::Point;
use crate::units::Nanos;

/// Samples a window needs before its minimum is used (reference).
pub const LEAST_WINDOW_SAMPLES: usize = 16;

/// The smallest value of each window, the first of equals, by window number: time divided by `window`, so windows
/// are the same however a capture is cut. Windows with fewer than `least_samples` values are left out.
///
/// Take the slope out first ([`crate::statistics::without_slope`]), or the minimum drifts to one end of its window.
/// Empty unless `window` is above 0.
#[must_use]
pub fn window_minima(points: &[Point], window: Nanos, least_samples: usize) -> BTreeMap<i64, Point> {
    let mut lowest: BTreeMap<i64, (Point, usize)> = BTreeMap::new();
    if window.0 <= 0 {
        return BTreeMap::new();
    }
    for point in points {
        let entry = lowest.entry(point.time_ns.div_euclid(window.0)).or_insert((*point, 0));
        entry.1 += 1;
        if (point.value_scaled_ns, point.time_ns) < (entry.0.value_scaled_ns, entry.0.time_ns) {
            entry.0 = *point;
        }
    }
    let enough = lowest.into_iter().filter(|(_, (_, samples))| *samples >= least_samples);
    enough.map(|(number, (point, _))| (number, point)).collect()
}

/// Both directions' minima of the windows that have both: θ̂ = (min to capture − min from request) / 2.
#[must_use]
pub fn combine(
    to_capture: &BTreeMap<i64, Point>,
    from_request: &BTreeMap<i64, Point>,
) -> BTreeMap<i64, TwoWay> {
    let both = |(number, point): (&i64, &Point)| {
        let other = from_request.get(number)?;
        let to_capture = ScaledNanos(point.value_scaled_ns);
        Some((*number, TwoWay { to_capture, from_request: ScaledNanos(other.value_scaled_ns) }))
    };
    to_capture.iter().filter_map(both).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn point(time_ns: i64, value: i128) -> Point {
        Point { time_ns, value_scaled_ns: value }
    }

    #[test]
    fn each_window_keeps_its_least_and_short_windows_nothing() {
        let points = [point(-1, 7), point(-10, 9), point(0, 5), point(9, 4), point(5, 4), point(10, 1)];
        let minima = window_minima(&points, Nanos(10), 2);
        assert_eq!(minima, BTreeMap::from([(-1, point(-1, 7)), (0, point(5, 4))]));
        assert!(window_minima(&points, Nanos(0), 1).is_empty());
    }

    #[test]
    fn only_windows_seen_both_ways_combine() {
        let forth = BTreeMap::from([(0, point(1, 700)), (1, point(11, 900))]);
        let back = BTreeMap::from([(1, point(12, 100)), (2, point(21, 5))]);
        let both = combine(&forth, &back);
        assert_eq!(both.len(), 1);
        assert_eq!((both[&1].offset().0, both[&1].mean_path_delay().0), (400, 500));
    }

    proptest! {
        #[test]
        fn late_packets_do_not_move_the_minimum(
            queueing in prop::collection::vec(0_i128..1_000_000_000, 16..60), at in 0_usize..16
        ) {
            let mut values = queueing;
            values[at] = 0;
            let points: Vec<Point> = (0..).zip(&values).map(|(time, late)| point(time, 77 + late)).collect();
            let minima = window_minima(&points, Nanos(1000), LEAST_WINDOW_SAMPLES);
            prop_assert_eq!(minima[&0].value_scaled_ns, 77);
        }

        #[test]
        fn nothing_makes_it_panic(points in prop::collection::vec((any::<i64>(), any::<i128>()), 0..30), window in any::<i64>()) {
            let points: Vec<Point> = points.into_iter().map(|(time, value)| point(time, value)).collect();
            let minima = window_minima(&points, Nanos(window), 1);
            let _ = combine(&minima, &minima);
        }
    }
}
