//! A counting table of bounded size that joins as if it had seen everything in one pass.
//!
//! Where there are more keys than the bound, the smallest keep their counts. A key among the smallest of the
//! whole is among the smallest of every part it occurs in, so it is never dropped on the way and its count is
//! exact, however the capture is cut. Keeping the first to come would not have this property.

use std::collections::BTreeMap;
use std::collections::HashMap;
use std::hash::Hash;

use super::hashing::Seeded;

/// Counts that add up.
pub(super) trait Add: Default + Copy {
    /// Adds the counts of a later stretch.
    fn add(&mut self, other: Self);
}

/// A table of at most `LIMIT` keys; up to twice as many are held between two cuts.
#[derive(Debug, Clone)]
pub(super) struct Bounded<K, V, const LIMIT: usize> {
    entries: HashMap<K, V, Seeded>,
    /// Keys above this were dropped.
    ceiling: Option<K>,
}

impl<K, V, const LIMIT: usize> Default for Bounded<K, V, LIMIT> {
    fn default() -> Self {
        Self { entries: HashMap::default(), ceiling: None }
    }
}

impl<K: Copy + Ord + Hash, V: Add, const LIMIT: usize> Bounded<K, V, LIMIT> {
    /// The counts of a key; `None` where there is no room for it.
    pub(super) fn entry(&mut self, key: K) -> Option<&mut V> {
        if self.ceiling.is_some_and(|ceiling| key > ceiling) {
            return None;
        }
        if self.entries.len() >= LIMIT.saturating_mul(2) && !self.entries.contains_key(&key) {
            self.cut();
            if self.ceiling.is_some_and(|ceiling| key > ceiling) {
                return None;
            }
        }
        Some(self.entries.entry(key).or_default())
    }

    /// Drops all but the smallest keys.
    fn cut(&mut self) {
        if self.entries.len() <= LIMIT {
            return;
        }
        let mut keys: Vec<K> = self.entries.keys().copied().collect();
        keys.sort_unstable();
        let Some(ceiling) = keys.get(LIMIT.saturating_sub(1)).copied() else { return };
        self.entries.retain(|key, _| *key <= ceiling);
        self.ceiling = Some(ceiling);
    }

    /// This table and that of the stretch after it as one.
    pub(super) fn join(mut self, right: Self) -> Self {
        self.ceiling = match (self.ceiling, right.ceiling) {
            (Some(left), Some(right)) => Some(left.min(right)),
            (left, right) => left.or(right),
        };
        if let Some(ceiling) = self.ceiling {
            self.entries.retain(|key, _| *key <= ceiling);
        }
        for (key, counts) in right.entries {
            if let Some(ours) = self.entry(key) {
                ours.add(counts);
            }
        }
        self
    }

    /// What is kept, in order: at most `LIMIT` keys.
    pub(super) fn sorted(&self) -> BTreeMap<K, V> {
        let mut sorted: Vec<(K, V)> = self.entries.iter().map(|(key, counts)| (*key, *counts)).collect();
        sorted.sort_unstable_by_key(|(key, _)| *key);
        sorted.truncate(LIMIT);
        sorted.into_iter().collect()
    }
}

impl<K: Copy + Ord + Hash, V: Add + PartialEq, const LIMIT: usize> PartialEq for Bounded<K, V, LIMIT> {
    fn eq(&self, other: &Self) -> bool {
        self.sorted() == other.sorted()
    }
}

impl Add for u64 {
    fn add(&mut self, other: Self) {
        *self = self.saturating_add(other);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    type Small = Bounded<u16, u64, 4>;

    fn counted(keys: &[u16]) -> Small {
        let mut table = Small::default();
        for key in keys {
            if let Some(count) = table.entry(*key) {
                *count += 1;
            }
        }
        table
    }

    #[test]
    fn the_smallest_keys_keep_exact_counts() {
        let table = counted(&[9, 9, 8, 7, 6, 5, 4, 3, 2, 1, 9, 2, 1]);
        assert_eq!(table.sorted().into_iter().collect::<Vec<_>>(), [(1, 2), (2, 2), (3, 1), (4, 1)]);
        assert!(table.entries.len() <= 8);
    }

    proptest! {
        #[test]
        fn cut_anywhere_it_counts_as_in_one_pass(
            keys in proptest::collection::vec(0_u16..24, 0..120), at in 0_usize..120, again in 0_usize..120,
        ) {
            let (left, rest) = keys.split_at(at.min(keys.len()));
            let (middle, right) = rest.split_at(again.min(rest.len()));
            let joined = counted(left).join(counted(middle)).join(counted(right));
            let whole = counted(&keys);
            prop_assert_eq!(joined.sorted(), whole.sorted());
            // Against counting without a bound.
            let mut every: BTreeMap<u16, u64> = BTreeMap::new();
            for key in &keys {
                *every.entry(*key).or_default() += 1;
            }
            prop_assert_eq!(whole.sorted(), every.into_iter().take(4).collect::<BTreeMap<_, _>>());
            prop_assert!(whole.entries.len() <= 8);
        }
    }
}
