//! An ordered map whose entries keep a number by which they are found again at once.

use std::borrow::Borrow;
use std::collections::BTreeMap;
use std::collections::HashMap;
use std::hash::Hash;
use std::ops::Index;
use std::ops::RangeBounds;

use super::hashing::Seeded;

/// An ordered map. A key is found by a short hash with a secret; the whole key is compared. An entry's number holds until the
/// entry is removed.
#[derive(Debug, Clone)]
pub struct Slots<K, V> {
    entries: Vec<Option<Box<V>>>,
    numbers: HashMap<K, u32, Seeded>,
    order: BTreeMap<K, u32>,
    /// Numbers of entries that were removed.
    free: Vec<u32>,
}

impl<K, V> Default for Slots<K, V> {
    fn default() -> Self {
        Self { entries: Vec::new(), numbers: HashMap::default(), order: BTreeMap::new(), free: Vec::new() }
    }
}

fn index(number: u32) -> usize {
    usize::try_from(number).unwrap_or(usize::MAX)
}

impl<K: Copy + Ord + Hash, V> Slots<K, V> {
    /// The number of the entry of `key`, which is made where there is none.
    pub fn number(&mut self, key: K, make: impl FnOnce() -> V) -> u32 {
        if let Some(number) = self.numbers.get(&key) {
            return *number;
        }
        let number = match self.free.pop() {
            Some(number) => number,
            None => {
                self.entries.push(None);
                u32::try_from(self.entries.len() - 1).unwrap_or(u32::MAX)
            }
        };
        if let Some(entry) = self.entries.get_mut(index(number)) {
            *entry = Some(Box::new(make()));
        }
        self.numbers.insert(key, number);
        self.order.insert(key, number);
        number
    }

    /// The number of the entry of `key`.
    #[must_use]
    pub fn find(&self, key: &K) -> Option<u32> {
        self.numbers.get(key).copied()
    }

    /// The entry of that number.
    #[must_use]
    pub fn at(&self, number: u32) -> Option<&V> {
        self.entries.get(index(number))?.as_deref()
    }

    /// The entry of that number.
    pub fn at_mut(&mut self, number: u32) -> Option<&mut V> {
        self.entries.get_mut(index(number))?.as_deref_mut()
    }

    /// The entry of a key.
    #[must_use]
    pub fn get(&self, key: &K) -> Option<&V> {
        self.at(self.find(key)?)
    }

    /// The entry of a key.
    pub fn get_mut(&mut self, key: &K) -> Option<&mut V> {
        self.at_mut(self.find(key)?)
    }

    /// Whether a key has an entry.
    #[must_use]
    pub fn contains_key(&self, key: &K) -> bool {
        self.numbers.contains_key(key)
    }

    /// Removes an entry.
    pub fn remove(&mut self, key: &K) -> Option<V> {
        let number = self.numbers.remove(key)?;
        self.order.remove(key);
        self.free.push(number);
        self.entries.get_mut(index(number))?.take().map(|entry| *entry)
    }

    /// All, in order of the keys.
    pub fn iter(&self) -> Iter<'_, K, V> {
        Iter { entries: &self.entries, order: self.order.iter() }
    }

    /// Those of a range of keys, in order.
    pub fn range<Q: Ord + ?Sized>(&self, range: impl RangeBounds<Q>) -> impl Iterator<Item = (&K, &V)>
    where
        K: Borrow<Q>,
    {
        self.order.range(range).filter_map(|(key, number)| Some((key, self.at(*number)?)))
    }

    /// The keys, in order.
    pub fn keys(&self) -> impl ExactSizeIterator<Item = &K> + Clone {
        self.order.keys()
    }

    /// The entries, in order of the keys.
    pub fn values(&self) -> impl Iterator<Item = &V> + Clone {
        self.order.values().filter_map(|number| self.at(*number))
    }

    /// The entries, in order of the keys, to be changed.
    pub fn values_mut(&mut self) -> impl Iterator<Item = &mut V> {
        let Self { entries, order, .. } = self;
        let mut by_number: Vec<Option<&mut V>> = entries.iter_mut().map(Option::as_deref_mut).collect();
        order.values().filter_map(move |number| by_number.get_mut(index(*number))?.take())
    }

    /// How many entries there are.
    #[must_use]
    pub fn len(&self) -> usize {
        self.order.len()
    }

    /// Whether there is none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.order.is_empty()
    }
}

/// Entries in order of their keys.
#[derive(Debug)]
pub struct Iter<'a, K, V> {
    entries: &'a [Option<Box<V>>],
    order: std::collections::btree_map::Iter<'a, K, u32>,
}

impl<K, V> Clone for Iter<'_, K, V> {
    fn clone(&self) -> Self {
        Self { entries: self.entries, order: self.order.clone() }
    }
}

impl<'a, K, V> Iterator for Iter<'a, K, V> {
    type Item = (&'a K, &'a V);

    fn next(&mut self) -> Option<Self::Item> {
        loop {
            let (key, number) = self.order.next()?;
            if let Some(Some(entry)) = self.entries.get(index(*number)) {
                return Some((key, entry));
            }
        }
    }
}

impl<'a, K: Copy + Ord + Hash, V> IntoIterator for &'a Slots<K, V> {
    type Item = (&'a K, &'a V);
    type IntoIter = Iter<'a, K, V>;

    fn into_iter(self) -> Iter<'a, K, V> {
        self.iter()
    }
}

impl<K: Copy + Ord + Hash, V> Index<&K> for Slots<K, V> {
    type Output = V;

    /// As that of the standard library's maps: for keys that are known to be there.
    #[allow(clippy::expect_used, reason = "an index into a map, as the standard library's")]
    fn index(&self, key: &K) -> &V {
        self.get(key).expect("no entry of this key")
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn it_is_an_ordered_map_whose_numbers_hold(
            steps in prop::collection::vec((any::<bool>(), 0_u8..24, any::<u16>()), 0..200)
        ) {
            let mut slots: Slots<u8, u16> = Slots::default();
            let mut map = BTreeMap::new();
            let mut numbers = BTreeMap::new();
            for (adds, key, value) in steps {
                if adds {
                    let number = slots.number(key, || value);
                    map.entry(key).or_insert(value);
                    prop_assert_eq!(*numbers.entry(key).or_insert(number), number);
                    prop_assert_eq!(slots.at(number), map.get(&key));
                } else {
                    numbers.remove(&key);
                    prop_assert_eq!(slots.remove(&key), map.remove(&key));
                }
                prop_assert!(slots.iter().eq(map.iter()));
                prop_assert!(slots.values().eq(map.values()) && slots.keys().eq(map.keys()));
                prop_assert!(slots.values_mut().map(|value| *value).eq(map.values().copied()));
                prop_assert!(slots.range(5..=9).eq(map.range(5..=9)));
                prop_assert_eq!((slots.len(), slots.get(&key)), (map.len(), map.get(&key)));
            }
        }
    }
}
