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
pub(super) struct Seeded(u64);

impl Default for Seeded {
    fn default() -> Self {
        Self(RandomState::new().hash_one(MULTIPLIER))
    }
}

impl BuildHasher for Seeded {
    type Hasher = Folded;

    fn build_hasher(&self) -> Folded {
        Folded(self.0)
    }
}

/// The hash so far.
pub(super) struct Folded(u64);

impl Folded {
    fn mix(&mut self, word: u64) {
        let product = u128::from(self.0 ^ word).wrapping_mul(u128::from(MULTIPLIER));
        let [a, b, c, d, e, f, g, h, i, j, k, l, m, n, o, p] = product.to_le_bytes();
        self.0 = u64::from_le_bytes([a, b, c, d, e, f, g, h]) ^ u64::from_le_bytes([i, j, k, l, m, n, o, p]);
    }
}

impl Hasher for Folded {
    fn write(&mut self, octets: &[u8]) {
        for chunk in octets.chunks(8) {
            let mut word = [0; 8];
            for (to, from) in word.iter_mut().zip(chunk) {
                *to = *from;
            }
            self.mix(u64::from_le_bytes(word));
        }
    }

    // Lengths come before arrays and slices; in keys of one shape they tell nothing apart.
    fn write_usize(&mut self, _: usize) {}

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
    fn both_addresses_of_a_pair_and_their_order_matter() {
        let seeded = Seeded::default();
        let (one, other) = (MacAddress([2; 6]), MacAddress([4; 6]));
        assert_ne!(seeded.hash_one((one, other)), seeded.hash_one((other, one)));
        assert_eq!(seeded.hash_one((one, other)), seeded.hash_one((one, other)));
    }
}
