//! A counting table of bounded size that joins as if it had seen everything in one pass.
//!
//! Where there are more keys than the bound, the smallest keep their counts. A key among the smallest of the
//! whole is among the smallest of every part it occurs in, so it is never dropped on the way and its count is
//! exact, however the capture is cut. Keeping the first to come would not have this property.

use std::collections::BTreeMap;
use std::collections::HashMap;
use std::hash::Hash;
use std::net::Ipv4Addr;

use crate::tables::Seeded;
use crate::units::MacAddress;

/// Counts that add up.
pub(super) trait Add: Default + Copy {
    /// Adds the counts of a later stretch.
    fn add(&mut self, other: Self);
}

/// Places of the cache in front of a table (chosen: a hundred stations seldom meet in 1 KiB).
const CACHE: usize = 256;
/// A place with nothing in it.
const NOWHERE: u32 = u32::MAX;

/// A key that says at once where it may be found again; without a secret, as a meeting costs one look into the table only.
pub(super) trait Spread {
    /// Some of its bits that differ from key to key.
    fn bits(&self) -> u32;
}

/// A table of at most `LIMIT` keys; up to twice as many are held between two cuts.
#[derive(Debug, Clone)]
pub(super) struct Bounded<K, V, const LIMIT: usize> {
    entries: Vec<(K, V)>,
    places: HashMap<K, u32, Seeded>,
    /// Places of keys met lately; empty before the first.
    cache: Vec<u32>,
    /// Keys above this were dropped.
    ceiling: Option<K>,
}

impl<K, V, const LIMIT: usize> Default for Bounded<K, V, LIMIT> {
    fn default() -> Self {
        Self { entries: Vec::new(), places: HashMap::default(), cache: Vec::new(), ceiling: None }
    }
}

/// Where in the cache a key lies: the upper bits of a product by 2^32 divided by the golden ratio are well mixed.
fn slot(bits: u32) -> usize {
    usize::try_from(bits.wrapping_mul(0x9E37_79B9) >> 24).unwrap_or_default()
}

impl<K: Copy + Ord + Hash + Spread, V: Add, const LIMIT: usize> Bounded<K, V, LIMIT> {
    /// The counts of a key; `None` where there is no room for it.
    pub(super) fn entry(&mut self, key: K) -> Option<&mut V> {
        let slot = slot(key.bits());
        let cached = self.cache.get(slot).and_then(|place| usize::try_from(*place).ok());
        let place =
            match cached.filter(|place| self.entries.get(*place).is_some_and(|(known, _)| *known == key)) {
                Some(place) => place,
                None => self.find(key, slot)?,
            };
        self.entries.get_mut(place).map(|(_, counts)| counts)
    }

    /// Where a key is, made where it was not.
    fn find(&mut self, key: K, slot: usize) -> Option<usize> {
        if self.ceiling.is_some_and(|ceiling| key > ceiling) {
            return None;
        }
        let place = match self.places.get(&key) {
            Some(place) => *place,
            None => {
                if self.entries.len() >= LIMIT.saturating_mul(2) {
                    self.cut();
                    if self.ceiling.is_some_and(|ceiling| key > ceiling) {
                        return None;
                    }
                }
                let place = u32::try_from(self.entries.len()).ok()?;
                self.entries.push((key, V::default()));
                self.places.insert(key, place);
                place
            }
        };
        if self.cache.is_empty() {
            self.cache = vec![NOWHERE; CACHE];
        }
        if let Some(cached) = self.cache.get_mut(slot) {
            *cached = place;
        }
        usize::try_from(place).ok()
    }

    /// Drops all but the smallest keys.
    fn cut(&mut self) {
        if self.entries.len() <= LIMIT {
            return;
        }
        let mut keys: Vec<K> = self.entries.iter().map(|(key, _)| *key).collect();
        keys.sort_unstable();
        let Some(ceiling) = keys.get(LIMIT.saturating_sub(1)).copied() else { return };
        self.ceiling = Some(ceiling);
        self.drop_above(ceiling);
    }

    fn drop_above(&mut self, ceiling: K) {
        let before = self.entries.len();
        self.entries.retain(|(key, _)| *key <= ceiling);
        if self.entries.len() < before {
            self.cache.clear();
            self.places.clear();
            self.places.extend(self.entries.iter().zip(0_u32..).map(|((key, _), place)| (*key, place)));
        }
    }

    /// Adds the table of the stretch after this one.
    pub(super) fn add(&mut self, right: &Self) {
        self.ceiling = match (self.ceiling, right.ceiling) {
            (Some(left), Some(right)) => Some(left.min(right)),
            (left, right) => left.or(right),
        };
        if let Some(ceiling) = self.ceiling {
            self.drop_above(ceiling);
        }
        for (key, counts) in &right.entries {
            if let Some(ours) = self.entry(*key) {
                ours.add(*counts);
            }
        }
    }

    /// Forgets everything and keeps the room for as much.
    pub(super) fn clear(&mut self) {
        self.entries.clear();
        self.places.clear();
        self.cache.fill(NOWHERE);
        self.ceiling = None;
    }

    /// What is kept, in order: at most `LIMIT` keys.
    pub(super) fn sorted(&self) -> BTreeMap<K, V> {
        let mut sorted = self.entries.clone();
        sorted.sort_unstable_by_key(|(key, _)| *key);
        sorted.truncate(LIMIT);
        sorted.into_iter().collect()
    }
}

impl<K: Copy + Ord + Hash + Spread, V: Add + PartialEq, const LIMIT: usize> PartialEq
    for Bounded<K, V, LIMIT>
{
    fn eq(&self, other: &Self) -> bool {
        self.sorted() == other.sorted()
    }
}

impl Spread for MacAddress {
    fn bits(&self) -> u32 {
        let [_, _, a, b, c, d] = self.0;
        u32::from_be_bytes([a, b, c, d])
    }
}

impl Spread for Ipv4Addr {
    fn bits(&self) -> u32 {
        self.to_bits()
    }
}

impl<A: Spread, B: Spread> Spread for (A, B) {
    fn bits(&self) -> u32 {
        self.0.bits().rotate_left(16) ^ self.1.bits()
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

    impl Spread for u16 {
        fn bits(&self) -> u32 {
            // Some meet.
            u32::from(*self % 7)
        }
    }

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
            let mut joined = counted(left);
            // One that was used before is as a new one.
            let mut part = counted(right);
            for keys in [middle, right] {
                part.clear();
                for key in keys {
                    if let Some(count) = part.entry(*key) {
                        *count += 1;
                    }
                }
                joined.add(&part);
            }
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
