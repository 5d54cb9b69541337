//! Statistics of a few points, worked out by hand.

use downbeat::statistics;
use downbeat::statistics::Point;
use downbeat::statistics::Slope;
use downbeat::timing::ScaledNanos;
use downbeat::timing::Series;
use downbeat::units::CaptureTime;

const SECOND_NS: i64 = 1_000_000_000;

/// Points of whole seconds and whole nanoseconds.
fn points(values: &[(i64, i128)]) -> Vec<Point> {
    let point = |(s, ns): &(i64, i128)| Point { time_ns: s * SECOND_NS, value_scaled_ns: ns * 65536 };
    values.iter().map(point).collect()
}

fn assert_near(ours: f64, worked_out: f64) {
    assert!((ours - worked_out).abs() < 1e-9 * worked_out.abs().max(1e-3), "{ours} is not {worked_out}");
}

/// Means 1.5 s and 1.5 ns; Σ(t − t̄)(v − v̄) = 2.25 − 0.25 − 0.25 + 2.25 = 4 and Σ(t − t̄)² = 5, so 0.8 ns a second. What is left
/// of each is 0, 1.2, −0.6, 0.6 with the mean 0.3; Σ of the squared distances from it is 1.8, so σ² = 1.8 / 2 and the standard
/// error √(0.9 / 5) = √0.18. One ns a second is 0.001 ppm.
#[test]
fn a_line_through_four_points_is_that_of_least_squares() {
    let slope = statistics::least_squares(&points(&[(0, 0), (1, 2), (2, 1), (3, 3)])).unwrap();
    assert_near(slope.ppm, 0.8e-3);
    assert_near(slope.standard_error_ppm, 0.18_f64.sqrt() * 1e-3);
    assert_near(slope.low_ppm, (0.8 - 1.959_964 * 0.18_f64.sqrt()) * 1e-3);
    assert_near(slope.high_ppm, (0.8 + 1.959_964 * 0.18_f64.sqrt()) * 1e-3);
    assert_near(slope.time_spread_ns, 5.0_f64.sqrt() * 1e9);
    assert_near(slope.residual_peak_to_peak_ns, 1.8);
    assert_eq!(slope.points_used, 4);
}

/// Ten points of 1 ns a second, of which the sixth is 20 ns late: 36 of the 45 pairs are without it and rise by 1; of the nine
/// with it five rise more, by 1 + 20/5, 1 + 20/4, 1 + 20/3, 1 + 20/2 and 1 + 20, and four less, by 1 − 20, 1 − 20/2, 1 − 20/3 and
/// 1 − 20/4. Kendall's σ is √(10 · 9 · 25 / 18) = √125, and 1.959964 of it is 21.913, so the interval goes from the pair of rank
/// ⌊(45 − 21.913) / 2⌋ − 1 = 10 to that of rank ⌈(45 + 21.913) / 2⌉ = 34, both among those that rise by 1.
#[test]
fn one_late_point_leaves_the_median_slope_and_its_interval() {
    let mut values: Vec<(i64, i128)> = (0..10).map(|s| (s, i128::from(s))).collect();
    values[5].1 += 20;
    let slope = statistics::theil_sen(&points(&values)).unwrap();
    assert_near(slope.ppm, 1e-3);
    assert_near(slope.low_ppm, 1e-3);
    assert_near(slope.high_ppm, 1e-3);
    assert_near(slope.residual_peak_to_peak_ns, 20.0);
    // Σ(t − t̄)² of 0 to 9 is (10³ − 10) / 12 = 82.5.
    assert_near(slope.time_spread_ns, 82.5_f64.sqrt() * 1e9);
    assert_eq!(slope.points_used, 10);
}

/// Squares of 0 to 9: the pairs rise by the sums i + j, 45 of them from 1 to 17 with 9 in the middle. The interval as above goes
/// from rank 10, which is a 6 (9 are less, 33 more), to rank 34, which is a 12. What is left, t² − 9t, goes from −20 to 0; its
/// median is −14, and the distances from it are 0, 0, 4, 4, 6, 6, 6, 6, 14 and 14.
#[test]
fn a_curve_has_the_median_slope_and_interval_of_its_pairs() {
    let values: Vec<(i64, i128)> = (0..10).map(|s| (s, i128::from(s * s))).collect();
    let slope = statistics::theil_sen(&points(&values)).unwrap();
    assert_near(slope.ppm, 9e-3);
    assert_near(slope.low_ppm, 6e-3);
    assert_near(slope.high_ppm, 12e-3);
    assert_near(slope.residual_peak_to_peak_ns, 20.0);
    assert_near(slope.standard_error_ppm, 1.4826 * 6.0 / 82.5_f64.sqrt() * 1e-3);
}

/// Four points that rise by 1, 4 and 5 ns: their six pairs rise by 1, 2.5, 10/3, 4, 4.5 and 5 a second. The interval of 95 % holds
/// nearly all: √(4 · 3 · 13 / 18) · 1.959964 = 5.77, so it goes from rank ⌊(6 − 5.77) / 2⌋ − 1, held at 0, to
/// ⌈(6 + 5.77) / 2⌉ = 6, held at the last.
#[test]
fn the_interval_of_few_points_is_from_the_lowest_slope_to_the_highest() {
    let slope = statistics::theil_sen(&points(&[(0, 0), (1, 1), (2, 5), (3, 10)])).unwrap();
    assert_near(slope.low_ppm, 1e-3);
    assert_near(slope.high_ppm, 5e-3);
    assert_near(slope.ppm, f64::midpoint(10.0 / 3.0, 4.0) * 1e-3);
}

/// In which order points come changes nothing.
#[test]
fn points_may_come_in_any_order() {
    let forth = points(&[(0, 5), (1, 0), (2, 9), (3, 1), (4, 30), (5, 2)]);
    let mut back = forth.clone();
    back.reverse();
    let mut mixed = forth.clone();
    mixed.swap(0, 3);
    mixed.swap(1, 5);
    for other in [back, mixed] {
        assert_eq!(statistics::theil_sen(&other), statistics::theil_sen(&forth));
        assert_eq!(statistics::lower_envelope(&other), statistics::lower_envelope(&forth));
        assert_eq!(statistics::thin(&other, 4), statistics::thin(&forth, 4));
        assert_eq!(
            statistics::least_squares(&other).map(|slope| slope.points_used),
            statistics::least_squares(&forth).map(|slope| slope.points_used)
        );
    }
}

/// (1 + 2 + 6) / 3 = 3; √((1 + 4 + 36) / 3); √((4 + 1 + 9) / 2) = √7.
#[test]
fn the_size_of_three_time_errors() {
    let errors = [1_i128, 2, 6].map(|ns| ns * 65536);
    let told = statistics::time_error(&errors).unwrap();
    assert_near(told.mean_ns, 3.0);
    assert_near(told.rms_ns, (41.0_f64 / 3.0).sqrt());
    assert_near(told.standard_deviation_ns.unwrap(), 7.0_f64.sqrt());
    assert_eq!((told.max_abs_scaled_ns, told.peak_to_peak_scaled_ns, told.count), (6 * 65536, 5 * 65536, 3));
    assert_eq!(statistics::time_error(&errors[..1]).unwrap().standard_deviation_ns, None);
}

/// Three standard errors are not more than three.
#[test]
fn a_slope_is_significant_beyond_three_standard_errors() {
    let slope = statistics::least_squares(&points(&[(0, 0), (1, 2), (2, 1), (3, 3)])).unwrap();
    let with = |ppm, standard_error_ppm| Slope { ppm, standard_error_ppm, ..slope };
    assert!(with(3.1, 1.0).is_significant() && with(-3.1, 1.0).is_significant());
    assert!(!with(3.0, 1.0).is_significant() && !with(-2.9, 1.0).is_significant());
}

/// A series that keeps sixteen has at most four runs: from the seventeenth sample on they are joined in pairs, so 26 samples end in
/// four runs, of eight, eight, eight and two, each with its lowest and its highest.
#[test]
fn runs_of_a_long_series_are_of_equal_count() {
    let mut series = Series::with_limit(16);
    for at in 0..26_i64 {
        // 0 10 1 11 2 12 …: low and high in turn.
        let value = at / 2 + 10 * (at % 2);
        series.push(CaptureTime(at), ScaledNanos(i128::from(value)));
    }
    let told = |points: Vec<Point>| -> Vec<(i64, i128)> {
        points.iter().map(|point| (point.time_ns, point.value_scaled_ns)).collect()
    };
    assert_eq!(told(series.lowest()), [(0, 0), (8, 4), (16, 8), (24, 12)]);
    assert_eq!(told(series.highest()), [(7, 13), (15, 17), (23, 21), (25, 22)]);
    // Every other sample stays in the draw.
    let times: Vec<i64> = series.points().iter().map(|point| point.time_ns).collect();
    assert_eq!(times, [0, 2, 4, 6, 8, 10, 12, 14, 16, 18, 20, 22, 24]);
}
