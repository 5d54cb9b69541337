//! A series of samples in bounded memory, honest about its middle and its ends however long the capture.
//!
//! Up to its limit a series keeps every sample. Past it, two thinned forms stand in:
//!
//! - every 2ᵏ-th sample, an even draw, so median, percentiles and stability measures keep their meaning. When
//!   these reach the limit again, every other one goes and k grows. (A disturbance that repeats exactly every 2ᵏ
//!   samples would be over- or underdrawn.)
//! - runs of samples of equal count with the lowest and the highest of each, so envelope and extremes lose nothing.
//!   When there are too many, runs are joined in pairs.
//!
//! Both depend on the samples and their order alone. Samples must come in order of capture, in one pass: two thinned
//! series cannot be joined to what one pass would have kept, so none is offered.
//!
//! Memory: at the default limit at most 4096 points and 1025 runs, about 200 KiB.

use crate::statistics::LowerEnvelope;
use crate::statistics::OrderStatistics;
use crate::statistics::Point;
use crate::statistics::Slope;
use crate::statistics::lower_envelope;
use crate::statistics::order_statistics;
use crate::statistics::theil_sen;
use crate::units::CaptureTime;

use super::scaled::ScaledNanos;

/// Samples kept before thinning begins (chosen: 8 Sync a second for eight and a half minutes).
pub const DEFAULT_LIMIT: usize = 4096;

/// Samples and values by time.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Series {
    limit: usize,
    /// Every `stride`-th sample, from the first one on.
    drawn: Vec<Point>,
    stride: u64,
    /// Empty while every sample is kept.
    runs: Vec<Run>,
    /// Samples a full run holds.
    run_length: u64,
    count: u64,
}

/// Neighbouring samples of which two are kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Run {
    count: u64,
    lowest: Point,
    highest: Point,
}

impl Default for Series {
    fn default() -> Self {
        Self::with_limit(DEFAULT_LIMIT)
    }
}

impl Series {
    /// A series that keeps up to `limit` samples whole (at least 16).
    #[must_use]
    pub fn with_limit(limit: usize) -> Self {
        let limit = limit.max(16);
        Self { limit, drawn: Vec::new(), stride: 1, runs: Vec::new(), run_length: 1, count: 0 }
    }

    /// Takes in a sample.
    pub fn push(&mut self, time: CaptureTime, value: ScaledNanos) {
        let point = Point { time_ns: time.0, value_scaled_ns: value.0 };
        if self.is_whole() && self.drawn.len() >= self.limit {
            self.start_runs();
        }
        if !self.is_whole() {
            self.add_to_runs(Run { count: 1, lowest: point, highest: point });
        }
        if self.count.is_multiple_of(self.stride) {
            self.drawn.push(point);
            if self.drawn.len() > self.limit {
                let mut place = 0_usize;
                self.drawn.retain(|_| {
                    place += 1;
                    !place.is_multiple_of(2)
                });
                self.stride = self.stride.saturating_mul(2);
            }
        }
        self.count += 1;
    }

    fn start_runs(&mut self) {
        let samples = self.drawn.clone();
        for point in samples {
            self.add_to_runs(Run { count: 1, lowest: point, highest: point });
        }
    }

    fn add_to_runs(&mut self, sample: Run) {
        match self.runs.last_mut() {
            Some(open) if open.count < self.run_length => *open = open.with(sample),
            _ => self.runs.push(sample),
        }
        if self.runs.len() > self.limit / 4 {
            // Runs before the last are full, so joined pairs are full at twice the length.
            let pair = |pair: &[Run]| pair.iter().copied().reduce(Run::with);
            self.runs = self.runs.chunks(2).filter_map(pair).collect();
            self.run_length = self.run_length.saturating_mul(2);
        }
    }

    /// Samples taken in.
    #[must_use]
    pub const fn count(&self) -> u64 {
        self.count
    }

    /// Whether every sample is still kept.
    #[must_use]
    pub const fn is_whole(&self) -> bool {
        self.runs.is_empty()
    }

    /// Every sample, or an even draw of them, in order of arrival.
    #[must_use]
    pub fn points(&self) -> &[Point] {
        &self.drawn
    }

    /// Every sample, or the lowest of each run (the first of equals).
    #[must_use]
    pub fn lowest(&self) -> Vec<Point> {
        if self.is_whole() { self.drawn.clone() } else { self.runs.iter().map(|run| run.lowest).collect() }
    }

    /// Every sample, or the highest of each run (the first of equals).
    #[must_use]
    pub fn highest(&self) -> Vec<Point> {
        if self.is_whole() { self.drawn.clone() } else { self.runs.iter().map(|run| run.highest).collect() }
    }

    /// Median, 5th and 95th percentile of the kept draw, in 2⁻¹⁶ ns; smallest and largest of all samples, exact.
    ///
    /// `count` is the number of samples the percentiles stand on. `None` without samples.
    #[must_use]
    pub fn order_statistics(&self) -> Option<OrderStatistics<i128>> {
        let values: Vec<i128> = self.drawn.iter().map(|point| point.value_scaled_ns).collect();
        let drawn = order_statistics(&values)?;
        let ends = |points: Vec<Point>| points.into_iter().map(|point| point.value_scaled_ns);
        Some(OrderStatistics { min: ends(self.lowest()).min()?, max: ends(self.highest()).max()?, ..drawn })
    }

    /// The Theil–Sen slope of the kept draw.
    #[must_use]
    pub fn slope(&self) -> Option<Slope> {
        theil_sen(&self.drawn)
    }

    /// The lower envelope of all samples.
    ///
    /// Exact in value while the series is whole. After that a corner of the hull can be missing where a run's lowest
    /// is not its corner, which a slope makes happen; the line still has no kept sample below it.
    #[must_use]
    pub fn lower_envelope(&self) -> Option<LowerEnvelope> {
        lower_envelope(&self.lowest())
    }
}

impl Run {
    fn with(self, later: Self) -> Self {
        let lower = later.lowest.value_scaled_ns < self.lowest.value_scaled_ns;
        let higher = later.highest.value_scaled_ns > self.highest.value_scaled_ns;
        Self {
            count: self.count.saturating_add(later.count),
            lowest: if lower { later.lowest } else { self.lowest },
            highest: if higher { later.highest } else { self.highest },
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn of(limit: usize, values: &[i128]) -> Series {
        let mut series = Series::with_limit(limit);
        for (at, value) in (0..).zip(values) {
            series.push(CaptureTime(at * 125_000_000), ScaledNanos(*value));
        }
        series
    }

    #[test]
    fn nothing_pushed_gives_nothing() {
        let empty = Series::default();
        assert!(empty.is_whole());
        assert_eq!((empty.order_statistics(), empty.slope(), empty.lower_envelope()), (None, None, None));
    }

    #[test]
    fn up_to_its_limit_a_series_keeps_all() {
        let values: Vec<i128> = (0..64).collect();
        let series = of(64, &values);
        assert!(series.is_whole());
        assert_eq!(series.points().len(), 64);
        assert_eq!(series.lowest(), series.points());
        assert!(!of(64, &[0; 65]).is_whole());
    }

    #[test]
    fn a_day_of_samples_keeps_its_rate_its_median_and_its_floor() {
        // Eight a second for a day: 3 ppm, uniform noise of 1 µs, one late sample in 50.
        let mut state = 1_u64;
        let mut series = Series::default();
        for at in 0..691_200_i64 {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            let noise = i128::from(state >> 33) % 1000;
            let late = if state >> 40 & 0x3f == 0 { 50_000 } else { 0 };
            let drift = i128::from(at) * 375;
            series.push(CaptureTime(at * 125_000_000), ScaledNanos((drift + noise + late) * 65536));
        }
        assert_eq!(series.count(), 691_200);
        assert!(series.points().len() <= DEFAULT_LIMIT && series.points().len() > DEFAULT_LIMIT / 4);
        assert!(series.lowest().len() <= DEFAULT_LIMIT / 4);
        let slope = series.slope().unwrap();
        assert!((slope.ppm - 3.0).abs() < 1e-4, "{slope:?}");
        assert!((series.lower_envelope().unwrap().ppm - 3.0).abs() < 1e-4);
        let told = series.order_statistics().unwrap();
        let middle = 691_200 / 2 * 375 * 65536;
        assert!((told.median - middle).abs() < middle / 100, "{told:?}");
    }

    proptest! {
        #[test]
        fn the_ends_are_kept_and_the_draw_is_even(
            values in prop::collection::vec(any::<i128>(), 1..700), limit in 0_usize..70
        ) {
            let series = of(limit, &values);
            let told = series.order_statistics().unwrap();
            prop_assert_eq!(told.min, *values.iter().min().unwrap());
            prop_assert_eq!(told.max, *values.iter().max().unwrap());
            prop_assert_eq!(series.count(), u64::try_from(values.len()).unwrap());
            let limit = limit.max(16);
            prop_assert!(series.points().len() <= limit);
            prop_assert!(series.lowest().len() <= limit && series.highest().len() <= limit);
            let times: Vec<i64> = series.points().iter().map(|point| point.time_ns).collect();
            let steps: Vec<i64> = times.windows(2).map(|pair| pair[1] - pair[0]).collect();
            prop_assert!(steps.windows(2).all(|pair| pair[0] == pair[1]));
            let covered: u64 = series.runs.iter().map(|run| run.count).sum();
            prop_assert!(series.is_whole() || covered == series.count());
        }

        #[test]
        fn nothing_makes_it_panic(samples in prop::collection::vec((any::<i64>(), any::<i128>()), 0..60)) {
            let mut series = Series::with_limit(16);
            for (time, value) in samples {
                series.push(CaptureTime(time), ScaledNanos(value));
            }
            let _ = (series.order_statistics(), series.slope(), series.lower_envelope());
        }
    }
}
