//! Order statistics of exact values, by nearest rank as in [`super::Distribution`].

/// Order statistics of a set of values, by nearest rank; `min` and `max` are members of the set.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct OrderStatistics<T> {
    /// 50th percentile.
    pub median: T,
    /// 5th percentile.
    pub p5: T,
    /// 95th percentile.
    pub p95: T,
    /// Smallest value.
    pub min: T,
    /// Largest value.
    pub max: T,
    /// Number of values.
    pub count: usize,
}

/// Median, 5th and 95th percentile, ends and count in one; `None` without values.
#[must_use]
pub fn order_statistics<T: Copy + Ord>(values: &[T]) -> Option<OrderStatistics<T>> {
    let mut sorted = values.to_vec();
    sorted.sort_unstable();
    let at = |per_mille| sorted.get(rank(sorted.len(), per_mille)?).copied();
    Some(OrderStatistics {
        median: at(500)?,
        p5: at(50)?,
        p95: at(950)?,
        min: *sorted.first()?,
        max: *sorted.last()?,
        count: sorted.len(),
    })
}

/// The value of nearest rank at `per_mille` thousandths (above 1000: the largest); `None` without values.
#[must_use]
pub fn quantile<T: Copy + Ord>(values: &[T], per_mille: u32) -> Option<T> {
    let mut copy = values.to_vec();
    let index = rank(copy.len(), per_mille)?;
    Some(*copy.select_nth_unstable(index).1)
}

/// The median by nearest rank: of an even number the lower of the two middle values, so always one of them.
#[must_use]
pub fn median<T: Copy + Ord>(values: &[T]) -> Option<T> {
    quantile(values, 500)
}

/// Median of the distances from the median, for nanoseconds, ticks or any other whole unit.
///
/// About 0.6745 σ where the values are normally distributed. `None` without values.
#[must_use]
pub fn median_absolute_deviation(values: &[i64]) -> Option<u64> {
    let centre = median(values)?;
    let distances: Vec<u64> = values.iter().map(|value| value.abs_diff(centre)).collect();
    median(&distances)
}

/// Like [`median_absolute_deviation`], for values in 2⁻¹⁶ ns.
#[must_use]
pub fn median_absolute_deviation_scaled_ns(values_scaled_ns: &[i128]) -> Option<u128> {
    let centre = median(values_scaled_ns)?;
    let distances: Vec<u128> = values_scaled_ns.iter().map(|value| value.abs_diff(centre)).collect();
    median(&distances)
}

fn rank(count: usize, per_mille: u32) -> Option<usize> {
    let last = count.checked_sub(1)?;
    let rank = count.saturating_mul(usize::try_from(per_mille).ok()?).div_ceil(1000);
    Some(rank.saturating_sub(1).min(last))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn no_values_have_no_median() {
        assert_eq!(median::<i64>(&[]), None);
        assert_eq!(median_absolute_deviation(&[]), None);
        assert_eq!(median_absolute_deviation_scaled_ns(&[]), None);
        assert_eq!(order_statistics::<i128>(&[]), None);
    }

    #[test]
    fn ranks_are_the_nearest() {
        let values: Vec<i64> = (1..=20).rev().collect();
        let all = order_statistics(&values).unwrap();
        assert_eq!((all.p5, all.median, all.p95, all.min, all.max, all.count), (1, 10, 19, 1, 20, 20));
        assert_eq!(quantile(&values, 1001), Some(20));
    }

    #[test]
    fn one_outlier_does_not_move_the_median_absolute_deviation() {
        assert_eq!(median_absolute_deviation(&[1, 2, 3, 4, 5]), Some(1));
        assert_eq!(median_absolute_deviation(&[1, 2, 3, 4, i64::MAX]), Some(1));
        assert_eq!(median_absolute_deviation(&[i64::MIN, i64::MAX]), Some(0));
    }

    proptest! {
        #[test]
        fn a_constant_moves_the_quantile_and_not_the_deviation(
            values in prop::collection::vec(any::<i32>(), 1..60), shift in any::<i32>(), per_mille in 0_u32..=1000
        ) {
            let plain: Vec<i64> = values.iter().map(|value| i64::from(*value)).collect();
            let moved: Vec<i64> = plain.iter().map(|value| value + i64::from(shift)).collect();
            prop_assert_eq!(quantile(&moved, per_mille).unwrap(), quantile(&plain, per_mille).unwrap() + i64::from(shift));
            prop_assert_eq!(median_absolute_deviation(&moved), median_absolute_deviation(&plain));
        }

        #[test]
        fn both_widths_agree(values in prop::collection::vec(any::<i64>(), 0..60)) {
            let wide: Vec<i128> = values.iter().map(|value| i128::from(*value)).collect();
            prop_assert_eq!(median(&values).map(i128::from), median(&wide));
            prop_assert_eq!(
                median_absolute_deviation(&values).map(u128::from),
                median_absolute_deviation_scaled_ns(&wide)
            );
        }
    }
}
