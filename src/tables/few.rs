//! Counts of few different values: a list that is searched faster than any tree. The value that was met first, mostly the only
//! one, lies where the list itself does.

/// How often each value was met, in order of the values.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Few<K> {
    /// The value that was met first. There are no others without it.
    first: Option<(K, u64)>,
    /// The others in order.
    others: Vec<(K, u64)>,
}

impl<K> Default for Few<K> {
    fn default() -> Self {
        Self { first: None, others: Vec::new() }
    }
}

impl<K: Ord> Few<K> {
    /// Counts a value; one that was not met before only where there are fewer than `limit`.
    pub fn count(&mut self, value: K, limit: usize) {
        self.add(value, 1, limit);
    }

    /// Counts a value so many times.
    pub fn add(&mut self, value: K, count: u64, limit: usize) {
        let Some((first, times)) = &mut self.first else {
            if limit > 0 {
                self.first = Some((value, count));
            }
            return;
        };
        if *first == value {
            *times += count;
        } else if let Some((_, times)) = self.others.iter_mut().find(|(known, _)| *known == value) {
            *times += count;
        } else if self.len() < limit {
            let at = self.others.partition_point(|(known, _)| *known < value);
            self.others.insert(at, (value, count));
        }
    }

    /// How often a value was met; `None` where never.
    #[must_use]
    pub fn get(&self, value: &K) -> Option<&u64> {
        self.iter().find(|(known, _)| *known == value).map(|(_, times)| times)
    }

    /// All, in order.
    pub fn iter(&self) -> impl Iterator<Item = (&K, &u64)> {
        let smaller = |first: &(K, u64)| self.others.partition_point(|(known, _)| *known < first.0);
        let (before, after) = self.others.split_at(self.first.as_ref().map_or(0, smaller));
        before.iter().chain(&self.first).chain(after).map(|(value, times)| (value, times))
    }

    /// The values, in order.
    pub fn keys(&self) -> impl Iterator<Item = &K> {
        self.iter().map(|(value, _)| value)
    }

    /// The counts, in order of the values.
    pub fn values(&self) -> impl Iterator<Item = &u64> {
        self.iter().map(|(_, times)| times)
    }

    /// How many values there are.
    #[must_use]
    pub fn len(&self) -> usize {
        usize::from(self.first.is_some()) + self.others.len()
    }

    /// Whether none was met.
    #[must_use]
    pub const fn is_empty(&self) -> bool {
        self.first.is_none()
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
        few.add(9, 4, 3);
        assert_eq!(few.iter().collect::<Vec<_>>(), [(&3, &2), (&7, &3), (&9, &5)]);
        assert_eq!((few.get(&7), few.get(&1), few.len()), (Some(&3), None, 3));
        assert!(Few::<u8>::default().iter().next().is_none());
    }
}
