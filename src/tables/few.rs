//! Counts of few different values: a list that is searched faster than any tree.

/// How often each value was met, in order of the values.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Few<K>(Vec<(K, u64)>);

impl<K> Default for Few<K> {
    fn default() -> Self {
        Self(Vec::new())
    }
}

impl<K: Ord> Few<K> {
    /// Counts a value; one that was not met before only where there are fewer than `limit`.
    pub fn count(&mut self, value: K, limit: usize) {
        if let Some((_, times)) = self.0.iter_mut().find(|(known, _)| *known == value) {
            *times += 1;
        } else if self.0.len() < limit {
            let at = self.0.partition_point(|(known, _)| *known < value);
            self.0.insert(at, (value, 1));
        }
    }

    /// How often a value was met; `None` where never.
    #[must_use]
    pub fn get(&self, value: &K) -> Option<&u64> {
        self.0.iter().find(|(known, _)| known == value).map(|(_, times)| times)
    }

    /// All, in order.
    pub fn iter(&self) -> impl ExactSizeIterator<Item = (&K, &u64)> {
        self.0.iter().map(|(value, times)| (value, times))
    }

    /// The values, in order.
    pub fn keys(&self) -> impl ExactSizeIterator<Item = &K> {
        self.0.iter().map(|(value, _)| value)
    }

    /// The counts, in order of the values.
    pub fn values(&self) -> impl ExactSizeIterator<Item = &u64> {
        self.0.iter().map(|(_, times)| times)
    }

    /// How many values there are.
    #[must_use]
    pub const fn len(&self) -> usize {
        self.0.len()
    }

    /// Whether none was met.
    #[must_use]
    pub const fn is_empty(&self) -> bool {
        self.0.is_empty()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_are_counted_in_order_and_no_more_than_the_limit_are_kept() {
        let mut few = Few::default();
        for value in [7, 3, 7, 9, 3, 7, 1] {
            few.count(value, 3);
        }
        assert_eq!(few.iter().collect::<Vec<_>>(), [(&3, &2), (&7, &3), (&9, &1)]);
        assert_eq!((few.get(&7), few.get(&1), few.len()), (Some(&3), None, 3));
    }
}
