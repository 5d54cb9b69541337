//! Times between packets, in an array of bins: eight an octave, so a bin is at most an eighth wider than its start.

use crate::units::Nanos;

/// Bins an octave.
const PER_OCTAVE: u32 = 8;
/// The first octave's start is 2^LOWEST ns.
const LOWEST: u32 = 8;
/// Octaves: from 256 ns to 2^38 ns (275 s).
const OCTAVES: u32 = 30;
const BINS: usize = 242;

/// How often packets followed one another at which distance. Memory: 3 KiB.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Intervals {
    bins: [u32; BINS],
    /// The sum of each bin's intervals, ns; saturating.
    sums: [u64; BINS],
    count: u64,
    largest: Nanos,
    /// Packets whose time lies before that of the packet before.
    backwards: u64,
}

impl Default for Intervals {
    fn default() -> Self {
        Self { bins: [0; BINS], sums: [0; BINS], count: 0, largest: Nanos::ZERO, backwards: 0 }
    }
}

/// Bin 0 is below the first octave, the last one above all.
#[inline]
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

impl Intervals {
    #[inline]
    pub(super) fn record(&mut self, interval: Nanos) {
        let Ok(ns) = u64::try_from(interval.0) else {
            self.backwards += 1;
            return;
        };
        let bin = bin(ns);
        if let (Some(count), Some(sum)) = (self.bins.get_mut(bin), self.sums.get_mut(bin))
            && *count < u32::MAX
        {
            *count += 1;
            *sum = sum.saturating_add(ns);
        }
        self.count += 1;
        self.largest = self.largest.max(interval);
    }

    pub(super) fn join(&mut self, right: &Self) {
        for (left, right) in self.bins.iter_mut().zip(&right.bins) {
            *left = left.saturating_add(*right);
        }
        for (left, right) in self.sums.iter_mut().zip(&right.sums) {
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

    /// The mean of the intervals in the bin that `per_mille` of all reach up to: exact where those are alike, off by an
    /// eighth at most. `None` without intervals.
    #[must_use]
    pub fn quantile(&self, per_mille: u32) -> Option<Nanos> {
        let rank = (u128::from(self.count) * u128::from(per_mille)).div_ceil(1000).max(1);
        let mut seen = 0_u128;
        for (count, sum) in self.bins.iter().zip(&self.sums) {
            seen += u128::from(*count);
            if seen >= rank {
                let half = u64::from(*count / 2);
                let mean = sum.saturating_add(half).checked_div(u64::from(*count))?;
                return Some(Nanos(i64::try_from(mean).unwrap_or(i64::MAX)).min(self.largest));
            }
        }
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Where a bin starts, ns.
    fn start(bin: usize) -> i64 {
        let Some(place) = bin.checked_sub(1).and_then(|place| u32::try_from(place).ok()) else { return 0 };
        let (octave, part) = (place / PER_OCTAVE, place % PER_OCTAVE);
        let base = 1_i64 << (octave + LOWEST).min(62);
        base + base / 8 * i64::from(part)
    }

    #[test]
    fn alike_intervals_are_told_as_they_are() {
        for ns in [125_000, 333_333, 1_000_000, 1_001_000, 4_000_000] {
            let mut intervals = Intervals::default();
            (0..100).for_each(|_| intervals.record(Nanos(ns)));
            // Lost packets, and two that came together, change nothing.
            [2 * ns, 3 * ns, 700].into_iter().for_each(|other| intervals.record(Nanos(other)));
            assert_eq!(intervals.quantile(500), Some(Nanos(ns)));
        }
        let mut swinging = Intervals::default();
        (0..100).for_each(|index| swinging.record(Nanos(1_000_000 + 12_000 * (index % 2 * 2 - 1))));
        assert_eq!(swinging.quantile(500), Some(Nanos(1_000_000)));
    }

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
        fn a_quantile_is_off_by_an_eighth_at_most(
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
            prop_assert!((found - exact).abs() * 8 <= exact, "{} for {}", found, exact);
        }
    }
}
