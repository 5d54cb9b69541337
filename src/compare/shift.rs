//! Whether a series has shifted, from what two reports keep of it: median, 5th and 95th percentile, count.
//!
//! The tests are strict on purpose: two captures of a healthy network are never quite alike, and samples that follow
//! one another are not independent.

use super::report::Spread;

/// Samples on each side from which a delay may be called shifted.
///
/// With 20, the standard error of a median is 0.28 σ (1.2533 σ / √n for a normal distribution: asymptotic variance of the
/// sample median, Kendall and Stuart, from memory), of the difference of two 0.40 σ; the 5th and 95th percentiles lie 1.645 σ
/// from the median, so that a median beyond the other's is 4.1 standard errors off: by chance alone less than once in
/// 10,000 times, if samples were independent (chosen).
pub const LEAST_FOR_SHIFT: u64 = 20;

/// Samples on each side from which jitter may be called grown or shrunk.
///
/// The median of a half-normal distribution has a relative standard error of 1.17 / √n (as above); with 100, that of the
/// ratio of two is 0.165, and a factor of 2 is 4.2 of them (chosen).
pub const LEAST_FOR_JITTER: u64 = 100;

/// Factor by which median and 95th percentile must both differ.
pub const JITTER_FACTOR: i64 = 2;

/// Whether a delay or an offset has shifted: each median lies outside the other's 5th to 95th percentile, and they are
/// farther apart than `grain_ns` (the step of the stamps, or the uncertainty of the series).
pub(super) fn has_shifted(before: Spread, after: Spread, grain_ns: i64) -> bool {
    let enough = before.count.min(after.count) >= LEAST_FOR_SHIFT;
    let outside = |value: i64, of: Spread| value < of.p5 || value > of.p95;
    enough
        && outside(before.median, after)
        && outside(after.median, before)
        && apart(before.median, after.median) > grain(grain_ns)
}

/// Whether jitter has grown or shrunk: median and 95th percentile both by the factor, in one direction, and the 95th
/// percentiles are farther apart than `grain_ns`.
pub(super) fn has_scaled(before: Spread, after: Spread, grain_ns: i64) -> bool {
    let enough = before.count.min(after.count) >= LEAST_FOR_JITTER;
    let exceeds = |small: i64, large: i64| large > 0 && large >= small.saturating_mul(JITTER_FACTOR);
    let grown = exceeds(before.median, after.median) && exceeds(before.p95, after.p95);
    let shrunk = exceeds(after.median, before.median) && exceeds(after.p95, before.p95);
    enough && (grown || shrunk) && apart(before.p95, after.p95) > grain(grain_ns)
}

const fn apart(one: i64, other: i64) -> u64 {
    one.abs_diff(other)
}

const fn grain(grain_ns: i64) -> u64 {
    grain_ns.unsigned_abs()
}

#[cfg(test)]
mod tests {
    use super::*;

    const fn spread(p5: i64, median: i64, p95: i64, count: u64) -> Spread {
        Spread { median, p5, p95, count }
    }

    #[test]
    fn a_delay_has_shifted_where_each_median_is_outside_the_others_range() {
        let before = spread(900, 1000, 1100, 20);
        assert!(has_shifted(before, spread(1150, 1250, 1350, 20), 10));
        assert!(has_shifted(before, spread(650, 750, 850, 20), 10));
        // A wide series takes the other's median in, and a near one overlaps.
        assert!(!has_shifted(before, spread(500, 1250, 2000, 20), 10));
        assert!(!has_shifted(before, spread(1000, 1099, 1200, 20), 10));
        assert!(!has_shifted(before, before, 10));
    }

    #[test]
    fn few_samples_and_coarse_stamps_shift_nothing() {
        let (before, after) = (spread(900, 1000, 1100, 20), spread(1150, 1250, 1350, 19));
        assert!(!has_shifted(before, after, 10));
        assert!(!has_shifted(before, spread(1150, 1250, 1350, 20), 250));
        assert!(has_shifted(before, spread(1150, 1250, 1350, 20), 249));
    }

    #[test]
    fn jitter_has_grown_where_its_middle_and_its_edge_have_doubled() {
        let before = spread(10, 100, 400, 100);
        assert!(has_scaled(before, spread(20, 200, 800, 100), 10));
        assert!(has_scaled(spread(20, 200, 800, 100), before, 10));
        // A few outliers move the edge alone, a queue the middle alone.
        assert!(!has_scaled(before, spread(10, 110, 4000, 100), 10));
        assert!(!has_scaled(before, spread(10, 300, 500, 100), 10));
        assert!(!has_scaled(before, spread(20, 200, 800, 99), 10));
        assert!(!has_scaled(before, spread(20, 200, 800, 100), 400));
    }

    #[test]
    fn none_at_all_is_no_factor() {
        assert!(!has_scaled(spread(0, 0, 0, 500), spread(0, 0, 0, 500), 1));
        assert!(has_scaled(spread(0, 0, 0, 500), spread(0, 50, 100, 500), 1));
        assert!(!has_scaled(
            spread(i64::MIN, 0, i64::MAX, 500),
            spread(0, i64::MAX, i64::MAX, 500),
            i64::MIN
        ));
    }
}
