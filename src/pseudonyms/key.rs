//! The key, and the function under it.

use std::hash::BuildHasher;
use std::hash::Hasher;
use std::hash::RandomState;

use siphasher::sip::SipHasher24;
use siphasher::sip128::Hasher128;
use siphasher::sip128::SipHasher24 as LongHasher;

/// What decides which original has which stand-in. Whoever knows it can look for originals by trying them.
#[derive(Clone, Copy, PartialEq, Eq)]
pub struct Key(u64, u64);

impl Key {
    /// A key that nobody knows and that is gone with the program: what the standard library seeds its hash tables with comes
    /// from the system's source of random numbers.
    #[must_use]
    pub fn drawn() -> Self {
        let state = RandomState::new();
        Self(state.hash_one(0_u8), state.hash_one(1_u8))
    }

    /// The key that a text stands for, so that several reports fit one another.
    #[must_use]
    pub fn of(text: &str) -> Self {
        let mut hasher = LongHasher::new();
        hasher.write(text.as_bytes());
        let hash = hasher.finish128();
        Self(hash.h1, hash.h2)
    }

    /// A number that nobody foretells without the key (SipHash-2-4; Aumasson and Bernstein 2012, crate siphasher 1).
    pub(super) fn of_text(self, purpose: &str, text: &str) -> u64 {
        let mut hasher = SipHasher24::new_with_keys(self.0, self.1);
        hasher.write(purpose.as_bytes());
        hasher.write_u8(0xFF);
        hasher.write(text.as_bytes());
        hasher.finish()
    }

    /// Exchanges the low `bits` of a value for others so that two values that begin alike go on doing so to the same bit
    /// (Xu, Fan, Ammar and Moon 2002: a bit is turned or not by what stands before it; from memory). `kept` bits at the
    /// beginning of them stay. Each value has one result and each result one value.
    pub(super) fn exchange(self, purpose: &str, value: u64, bits: u32, kept: u32) -> u64 {
        (kept..bits).fold(value, |result, place| {
            let before = value.checked_shr(bits.saturating_sub(place)).unwrap_or(0);
            let mut hasher = SipHasher24::new_with_keys(self.0, self.1);
            hasher.write(purpose.as_bytes());
            hasher.write_u8(0xFE);
            hasher.write_u32(place);
            hasher.write_u64(before);
            let turned = (hasher.finish() & 1) << bits.saturating_sub(place).saturating_sub(1);
            result ^ turned
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_that_begin_alike_go_on_doing_so() {
        let key = Key::of("some text");
        let results: Vec<u64> = (0..256).map(|value| key.exchange("test", value, 8, 2)).collect();
        let mut sorted = results.clone();
        sorted.sort_unstable();
        assert_eq!(sorted, (0..256).collect::<Vec<_>>(), "one each");
        assert!((0..256).zip(&results).all(|(value, result)| value >> 6 == result >> 6));
        for (one, first) in (0_u64..256).zip(&results) {
            for (other, second) in (0_u64..256).zip(&results) {
                assert_eq!((one ^ other).leading_zeros(), (first ^ second).leading_zeros());
            }
        }
        assert_ne!(results, (0..256).collect::<Vec<_>>());
    }

    #[test]
    fn all_sixty_four_bits_can_be_exchanged() {
        let key = Key::of("some text");
        assert_ne!(key.exchange("test", 1, 64, 0), key.exchange("test", 2, 64, 0));
        assert_eq!(key.exchange("test", u64::MAX, 64, 64), u64::MAX);
    }
}
