//! Values kept one by one, in half the room for as long as all of them are short: there are thousands of series.

/// Values in the order they came.
#[derive(Debug, Clone)]
pub(super) enum Values {
    /// Of which none takes more: in nanoseconds some four seconds.
    Short(Vec<u32>),
    /// Of any size.
    Long(Vec<i64>),
}

impl Default for Values {
    fn default() -> Self {
        Self::Short(Vec::new())
    }
}

impl Values {
    /// Adds a value.
    pub(super) fn push(&mut self, value: i64) {
        match self {
            Self::Long(values) => values.push(value),
            Self::Short(values) => match u32::try_from(value) {
                Ok(value) => values.push(value),
                Err(_) => {
                    let mut long: Vec<i64> = values.iter().copied().map(i64::from).collect();
                    long.push(value);
                    *self = Self::Long(long);
                }
            },
        }
    }

    /// How many there are.
    pub(super) const fn len(&self) -> usize {
        match self {
            Self::Short(values) => values.len(),
            Self::Long(values) => values.len(),
        }
    }

    /// All of them, in order.
    pub(super) fn iter(&self) -> impl Iterator<Item = i64> {
        let (short, long): (&[u32], &[i64]) = match self {
            Self::Short(values) => (values, &[]),
            Self::Long(values) => (&[], values),
        };
        short.iter().copied().map(i64::from).chain(long.iter().copied())
    }

    /// The value of nearest rank at `per_mille` thousandths of the first `count`; `None` where there are not so many, or none.
    pub(super) fn nearest_rank(&self, count: usize, per_mille: u32) -> Option<i64> {
        match self {
            Self::Short(values) => nearest_rank(values.get(..count)?, per_mille).map(i64::from),
            Self::Long(values) => nearest_rank(values.get(..count)?, per_mille),
        }
    }
}

fn nearest_rank<T: Ord + Copy>(values: &[T], per_mille: u32) -> Option<T> {
    let mut sorted = values.to_vec();
    let last = sorted.len().checked_sub(1)?;
    let rank = sorted.len().saturating_mul(usize::try_from(per_mille).ok()?).div_ceil(1000);
    let index = rank.saturating_sub(1).min(last);
    Some(*sorted.select_nth_unstable(index).1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn short_and_long_values_are_kept_alike(
            values in prop::collection::vec(prop_oneof![9 => 0_i64..=4_294_967_295, 1 => any::<i64>()], 0..40),
            count in 0_usize..44, per_mille in 0_u32..=1000,
        ) {
            let mut kept = Values::default();
            values.iter().for_each(|value| kept.push(*value));
            let is_short = values.iter().all(|value| u32::try_from(*value).is_ok());
            prop_assert_eq!(matches!(kept, Values::Short(_)), is_short);
            prop_assert_eq!(kept.iter().collect::<Vec<_>>(), values.clone());
            prop_assert_eq!(kept.len(), values.len());
            let expected = values.get(..count).and_then(|first| nearest_rank(first, per_mille));
            prop_assert_eq!(kept.nearest_rank(count, per_mille), expected);
        }
    }
}
