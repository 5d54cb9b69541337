//! A small seeded generator, written out so that every platform draws the same numbers.
//! splitmix64: S. Vigna's public-domain reference, constants from memory and held by the known answers below.

#[derive(Clone, Debug)]
pub(crate) struct Random(u64);

impl Random {
    pub(crate) fn seeded(seed: u64) -> Self {
        Random(seed)
    }

    pub(crate) fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// Uniform over `low..=high`. The bias of the remainder is far below anything a capture shows.
    pub(crate) fn between(&mut self, low: i64, high: i64) -> i64 {
        let span = u64::try_from(high - low).expect("low is not above high") + 1;
        low + i64::try_from(self.next() % span).expect("the span is small")
    }

    /// True once in `of` draws on average.
    pub(crate) fn one_in(&mut self, of: u64) -> bool {
        self.next().is_multiple_of(of)
    }
}

/// First outputs for seed 1234567, as printed by the reference program and quoted in many ports of it (from memory).
#[test]
fn splitmix64_gives_the_known_answers() {
    let mut random = Random::seeded(1_234_567);
    let drawn: Vec<u64> = (0..3).map(|_| random.next()).collect();
    assert_eq!(drawn, [6_457_827_717_110_365_317, 3_203_168_211_198_807_973, 9_817_491_932_198_370_423]);
}
