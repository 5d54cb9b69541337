//! Evenly spaced series, as the stability measures need them, and how an uneven one becomes even.

use super::line::Point;
use super::order::median;

/// Of a hundred places of the grid, how many may be without a sample (reference: refuse above 5 %).
const MOST_MISSING_PERCENT: i128 = 5;

/// Values at a constant interval, kept exactly.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct EvenSeries {
    interval_ns: i64,
    base_scaled_ns: i128,
    /// Values less the first one.
    phase_scaled_ns: Vec<i64>,
    interpolated: usize,
}

/// Why a series cannot be made even.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Uneven {
    /// Fewer than three samples.
    TooFew {
        /// Samples given.
        samples: usize,
    },
    /// The interval, or the median of the intervals, is not above 0.
    NoInterval,
    /// More than 5 % of the places have no sample.
    TooManyMissing {
        /// Places without a sample.
        missing: i128,
        /// Places in all.
        places: i128,
    },
    /// A value is more than 39 hours (2⁶³ · 2⁻¹⁶ ns) from the first.
    TooWide,
}

impl EvenSeries {
    /// Values that are evenly spaced already, `interval_ns` apart.
    ///
    /// # Errors
    ///
    /// [`Uneven::TooFew`], [`Uneven::NoInterval`] or [`Uneven::TooWide`].
    pub fn new(interval_ns: i64, values_scaled_ns: &[i128]) -> Result<Self, Uneven> {
        let samples = values_scaled_ns.len();
        let base = *values_scaled_ns.first().filter(|_| samples >= 3).ok_or(Uneven::TooFew { samples })?;
        if interval_ns <= 0 {
            return Err(Uneven::NoInterval);
        }
        let against_base = |value: &i128| {
            value.checked_sub(base).and_then(|phase| i64::try_from(phase).ok()).ok_or(Uneven::TooWide)
        };
        let phase_scaled_ns = values_scaled_ns.iter().map(against_base).collect::<Result<_, _>>()?;
        Ok(Self { interval_ns, base_scaled_ns: base, phase_scaled_ns, interpolated: 0 })
    }

    /// Makes an uneven series even.
    ///
    /// The median distance between samples says how many steps lie between any two; the grid divides the whole
    /// time into that many equal steps, so it keeps pace with the sender where the median alone would drift off.
    /// Each place takes the nearest sample within half a step, and a place without one the straight line between
    /// its neighbours.
    ///
    /// # Errors
    ///
    /// Any of [`Uneven`].
    pub fn resample(points: &[Point]) -> Result<Self, Uneven> {
        let samples = points.len();
        let mut sorted = points.to_vec();
        sorted.sort_by_key(|point| (point.time_ns, point.value_scaled_ns));
        let (Some(first), Some(last), true) = (sorted.first(), sorted.last(), samples >= 3) else {
            return Err(Uneven::TooFew { samples });
        };
        let start = i128::from(first.time_ns);
        let gaps: Vec<i128> = sorted
            .iter()
            .zip(sorted.iter().skip(1))
            .map(|(one, next)| i128::from(next.time_ns) - i128::from(one.time_ns))
            .collect();
        let typical = median(&gaps).filter(|gap| *gap > 0).ok_or(Uneven::NoInterval)?;
        let steps: i128 = gaps.iter().map(|gap| (2 * gap + typical) / (2 * typical)).sum();
        let span = i128::from(last.time_ns) - start;
        let interval = (2 * span + steps).checked_div(2 * steps).ok_or(Uneven::NoInterval)?;
        let interval_ns = i64::try_from(interval).ok().filter(|ns| *ns > 0).ok_or(Uneven::NoInterval)?;
        let places = steps + 1;
        // Before the grid is made: two samples a century apart must not allocate one.
        let surely_missing = places - i128::try_from(samples).unwrap_or(i128::MAX);
        refuse_above_limit(surely_missing, places)?;
        let at_place = |place: i128| start + span * place / steps;
        let mut grid: Vec<Option<(i128, i128)>> = vec![None; usize::try_from(places).unwrap_or(0)];
        for point in &sorted {
            let time = i128::from(point.time_ns);
            let place = (2 * (time - start) * steps + span).checked_div(2 * span).unwrap_or(0);
            let distance = (time - at_place(place)).abs();
            if let Some(slot) = usize::try_from(place).ok().and_then(|place| grid.get_mut(place))
                && slot.is_none_or(|(nearest, _)| distance < nearest)
            {
                *slot = Some((distance, point.value_scaled_ns));
            }
        }
        let missing = grid.iter().filter(|slot| slot.is_none()).count();
        refuse_above_limit(i128::try_from(missing).unwrap_or(i128::MAX), places)?;
        let values: Vec<Option<i128>> = grid.into_iter().map(|slot| slot.map(|(_, value)| value)).collect();
        let mut series = Self::new(interval_ns, &filled(&values))?;
        series.interpolated = missing;
        Ok(series)
    }

    /// The interval, ns.
    #[must_use]
    pub const fn interval_ns(&self) -> i64 {
        self.interval_ns
    }

    /// Number of values.
    #[must_use]
    pub fn len(&self) -> usize {
        self.phase_scaled_ns.len()
    }

    /// Never: an even series has three values or more.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.phase_scaled_ns.is_empty()
    }

    /// Values that no sample gave.
    #[must_use]
    pub const fn interpolated(&self) -> usize {
        self.interpolated
    }

    /// The values, 2⁻¹⁶ ns.
    pub fn values_scaled_ns(&self) -> impl Iterator<Item = i128> {
        self.phase_scaled_ns.iter().map(|phase| self.base_scaled_ns.saturating_add(i128::from(*phase)))
    }

    /// The values less the first one, 2⁻¹⁶ ns.
    #[must_use]
    pub fn phase_scaled_ns(&self) -> &[i64] {
        &self.phase_scaled_ns
    }
}

fn refuse_above_limit(missing: i128, places: i128) -> Result<(), Uneven> {
    if missing.saturating_mul(100) > places.saturating_mul(MOST_MISSING_PERCENT) {
        return Err(Uneven::TooManyMissing { missing, places });
    }
    Ok(())
}

/// Holes take the straight line between their neighbours; both ends are samples by construction.
fn filled(values: &[Option<i128>]) -> Vec<i128> {
    let mut out: Vec<i128> = Vec::with_capacity(values.len());
    let mut hole = 0_i128;
    for value in values {
        let Some(value) = value else {
            hole += 1;
            continue;
        };
        if hole > 0 {
            let left = out.last().copied().unwrap_or(*value);
            let rise = value.saturating_sub(left);
            let steps = hole + 1;
            out.extend((1..steps).map(|step| left.saturating_add((rise / steps).saturating_mul(step))));
            hole = 0;
        }
        out.push(*value);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn point(time_ns: i64, value: i128) -> Point {
        Point { time_ns, value_scaled_ns: value }
    }

    #[test]
    fn a_regular_series_stays_what_it_is() {
        let points: Vec<Point> = (0..50).map(|at| point(at * 125, i128::from(at * at))).collect();
        let series = EvenSeries::resample(&points).unwrap();
        assert_eq!((series.interval_ns(), series.len(), series.interpolated()), (125, 50, 0));
        let values: Vec<i128> = series.values_scaled_ns().collect();
        assert_eq!(values, points.iter().map(|point| point.value_scaled_ns).collect::<Vec<_>>());
    }

    #[test]
    fn one_hole_in_forty_is_bridged_and_one_in_ten_refused() {
        let rare: Vec<Point> =
            (0..200).filter(|at| at % 40 != 20).map(|at| point(at * 10, i128::from(at * 6))).collect();
        let series = EvenSeries::resample(&rare).unwrap();
        assert_eq!((series.len(), series.interpolated()), (200, 5));
        assert!(series.values_scaled_ns().eq((0..200).map(|at| at * 6)));
        let often: Vec<Point> = (0..200).filter(|at| at % 10 != 5).map(|at| point(at * 10, 0)).collect();
        assert_eq!(EvenSeries::resample(&often), Err(Uneven::TooManyMissing { missing: 20, places: 200 }));
    }

    #[test]
    fn what_cannot_be_even_is_refused_with_its_reason() {
        assert_eq!(EvenSeries::resample(&[]), Err(Uneven::TooFew { samples: 0 }));
        assert_eq!(EvenSeries::resample(&[point(1, 1); 9]), Err(Uneven::NoInterval));
        assert_eq!(EvenSeries::new(0, &[1, 2, 3]), Err(Uneven::NoInterval));
        assert_eq!(EvenSeries::new(1, &[0, 0, i128::MAX]), Err(Uneven::TooWide));
        assert_eq!(EvenSeries::new(1, &[-1, 0, i128::MAX]), Err(Uneven::TooWide));
        let ends = [point(i64::MIN, 0), point(i64::MIN + 1, 0), point(i64::MIN + 2, 0), point(i64::MAX, 0)];
        assert!(matches!(EvenSeries::resample(&ends), Err(Uneven::TooManyMissing { .. })));
    }

    proptest! {
        /// Distances between 80 % and 120 % of the pace never look like none or like two.
        #[test]
        fn jitter_does_not_move_samples_to_other_places(jitter in prop::collection::vec(0_i64..200, 3..300)) {
            let point = |(at, late): (i64, &i64)| point(at * 1000 + late, i128::from(at));
            let points: Vec<Point> = (0..).zip(&jitter).map(point).collect();
            let series = EvenSeries::resample(&points).unwrap();
            prop_assert_eq!((series.len(), series.interpolated()), (jitter.len(), 0));
            prop_assert!(series.values_scaled_ns().eq((0..).take(jitter.len())));
        }

        #[test]
        fn nothing_makes_it_panic(points in prop::collection::vec((any::<i64>(), any::<i128>()), 0..40)) {
            let points: Vec<Point> = points.into_iter().map(|(time, value)| point(time, value)).collect();
            if let Ok(series) = EvenSeries::resample(&points) {
                prop_assert!(series.interval_ns() > 0 && series.len() >= 3);
            }
        }
    }
}
