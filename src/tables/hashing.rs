//! A short hash for short keys: the tables are asked once or twice for every frame of a capture.
//!
//! Folded multiplication with a seed of its own for each table, so that no capture can be made whose keys meet.

use std::hash::BuildHasher;
use std::hash::Hasher;
use std::hash::RandomState;

/// An odd number with well-mixed bits: 2^64 divided by the golden ratio.
const MULTIPLIER: u64 = 0x9E37_79B9_7F4A_7C15;

/// Makes the hashers of one table.
#[derive(Debug, Clone)]
pub struct Seeded(u64);

impl Default for Seeded {
    fn default() -> Self {
        Self(RandomState::new().hash_one(MULTIPLIER))
    }
}

impl BuildHasher for Seeded {
    type Hasher = Folded;

    #[inline]
    fn build_hasher(&self) -> Folded {
        Folded(self.0)
    }
}

/// The hash so far.
#[derive(Debug, Clone)]
pub struct Folded(u64);

impl Folded {
    #[inline]
    fn mix(&mut self, word: u64) {
        self.0 = folded(self.0 ^ word, MULTIPLIER);
    }
}

/// Both halves of the product.
#[inline]
fn folded(one: u64, other: u64) -> u64 {
    let product = u128::from(one).wrapping_mul(u128::from(other));
    let [a, b, c, d, e, f, g, h, i, j, k, l, m, n, o, p] = product.to_le_bytes();
    u64::from_le_bytes([a, b, c, d, e, f, g, h]) ^ u64::from_le_bytes([i, j, k, l, m, n, o, p])
}

/// Hashes of octets by two secrets.
#[derive(Debug, Clone)]
pub struct Keyed {
    start: u64,
    multiplier: u64,
}

impl Default for Keyed {
    fn default() -> Self {
        let random = RandomState::new();
        Self { start: random.hash_one(0), multiplier: random.hash_one(1) | 1 }
    }
}

impl Keyed {
    /// One number for a word and what follows it.
    #[must_use]
    pub fn hash(&self, first: u64, octets: &[u8]) -> u64 {
        let mix = |hash: u64, word: u64| folded(hash ^ word, self.multiplier);
        // What is filled up with zeros ends where its length says.
        let length = u64::try_from(octets.len()).unwrap_or(u64::MAX);
        let start = mix(mix(self.start, first), length);
        let (words, rest) = octets.as_chunks::<8>();
        let whole = words.iter().fold(start, |hash, word| mix(hash, u64::from_le_bytes(*word)));
        let mut last = [0; 8];
        for (to, from) in last.iter_mut().zip(rest) {
            *to = *from;
        }
        mix(mix(whole, u64::from_le_bytes(last)), self.start)
    }
}

impl Hasher for Folded {
    #[inline]
    fn write(&mut self, octets: &[u8]) {
        let (words, rest) = octets.as_chunks::<8>();
        for word in words {
            self.mix(u64::from_le_bytes(*word));
        }
        if !rest.is_empty() {
            let mut word = [0; 8];
            for (to, from) in word.iter_mut().zip(rest) {
                *to = *from;
            }
            self.mix(u64::from_le_bytes(word));
        }
    }

    #[inline]
    fn write_u8(&mut self, octet: u8) {
        self.mix(octet.into());
    }

    #[inline]
    fn write_u16(&mut self, word: u16) {
        self.mix(word.into());
    }

    #[inline]
    fn write_u32(&mut self, word: u32) {
        self.mix(word.into());
    }

    #[inline]
    fn write_u64(&mut self, word: u64) {
        self.mix(word);
    }

    // Lengths come before arrays and slices; in keys of one shape they tell nothing apart.
    #[inline]
    fn write_usize(&mut self, _: usize) {}

    #[inline]
    fn finish(&self) -> u64 {
        self.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::MacAddress;
    use std::collections::BTreeSet;

    #[test]
    fn addresses_that_differ_in_one_bit_spread_over_the_lower_and_the_upper_bits() {
        let seeded = Seeded::default();
        let mut low = BTreeSet::new();
        let mut high = BTreeSet::new();
        for last in 0..=255_u8 {
            let hash = seeded.hash_one((MacAddress([2, 0, 0x5e, 0x10, 0, last]), MacAddress([2; 6])));
            low.insert(hash & 0xFFFF);
            high.insert(hash >> 48);
        }
        // Of 256 values over 65 536 places chance lets one or none meet.
        assert!(low.len() > 245 && high.len() > 245, "{} {}", low.len(), high.len());
    }

    #[test]
    fn octets_that_differ_in_one_bit_in_length_or_in_what_is_before_them_differ() {
        let keyed = Keyed::default();
        let octets: Vec<u8> = (1..=83).collect();
        let mut hashes = BTreeSet::from([keyed.hash(7, &octets), keyed.hash(8, &octets)]);
        for at in 0..octets.len() {
            for bit in 0..8 {
                let mut other = octets.clone();
                other[at] ^= 1 << bit;
                hashes.insert(keyed.hash(7, &other));
            }
        }
        for length in 0..octets.len() {
            hashes.insert(keyed.hash(7, &octets[..length]));
            hashes.insert(keyed.hash(7, &vec![0; length + 1]));
        }
        assert_eq!(hashes.len(), 2 + 83 * 8 + 83 + 83);
        assert_eq!(keyed.hash(7, &octets), keyed.clone().hash(7, &octets));
    }

    #[test]
    fn both_addresses_of_a_pair_and_their_order_matter() {
        let seeded = Seeded::default();
        let (one, other) = (MacAddress([2; 6]), MacAddress([4; 6]));
        assert_ne!(seeded.hash_one((one, other)), seeded.hash_one((other, one)));
        assert_eq!(seeded.hash_one((one, other)), seeded.hash_one((one, other)));
    }
}
