//! A joinable distribution of durations: exact while small, a histogram of three digits once large.

use std::collections::BTreeMap;

use hdrhistogram::Histogram;

use crate::units::Nanos;

/// Values kept exactly before they are poured into a histogram (chosen: 8 KiB a distribution).
const EXACT_LIMIT: usize = 1024;

/// Significant decimal digits of the histogram, so its values are within 0.1 %.
const HISTOGRAM_DIGITS: u8 = 3;

/// Durations of 0 ns and more. What it reports depends only on the values, not on their order or on how
/// they were split before a join.
#[derive(Debug, Clone, Default)]
pub struct Distribution {
    exact: Vec<i64>,
    coarse: Option<Histogram<u32>>,
    extremes: Option<(i64, i64)>,
    count: u64,
}

/// Order statistics of a distribution, by nearest rank.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Summary {
    /// 50th percentile.
    pub median: Nanos,
    /// 5th percentile.
    pub p5: Nanos,
    /// 95th percentile.
    pub p95: Nanos,
    /// Smallest value, exact.
    pub min: Nanos,
    /// Largest value, exact.
    pub max: Nanos,
    /// Number of values.
    pub count: u64,
}

impl Distribution {
    /// Adds a duration; a negative one is not one and is left out.
    pub fn record(&mut self, value: Nanos) {
        if value.0 < 0 {
            return;
        }
        self.count += 1;
        let (min, max) = self.extremes.unwrap_or((value.0, value.0));
        self.extremes = Some((min.min(value.0), max.max(value.0)));
        match &mut self.coarse {
            Some(histogram) => pour(histogram, value.0),
            None => {
                self.exact.push(value.0);
                if self.exact.len() > EXACT_LIMIT {
                    self.coarsen();
                }
            }
        }
    }

    /// Adds all of `other`'s values.
    pub fn join(&mut self, other: &Self) {
        let whole = self.exact.len().saturating_add(other.exact.len());
        if self.coarse.is_none() && (other.coarse.is_some() || whole > EXACT_LIMIT) {
            self.coarsen();
        }
        match &mut self.coarse {
            Some(histogram) => {
                for value in &other.exact {
                    pour(histogram, *value);
                }
                if let Some(theirs) = &other.coarse {
                    // Both have the same digits and resize, so this cannot fail; a failure would lose counts.
                    if histogram.add(theirs).is_err() {
                        debug_assert!(false, "histograms of one shape must add");
                    }
                }
            }
            None => self.exact.extend_from_slice(&other.exact),
        }
        self.count += other.count;
        self.extremes = match (self.extremes, other.extremes) {
            (Some((a, b)), Some((c, d))) => Some((a.min(c), b.max(d))),
            (one, None) => one,
            (None, other) => other,
        };
    }

    /// Number of values.
    #[must_use]
    pub const fn count(&self) -> u64 {
        self.count
    }

    /// The median, or `None` without values.
    #[must_use]
    pub fn median(&self) -> Option<Nanos> {
        self.quantile(500)
    }

    /// The summary, or `None` without values.
    #[must_use]
    pub fn summary(&self) -> Option<Summary> {
        let (min, max) = self.extremes?;
        Some(Summary {
            median: self.quantile(500)?,
            p5: self.quantile(50)?,
            p95: self.quantile(950)?,
            min: Nanos(min),
            max: Nanos(max),
            count: self.count,
        })
    }

    /// Every value with how often it occurs, in order; within 0.1 % once there are many.
    #[must_use]
    pub fn counts(&self) -> Vec<(Nanos, u64)> {
        if let Some(histogram) = &self.coarse {
            let value = |value: u64| Nanos(i64::try_from(value).unwrap_or(i64::MAX));
            return histogram
                .iter_recorded()
                .map(|step| (value(step.value_iterated_to()), step.count_at_value().into()))
                .collect();
        }
        let mut counts = BTreeMap::new();
        for value in &self.exact {
            *counts.entry(Nanos(*value)).or_default() += 1;
        }
        counts.into_iter().collect()
    }

    /// The value of nearest rank at `per_mille` thousandths.
    #[must_use]
    pub fn quantile(&self, per_mille: u32) -> Option<Nanos> {
        let (min, max) = self.extremes?;
        let value = match &self.coarse {
            Some(histogram) => {
                let at = histogram.value_at_quantile(f64::from(per_mille) / 1000.0);
                i64::try_from(at).ok()?.clamp(min, max)
            }
            None => {
                let mut sorted = self.exact.clone();
                let last = sorted.len().checked_sub(1)?;
                let rank = sorted.len().saturating_mul(usize::try_from(per_mille).ok()?).div_ceil(1000);
                let index = rank.saturating_sub(1).min(last);
                *sorted.select_nth_unstable(index).1
            }
        };
        Some(Nanos(value))
    }

    fn coarsen(&mut self) {
        let Ok(mut histogram) = Histogram::new(HISTOGRAM_DIGITS) else { return };
        for value in self.exact.drain(..) {
            pour(&mut histogram, value);
        }
        self.coarse = Some(histogram);
    }
}

fn pour(histogram: &mut Histogram<u32>, value: i64) {
    // `record` grows the histogram; saturating would cut off at its present size. It can fail only beyond u64.
    let recorded = histogram.record(value.unsigned_abs());
    debug_assert!(recorded.is_ok(), "a growing histogram takes every value");
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn of(values: &[i64]) -> Distribution {
        let mut distribution = Distribution::default();
        for value in values {
            distribution.record(Nanos(*value));
        }
        distribution
    }

    #[test]
    fn nothing_recorded_gives_nothing() {
        assert_eq!(Distribution::default().summary(), None);
        assert_eq!(of(&[-1]).summary(), None);
    }

    #[test]
    fn small_sets_are_exact_by_nearest_rank() {
        let summary = of(&[40, 10, 30, 20]).summary().unwrap();
        assert_eq!((summary.median, summary.min, summary.max), (Nanos(20), Nanos(10), Nanos(40)));
        assert_eq!((summary.p5, summary.p95, summary.count), (Nanos(10), Nanos(40), 4));
    }

    proptest! {
        #[test]
        fn join_equals_one_pass(left in prop::collection::vec(0_i64..10_000_000_000, 0..1500),
                                right in prop::collection::vec(0_i64..10_000_000_000, 0..1500)) {
            let mut joined = of(&left);
            joined.join(&of(&right));
            let all: Vec<i64> = left.iter().chain(&right).copied().collect();
            prop_assert_eq!(joined.summary(), of(&all).summary());
        }

        #[test]
        fn large_sets_stay_within_a_thousandth(values in prop::collection::vec(1_i64..10_000_000_000, 1025..1400)) {
            let summary = of(&values).summary().unwrap();
            let mut sorted = values.clone();
            sorted.sort_unstable();
            let exact = sorted[sorted.len().div_ceil(2) - 1];
            prop_assert!((summary.median.0 - exact).abs() <= exact / 1000 + 1);
            prop_assert_eq!(summary.max.0, *sorted.last().unwrap());
        }
    }
}
