//! Time error: its size, its mean and its change over windows (ITU-T G.810 and G.8260, from memory).
#![allow(clippy::as_conversions, reason = "exact integers become f64 for means and roots")]

use std::collections::VecDeque;

use super::even::EvenSeries;

/// 2⁻¹⁶ ns in a nanosecond.
const SCALE: f64 = 65536.0;

/// What a series of time errors amounts to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TimeError {
    /// max|TE|: the largest absolute time error, 2⁻¹⁶ ns, exact (G.8260).
    pub max_abs_scaled_ns: u128,
    /// cTE: the constant time error, the mean over the series, ns (G.8260 often takes 1000 s).
    pub mean_ns: f64,
    /// Root of the mean square, ns.
    pub rms_ns: f64,
    /// Largest less smallest time error, 2⁻¹⁶ ns, exact; the same for dTE = TE − cTE.
    pub peak_to_peak_scaled_ns: u128,
    /// Standard deviation with n − 1; `None` for one value, ns.
    pub standard_deviation_ns: Option<f64>,
    /// Number of values.
    pub count: usize,
}

/// Size and mean of time errors; `None` without values.
#[must_use]
pub fn time_error(values_scaled_ns: &[i128]) -> Option<TimeError> {
    let (min, max) = (*values_scaled_ns.iter().min()?, *values_scaled_ns.iter().max()?);
    let first = *values_scaled_ns.first()?;
    let count = values_scaled_ns.len() as f64;
    // Against the first value, so that a large constant costs no digits.
    let moved: Vec<f64> =
        values_scaled_ns.iter().map(|value| value.saturating_sub(first) as f64 / SCALE).collect();
    let moved_mean = moved.iter().sum::<f64>() / count;
    let mean_ns = first as f64 / SCALE + moved_mean;
    let squares: f64 = moved.iter().map(|value| (value - moved_mean).powi(2)).sum();
    Some(TimeError {
        max_abs_scaled_ns: min.unsigned_abs().max(max.unsigned_abs()),
        mean_ns,
        rms_ns: (squares / count + mean_ns * mean_ns).sqrt(),
        peak_to_peak_scaled_ns: max.abs_diff(min),
        standard_deviation_ns: (count > 1.0).then(|| (squares / (count - 1.0)).sqrt()),
        count: values_scaled_ns.len(),
    })
}

/// Maximum time interval error: the largest peak-to-peak within any window of one length.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Mtie {
    /// Length of the window, ns.
    pub tau_ns: i64,
    /// The largest peak-to-peak, 2⁻¹⁶ ns, exact.
    pub scaled_ns: i128,
    /// Windows looked at.
    pub windows: usize,
}

/// MTIE(n·τ₀): over all windows of n + 1 values the largest difference of largest and smallest (G.810 II).
///
/// One pass with two queues, so O(N). `None` for n = 0 or n above N − 1.
#[must_use]
pub fn mtie(series: &EvenSeries, n: usize) -> Option<Mtie> {
    let phase = series.phase_scaled_ns();
    let windows = phase.len().checked_sub(n).filter(|windows| n > 0 && *windows > 0)?;
    let tau_ns = series.interval_ns().checked_mul(i64::try_from(n).ok()?)?;
    let (mut highest, mut lowest) = (Extreme::default(), Extreme::default());
    let mut widest = 0_i128;
    for (place, value) in phase.iter().enumerate() {
        let start = place.saturating_sub(n);
        let top = highest.slide(start, place, i128::from(*value));
        let bottom = lowest.slide(start, place, -i128::from(*value));
        if place >= n {
            widest = widest.max(top + bottom);
        }
    }
    Some(Mtie { tau_ns, scaled_ns: widest, windows })
}

/// MTIE over windows of 1, 2, 4 … intervals and the whole record: O(N log N).
#[must_use]
pub fn mtie_octaves(series: &EvenSeries) -> Vec<Mtie> {
    let whole = series.len().saturating_sub(1);
    let lengths = std::iter::successors(Some(1_usize), |n| n.checked_mul(2)).take_while(|n| *n < whole);
    lengths.chain(std::iter::once(whole)).filter_map(|n| mtie(series, n)).collect()
}

/// The largest value of a sliding window.
#[derive(Default)]
struct Extreme {
    /// Places and values that can still become the largest: later in time, smaller in value.
    candidates: VecDeque<(usize, i128)>,
}

impl Extreme {
    fn slide(&mut self, start: usize, place: usize, value: i128) -> i128 {
        while self.candidates.back().is_some_and(|(_, smaller)| *smaller <= value) {
            self.candidates.pop_back();
        }
        self.candidates.push_back((place, value));
        while self.candidates.front().is_some_and(|(place, _)| *place < start) {
            self.candidates.pop_front();
        }
        self.candidates.front().map_or(value, |(_, largest)| *largest)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn series(values: &[i128]) -> EvenSeries {
        EvenSeries::new(1_000, values).unwrap()
    }

    /// The definition, window by window.
    fn by_definition(values: &[i128], n: usize) -> i128 {
        let width = |window: &[i128]| window.iter().max().unwrap() - window.iter().min().unwrap();
        values.windows(n + 1).map(width).max().unwrap()
    }

    #[test]
    fn a_window_of_nothing_or_beyond_the_record_has_no_mtie() {
        let short = series(&[1, 2, 3]);
        assert_eq!(mtie(&short, 0), None);
        assert_eq!(mtie(&short, 3), None);
        assert_eq!(mtie(&short, usize::MAX), None);
        assert_eq!(mtie(&short, 2), Some(Mtie { tau_ns: 2_000, scaled_ns: 2, windows: 1 }));
    }

    #[test]
    fn no_values_have_no_time_error_and_the_ends_of_the_range_have_one() {
        assert_eq!(time_error(&[]), None);
        let ends = time_error(&[i128::MIN, i128::MAX]).unwrap();
        assert_eq!(ends.peak_to_peak_scaled_ns, u128::MAX);
        assert_eq!(time_error(&[-3 * 65536]).unwrap().mean_ns, -3.0);
    }

    proptest! {
        #[test]
        fn mtie_is_its_definition_grows_with_the_window_and_ends_at_peak_to_peak(
            values in prop::collection::vec(-1_000_000_i128..1_000_000, 3..60)
        ) {
            let series = series(&values);
            let mut before = 0;
            for n in 1..values.len() {
                let now = mtie(&series, n).unwrap().scaled_ns;
                prop_assert_eq!(now, by_definition(&values, n));
                prop_assert!(now >= before);
                before = now;
            }
            let whole = time_error(&values).unwrap().peak_to_peak_scaled_ns;
            prop_assert_eq!(u128::try_from(before).unwrap(), whole);
            prop_assert_eq!(mtie_octaves(&series).last().unwrap().scaled_ns, before);
        }

        #[test]
        fn a_constant_moves_the_mean_and_not_the_spread(
            values in prop::collection::vec(-1_000_000_i128..1_000_000, 2..60), ns in -1_000_000_i128..1_000_000
        ) {
            let moved: Vec<i128> = values.iter().map(|value| value + ns * 65536).collect();
            let (plain, moved) = (time_error(&values).unwrap(), time_error(&moved).unwrap());
            prop_assert!((moved.mean_ns - plain.mean_ns - ns as f64).abs() < 1e-6);
            prop_assert_eq!(moved.peak_to_peak_scaled_ns, plain.peak_to_peak_scaled_ns);
            let spread = |error: TimeError| error.standard_deviation_ns.unwrap();
            prop_assert!((spread(moved) - spread(plain)).abs() < 1e-6);
        }
    }
}
