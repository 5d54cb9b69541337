//! A joinable distribution of durations: exact while small, a histogram of three digits once large.
//!
//! A histogram takes a hundred KiB, and there may be one for each of thousands of ports. Most series keep near one value:
//! as long as few of the histogram's classes are met, those are kept with their counts, and poured into a histogram where
//! something is asked of it.

use std::borrow::Cow;
use std::collections::BTreeMap;

use hdrhistogram::Histogram;

use super::short::Values;
use crate::units::Nanos;

/// Values kept exactly before they are poured into a histogram (chosen: mostly 4 KiB a distribution).
const EXACT_LIMIT: usize = 1024;

/// Classes of values kept before there is a histogram for good (chosen: 8 KiB a distribution).
const CLASSES_LIMIT: usize = 512;

/// Significant decimal digits of the histogram, so its values are within 0.1 %.
const HISTOGRAM_DIGITS: u8 = 3;

/// Bits of a value that the histogram tells apart at three digits: 2000 rounded up to a power of two (hdrhistogram 7).
const CLASS_BITS: u32 = 11;

/// Durations of 0 ns and more. What it reports depends only on the values, not on their order or on how
/// they were split before a join.
#[derive(Debug, Clone, Default)]
pub struct Distribution {
    exact: Values,
    coarse: Option<Box<Coarse>>,
    extremes: Option<(i64, i64)>,
    count: u64,
}

/// What is kept of many values.
#[derive(Debug, Clone)]
enum Coarse {
    /// The smallest value of each class that was met, in order, and how many of them there were.
    Few(Vec<(u64, u32)>),
    Many(Histogram<u32>),
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
            Some(coarse) => coarse.add(class_of(value.0), 1),
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
            Some(coarse) => {
                for value in other.exact.iter() {
                    coarse.add(class_of(value), 1);
                }
                if let Some(theirs) = &other.coarse {
                    coarse.join(theirs);
                }
            }
            None => other.exact.iter().for_each(|value| self.exact.push(value)),
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
        if let Some(histogram) = self.coarse.as_ref().and_then(|coarse| coarse.histogram()) {
            let value = |value: u64| Nanos(i64::try_from(value).unwrap_or(i64::MAX));
            return histogram
                .iter_recorded()
                .map(|step| (value(step.value_iterated_to()), step.count_at_value().into()))
                .collect();
        }
        let mut counts = BTreeMap::new();
        for value in self.exact.iter() {
            *counts.entry(Nanos(value)).or_default() += 1;
        }
        counts.into_iter().collect()
    }

    /// The classes that values were met in, in order: the smallest and the largest value of each, and how many there were.
    /// A class is one value while all are kept one by one; else up to a thousandth of its value wide, but none reaches
    /// beyond the smallest and the largest value of all.
    #[must_use]
    pub fn classes(&self) -> Vec<(Nanos, Nanos, u64)> {
        let Some((min, max)) = self.extremes else { return Vec::new() };
        let is_exact = self.coarse.is_none();
        let class = |(value, count): (Nanos, u64)| {
            if is_exact {
                return (value, value, count);
            }
            let low = i64::try_from(class_of(value.0)).unwrap_or(i64::MAX);
            let width = i64::try_from(width_of(value.0.unsigned_abs())).unwrap_or(i64::MAX);
            let high = low.saturating_add(width - 1);
            (Nanos(low.clamp(min, max)), Nanos(high.clamp(min, max)), count)
        };
        self.counts().into_iter().map(class).collect()
    }

    /// The value of nearest rank at `per_mille` thousandths.
    #[must_use]
    pub fn quantile(&self, per_mille: u32) -> Option<Nanos> {
        let (min, max) = self.extremes?;
        let value = match &self.coarse {
            Some(coarse) => {
                let at = coarse.value_at_quantile(f64::from(per_mille) / 1000.0);
                i64::try_from(at).ok()?.clamp(min, max)
            }
            None => self.exact.nearest_rank(self.exact.len(), per_mille)?,
        };
        Some(Nanos(value))
    }

    /// The median of the first `count` values, whose ends were `ends`. `later` are the values after those, needed only where
    /// they are no longer kept one by one ([`Self::has_room`]).
    #[must_use]
    pub fn median_without(&self, later: &[Nanos], count: u64, ends: Option<(Nanos, Nanos)>) -> Option<Nanos> {
        let Some(coarse) = &self.coarse else {
            return self.exact.nearest_rank(usize::try_from(count).ok()?, 500).map(Nanos);
        };
        let (min, max) = ends?;
        let mut earlier = coarse.as_ref().clone();
        earlier.take(later);
        let at = i64::try_from(earlier.value_at_quantile(0.5)).ok()?;
        Some(Nanos(at).clamp(min, max))
    }

    /// Smallest and largest value.
    #[must_use]
    pub fn ends(&self) -> Option<(Nanos, Nanos)> {
        self.extremes.map(|(min, max)| (Nanos(min), Nanos(max)))
    }

    /// Whether one more value leaves all of them kept one by one.
    #[must_use]
    pub const fn has_room(&self) -> bool {
        self.coarse.is_none() && self.exact.len() < EXACT_LIMIT
    }

    fn coarsen(&mut self) {
        let mut coarse = Coarse::Few(Vec::new());
        for value in std::mem::take(&mut self.exact).iter() {
            coarse.add(class_of(value), 1);
        }
        self.coarse = Some(Box::new(coarse));
    }
}

impl Coarse {
    fn add(&mut self, class: u64, count: u32) {
        match self {
            Self::Many(histogram) => pour(histogram, class, count),
            Self::Few(classes) => match classes.binary_search_by_key(&class, |(class, _)| *class) {
                Ok(at) => {
                    if let Some((_, known)) = classes.get_mut(at) {
                        *known = known.saturating_add(count);
                    }
                }
                Err(at) => {
                    classes.insert(at, (class, count));
                    if classes.len() > CLASSES_LIMIT
                        && let Some(histogram) = self.histogram().map(Cow::into_owned)
                    {
                        *self = Self::Many(histogram);
                    }
                }
            },
        }
    }

    /// Takes back values that were added.
    fn take(&mut self, values: &[Nanos]) {
        let classes = values.iter().map(|value| class_of(value.0));
        match self {
            Self::Many(histogram) => {
                let mut taken = histogram.clone();
                taken.clear();
                classes.for_each(|class| pour(&mut taken, class, 1));
                // Both have the same shape, and the values are there.
                let taken = histogram.subtract(&taken);
                debug_assert!(taken.is_ok(), "what was added can be taken back");
            }
            Self::Few(known) => {
                for class in classes {
                    if let Ok(at) = known.binary_search_by_key(&class, |(class, _)| *class)
                        && let Some((_, count)) = known.get_mut(at)
                    {
                        *count = count.saturating_sub(1);
                    }
                }
            }
        }
    }

    fn join(&mut self, other: &Self) {
        match (&mut *self, other) {
            (_, Self::Few(theirs)) => theirs.iter().for_each(|(class, count)| self.add(*class, *count)),
            (Self::Many(ours), Self::Many(theirs)) => add(ours, theirs),
            (Self::Few(_), Self::Many(theirs)) => {
                let mut whole = theirs.clone();
                if let Some(ours) = self.histogram() {
                    add(&mut whole, &ours);
                }
                *self = Self::Many(whole);
            }
        }
    }

    /// `None` where there can be no histogram of so many digits, which three are not.
    /// What the histogram says, read from the classes where there is none.
    fn value_at_quantile(&self, quantile: f64) -> u64 {
        let classes = match self {
            Self::Many(histogram) => return histogram.value_at_quantile(quantile),
            Self::Few(classes) => classes,
        };
        let all: u64 = classes.iter().map(|(_, count)| u64::from(*count)).sum();
        #[allow(clippy::as_conversions, reason = "as the histogram rounds; never below 0")]
        let wanted = ((quantile * all as f64).ceil() as u64).max(1);
        let mut so_far = 0;
        let met = classes.iter().find(|(_, count)| {
            so_far += u64::from(*count);
            so_far >= wanted
        });
        let last_of = |class: u64| class + width_of(class) - 1;
        met.map_or(0, |(class, _)| if quantile > 0.0 { last_of(*class) } else { *class })
    }

    fn histogram(&self) -> Option<Cow<'_, Histogram<u32>>> {
        match self {
            Self::Many(histogram) => Some(Cow::Borrowed(histogram)),
            Self::Few(classes) => {
                let mut histogram = Histogram::new(HISTOGRAM_DIGITS).ok()?;
                for (class, count) in classes {
                    pour(&mut histogram, *class, *count);
                }
                Some(Cow::Owned(histogram))
            }
        }
    }
}

fn add(histogram: &mut Histogram<u32>, other: &Histogram<u32>) {
    // Both have the same digits and resize, so this cannot fail; a failure would lose counts.
    let added = histogram.add(other);
    debug_assert!(added.is_ok(), "histograms of one shape must add");
}

fn pour(histogram: &mut Histogram<u32>, value: u64, count: u32) {
    // `record_n` grows the histogram; saturating would cut off at its present size. It can fail only beyond u64.
    let recorded = histogram.record_n(value, count);
    debug_assert!(recorded.is_ok(), "a growing histogram takes every value");
}

/// The smallest of the values that the histogram does not tell from this one.
const fn class_of(value: i64) -> u64 {
    let value = value.unsigned_abs();
    value & !(width_of(value) - 1)
}

/// How many values its class has.
const fn width_of(value: u64) -> u64 {
    1 << (u64::BITS - value.leading_zeros()).saturating_sub(CLASS_BITS)
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
    fn a_steady_series_takes_no_histogram_however_long() {
        let steady: Vec<i64> = (0..50_000).map(|n| 1_000_000_000 + n % 300 * 1000).collect();
        let distribution = of(&steady);
        let Some(Coarse::Few(classes)) = distribution.coarse.as_deref() else { panic!("a histogram") };
        assert!(classes.len() < 3 && distribution.exact.len() == 0, "{classes:?}");
        let scattered: Vec<i64> = (0..50_000).map(|n| n * 1_000_000).collect();
        assert!(matches!(of(&scattered).coarse.as_deref(), Some(Coarse::Many(_))));
    }

    #[test]
    fn classes_hold_every_value_and_reach_no_farther() {
        let alike = of(&[8_000_000_000; 2000]);
        assert_eq!(alike.classes(), [(Nanos(8_000_000_000), Nanos(8_000_000_000), 2000)]);
        let values: Vec<i64> = (0..3000).map(|n| 124_950_000 + n * 37).collect();
        let classes = of(&values).classes();
        let all: u64 = classes.iter().map(|(_, _, count)| count).sum();
        assert_eq!(
            (classes.first().unwrap().0, classes.last().unwrap().1, all),
            (Nanos(124_950_000), Nanos(125_060_963), 3000)
        );
        for (low, high, count) in &classes {
            let inside = values.iter().filter(|value| (low.0..=high.0).contains(*value)).count();
            assert_eq!(u64::try_from(inside).unwrap(), *count, "{low:?} to {high:?}");
        }
        assert_eq!(of(&[5, 7, 7]).classes(), [(Nanos(5), Nanos(5), 1), (Nanos(7), Nanos(7), 2)]);
        assert_eq!(of(&[]).classes(), []);
    }

    #[test]
    fn small_sets_are_exact_by_nearest_rank() {
        let summary = of(&[40, 10, 30, 20]).summary().unwrap();
        assert_eq!((summary.median, summary.min, summary.max), (Nanos(20), Nanos(10), Nanos(40)));
        assert_eq!((summary.p5, summary.p95, summary.count), (Nanos(10), Nanos(40), 4));
    }

    /// Values that mostly keep near one, as the gaps of a sender do, so that few classes are met.
    fn steady() -> impl Strategy<Value = i64> {
        prop_oneof![40 => 990_000_000_i64..1_010_000_000, 1 => 0_i64..5_000_000_000]
    }

    proptest! {
        #[test]
        fn few_classes_tell_what_the_histogram_tells(
            values in prop::collection::vec(prop_oneof![steady(), 0_i64..4096, Just(i64::MAX)], 1025..1400),
        ) {
            let distribution = of(&values);
            let few = distribution.coarse.as_deref().is_some_and(|coarse| matches!(coarse, Coarse::Few(_)));
            let mut histogram = Histogram::<u32>::new(HISTOGRAM_DIGITS).unwrap();
            for value in &values {
                histogram.record(value.unsigned_abs()).unwrap();
            }
            let (min, max) = (*values.iter().min().unwrap(), *values.iter().max().unwrap());
            for per_mille in [0, 1, 50, 333, 500, 950, 999, 1000] {
                let expected = histogram.value_at_quantile(f64::from(per_mille) / 1000.0);
                let expected = i64::try_from(expected).unwrap_or(i64::MAX).clamp(min, max);
                prop_assert_eq!(distribution.quantile(per_mille), Some(Nanos(expected)), "few: {}", few);
            }
            let counts = distribution.counts();
            let steps = histogram.iter_recorded().map(|step| (step.value_iterated_to(), step.count_at_value()));
            let expected: Vec<(Nanos, u64)> = steps
                .map(|(value, count)| (Nanos(i64::try_from(value).unwrap_or(i64::MAX)), count.into()))
                .collect();
            prop_assert_eq!(counts, expected);
        }

        #[test]
        fn the_median_of_the_first_is_as_it_was_when_they_were_all(
            values in prop::collection::vec(prop_oneof![steady(), 0_i64..5_000_000_000], 1..2500),
            many_kinds in any::<bool>(), later in 0_usize..64,
        ) {
            let kept = |value: &i64| many_kinds || (990_000_000..1_010_000_000).contains(value);
            let values: Vec<i64> = values.into_iter().filter(kept).collect();
            let (first, rest) = values.split_at(values.len().saturating_sub(later));
            let (before, after) = (of(first), of(&values));
            let rest: Vec<Nanos> = rest.iter().copied().map(Nanos).collect();
            // Where the first were all kept one by one and now are not, nobody asks for what is no longer known.
            if before.coarse.is_some() || after.coarse.is_none() {
                let count = u64::try_from(first.len()).unwrap();
                prop_assert_eq!(after.median_without(&rest, count, before.ends()), before.median());
            }
        }

        #[test]
        fn few_classes_join_as_in_one_pass(left in prop::collection::vec(steady(), 0..2500),
                                           right in prop::collection::vec(steady(), 0..2500)) {
            let mut joined = of(&left);
            joined.join(&of(&right));
            let all: Vec<i64> = left.iter().chain(&right).copied().collect();
            prop_assert_eq!(joined.summary(), of(&all).summary());
            prop_assert_eq!(joined.counts(), of(&all).counts());
        }

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
