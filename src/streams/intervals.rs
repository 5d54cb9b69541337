//! Times between packets, in an array of bins: eight an octave, so a bin is at most an eighth wider than its start.

use crate::units::Nanos;

/// Bins an octave.
const PER_OCTAVE: u32 = 8;
/// The first octave's start is 2^LOWEST ns.
const LOWEST: u32 = 8;
/// Octaves: from 256 ns to 2^38 ns (275 s).
const OCTAVES: u32 = 30;
const BINS: usize = 242;

/// How often packets followed one another at which distance. Memory: 1 KiB.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Intervals {
    bins: [u32; BINS],
    count: u64,
    largest: Nanos,
    /// Packets whose time lies before that of the packet before.
    backwards: u64,
}

impl Default for Intervals {
    fn default() -> Self {
        Self { bins: [0; BINS], count: 0, largest: Nanos::ZERO, backwards: 0 }
    }
}

/// Bin 0 is below the first octave, the last one above all.
fn bin(ns: u64) -> usize {
    let Some(log) = ns.checked_ilog2().filter(|log| *log >= LOWEST) else { return 0 };
    let octave = log - LOWEST;
    if octave >= OCTAVES {
        return BINS - 1;
    }
    // The three bits after the leading one.
    let part = (ns >> (log - 3)) & 7;
    let index = u64::from(octave * PER_OCTAVE) + part + 1;
    usize::try_from(index).unwrap_or(BINS - 1)
}

/// Where a bin starts, ns.
fn start(bin: usize) -> i64 {
    let Some(place) = bin.checked_sub(1).and_then(|place| u32::try_from(place).ok()) else { return 0 };
    let (octave, part) = (place / PER_OCTAVE, place % PER_OCTAVE);
    let base = 1_i64 << (octave + LOWEST).min(62);
    base + base / 8 * i64::from(part)
}

impl Intervals {
    pub(super) fn record(&mut self, interval: Nanos) {
        let Ok(ns) = u64::try_from(interval.0) else {
            self.backwards += 1;
            return;
        };
        if let Some(bin) = self.bins.get_mut(bin(ns)) {
            *bin = bin.saturating_add(1);
        }
        self.count += 1;
        self.largest = self.largest.max(interval);
    }

    pub(super) fn join(&mut self, right: &Self) {
        for (left, right) in self.bins.iter_mut().zip(&right.bins) {
            *left = left.saturating_add(*right);
        }
        self.count += right.count;
        self.largest = self.largest.max(right.largest);
        self.backwards += right.backwards;
    }

    /// Intervals.
    #[must_use]
    pub const fn count(&self) -> u64 {
        self.count
    }

    /// The largest one, exact.
    #[must_use]
    pub const fn largest(&self) -> Nanos {
        self.largest
    }

    /// The middle of the bin that `per_mille` of the intervals reach up to; off by a sixteenth at most. `None`
    /// without intervals.
    #[must_use]
    pub fn quantile(&self, per_mille: u32) -> Option<Nanos> {
        let rank = (u128::from(self.count) * u128::from(per_mille)).div_ceil(1000).max(1);
        let mut seen = 0_u128;
        for (index, count) in self.bins.iter().enumerate() {
            seen += u128::from(*count);
            if seen >= rank {
                let (low, high) = (start(index), start(index.saturating_add(1)));
                return Some(Nanos(i64::midpoint(low, high)).min(self.largest));
            }
        }
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn every_interval_lies_in_its_bin() {
        for ns in [0, 255, 256, 287, 288, 1000, 125_000, 1_000_000, 20_000_000, (1 << 38) - 1] {
            let bin = bin(ns);
            let ns = i64::try_from(ns).unwrap();
            assert!(start(bin) <= ns && ns < start(bin + 1), "{ns} in {bin}");
        }
        assert_eq!(bin(1 << 38), BINS - 1);
        assert_eq!(bin(u64::MAX), BINS - 1);
    }

    proptest! {
        #[test]
        fn a_quantile_is_off_by_a_sixteenth_at_most(
            mut values in proptest::collection::vec(300_i64..200_000_000_000, 1..200), per_mille in 0_u32..=1000,
        ) {
            let mut intervals = Intervals::default();
            for value in &values {
                intervals.record(Nanos(*value));
            }
            values.sort_unstable();
            let rank = (values.len() * per_mille as usize).div_ceil(1000).max(1);
            let exact = values[rank - 1];
            let found = intervals.quantile(per_mille).unwrap().0;
            prop_assert!((found - exact).abs() * 15 <= exact, "{} for {}", found, exact);
        }
    }
}
