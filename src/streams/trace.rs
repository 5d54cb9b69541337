//! A flow's octets over its whole life, coarse enough to be kept: where its rate changed for good.

use crate::units::BitsPerSecond;
use crate::units::CaptureTime;
use crate::units::NANOS_PER_SECOND;
use crate::units::Nanos;

/// Bins kept; where time needs more, each becomes twice as wide (chosen: two minutes in seconds).
const BINS: usize = 128;
/// Bins on either side of a change (chosen: a GOP is a second or two).
const SIDE: usize = 5;
/// A change is one by half or more, in every bin: 3 to 2 (chosen).
const RATIO: (u64, u64) = (3, 2);
/// Changes told of one flow (chosen).
const CHANGES_KEPT: usize = 8;

/// A change of rate that lasted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct RateChange {
    /// When, to the width of a bin: a second in the first two minutes of a stream, more in longer ones.
    pub time: CaptureTime,
    /// The mean of the bins before.
    pub before: BitsPerSecond,
    /// The mean of the bins after.
    pub after: BitsPerSecond,
}

/// Octets in bins that begin at multiples of their width. Memory: 1 KiB.
#[derive(Debug, Clone, Default)]
pub struct Trace {
    /// Width, s; a power of two. 0 while there is nothing.
    width: i64,
    /// Number of the first bin.
    first: i64,
    bins: Vec<u64>,
    /// Where the last bin begins and ends.
    last: (i64, i64),
}

impl Trace {
    #[inline]
    pub(super) fn push(&mut self, time: CaptureTime, octets: u64) {
        let (from, until) = self.last;
        if time.0 >= from
            && time.0 < until
            && let Some(last) = self.bins.last_mut()
        {
            *last = last.saturating_add(octets);
            return;
        }
        self.begin(time, octets);
    }

    fn begin(&mut self, time: CaptureTime, octets: u64) {
        self.width = self.width.max(1);
        self.add(time.0.div_euclid(self.width_ns()), octets);
        self.last = self.ends_of_last();
    }

    /// The width of a bin: a second, doubled as often as the whole needs; 0 while there is nothing.
    #[must_use]
    pub const fn width(&self) -> Nanos {
        Nanos(self.width_ns())
    }

    /// When each bin begins, and the octets in it; empty ones are among them.
    pub fn bins(&self) -> impl Iterator<Item = (CaptureTime, u64)> {
        let width = self.width_ns();
        (self.first..)
            .zip(&self.bins)
            .map(move |(index, octets)| (CaptureTime(index.saturating_mul(width)), *octets))
    }

    /// The same where the capture's clock was set back: what it ran through more than once, by what it ran from where to where,
    /// counts once, at its mean.
    pub fn bins_run_once(
        &self,
        runs: &[(CaptureTime, CaptureTime)],
    ) -> impl Iterator<Item = (CaptureTime, u64)> {
        let width = self.width_ns();
        self.bins().map(move |(start, octets)| {
            let end = start.0.saturating_add(width);
            let within = |(from, until): &(CaptureTime, CaptureTime)| {
                i128::from(until.0.min(end).saturating_sub(from.0.max(start.0)).max(0))
            };
            let ran = runs.iter().map(within).sum::<i128>().max(i128::from(width));
            let once = i128::from(octets).saturating_mul(i128::from(width)).checked_div(ran);
            (start, once.and_then(|once| u64::try_from(once).ok()).unwrap_or(octets))
        })
    }

    const fn width_ns(&self) -> i64 {
        self.width.saturating_mul(NANOS_PER_SECOND)
    }

    fn index_of_last(&self) -> i64 {
        let bins = i64::try_from(self.bins.len()).unwrap_or(i64::MAX);
        self.first.saturating_add(bins).saturating_sub(1)
    }

    fn ends_of_last(&self) -> (i64, i64) {
        let from = self.index_of_last().saturating_mul(self.width_ns());
        (from, from.saturating_add(self.width_ns()))
    }

    fn add(&mut self, index: i64, octets: u64) {
        if self.bins.is_empty() {
            self.first = index;
        }
        let mut index = index;
        let place = loop {
            let (low, high) = (index.min(self.first), index.max(self.index_of_last()));
            match usize::try_from(high.saturating_sub(low)) {
                Ok(span) if span < BINS => break index.saturating_sub(low),
                _ => {
                    self.widen();
                    index = index.div_euclid(2);
                }
            }
        };
        if let Ok(before) = usize::try_from(self.first.saturating_sub(index)) {
            self.bins.resize(self.bins.len().saturating_add(before), 0);
            self.bins.rotate_right(before);
            self.first = index.min(self.first);
        }
        let place = usize::try_from(place).unwrap_or_default();
        if self.bins.len() <= place {
            self.bins.resize(place + 1, 0);
        }
        if let Some(bin) = self.bins.get_mut(place) {
            *bin = bin.saturating_add(octets);
        }
    }

    fn widen(&mut self) {
        let (bins, first) = (std::mem::take(&mut self.bins), self.first);
        self.width = self.width.saturating_mul(2);
        self.first = first.div_euclid(2);
        for (index, octets) in (first..).zip(bins) {
            self.add(index.div_euclid(2), octets);
        }
    }

    pub(super) fn join(&mut self, mut right: Self) {
        if right.bins.is_empty() {
            return;
        }
        if self.bins.is_empty() {
            *self = right;
            return;
        }
        while self.width < right.width {
            self.widen();
        }
        while right.width < self.width {
            right.widen();
        }
        for (index, octets) in (right.first..).zip(right.bins) {
            // The first ones may have made the bins wider.
            let times = self.width / right.width.max(1);
            self.add(index.div_euclid(times.max(1)), octets);
        }
        self.last = self.ends_of_last();
    }

    /// Where the rate changed by half or more and stayed so in every bin of [`SIDE`]; none beside silences.
    pub(super) fn changes(&self, runs: &[(CaptureTime, CaptureTime)]) -> Vec<RateChange> {
        let mut changes = Vec::new();
        let bins: Vec<u64> = self.bins_run_once(runs).map(|(_, octets)| octets).collect();
        // The first and the last bin are not full.
        let inner = bins.get(1..bins.len().saturating_sub(1)).unwrap_or_default();
        let mut skip = 0;
        for (at, window) in inner.windows(2 * SIDE + 1).enumerate() {
            let (Some(before), Some(after)) = (window.get(..SIDE), window.get(SIDE + 1..)) else { continue };
            if at < skip || !differ(before, after) {
                continue;
            }
            skip = at + SIDE;
            let bins = i64::try_from(at + 1 + SIDE + 1).unwrap_or(i64::MAX);
            changes.push(RateChange {
                time: CaptureTime(self.first.saturating_add(bins).saturating_mul(self.width_ns())),
                before: self.mean(before),
                after: self.mean(after),
            });
            if changes.len() >= CHANGES_KEPT {
                break;
            }
        }
        changes
    }

    fn mean(&self, bins: &[u64]) -> BitsPerSecond {
        let count = i64::try_from(bins.len()).unwrap_or(i64::MAX);
        let span = Nanos(self.width_ns().saturating_mul(count));
        BitsPerSecond::from_octets(bins.iter().sum(), span).unwrap_or_default()
    }
}

/// Whether every bin of one side is fuller by [`RATIO`] than every bin of the other.
fn differ(before: &[u64], after: &[u64]) -> bool {
    let ends = |bins: &[u64]| Some((*bins.iter().min()?, *bins.iter().max()?));
    let (Some((low_before, high_before)), Some((low_after, high_after))) = (ends(before), ends(after)) else {
        return false;
    };
    let exceeds = |high: u64, low: u64| high.saturating_mul(RATIO.1) >= low.saturating_mul(RATIO.0);
    low_before > 0 && low_after > 0 && (exceeds(low_after, high_before) || exceeds(low_before, high_after))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Packets of 1000 octets: so many in each second, evenly.
    fn traced(seconds: &[u64]) -> Trace {
        let mut trace = Trace::default();
        for (second, packets) in (1000_i64..).zip(seconds) {
            for packet in 0..*packets {
                let at = second * NANOS_PER_SECOND + i64::try_from(packet * 1_000_000_000 / packets).unwrap();
                trace.push(CaptureTime(at), 1000);
            }
        }
        trace
    }

    fn told(seconds: &[u64]) -> Vec<(i64, u64, u64)> {
        let changes = traced(seconds).changes(&[]);
        changes.iter().map(|c| (c.time.0 / NANOS_PER_SECOND - 1000, c.before.0, c.after.0)).collect()
    }

    #[test]
    fn a_lasting_change_is_told_once_with_its_second() {
        let mut seconds = vec![100; 20];
        seconds.extend([150; 20]);
        assert_eq!(told(&seconds), [(20, 800_000, 1_200_000)]);
        seconds.reverse();
        assert_eq!(told(&seconds), [(20, 1_200_000, 800_000)]);
        // In the middle of a second.
        seconds[20] = 125;
        assert_eq!(told(&seconds), [(21, 1_200_000, 800_000)]);
    }

    #[test]
    fn what_does_not_last_or_is_small_or_a_silence_is_no_change() {
        for middle in [
            [100; 8],
            [149, 149, 149, 149, 149, 149, 149, 149],
            [0; 8],
            [300, 300, 300, 300, 100, 100, 100, 100],
        ] {
            let mut seconds = vec![100; 10];
            seconds.extend(middle);
            seconds.extend([100; 10]);
            assert_eq!(told(&seconds), [], "{middle:?}");
        }
        // The first and the last second are as full as they happen to be.
        assert_eq!(told(&[1, 100, 100, 100, 100, 100, 100, 100, 100, 100, 100, 100, 3]), []);
    }

    #[test]
    fn long_streams_have_wider_bins() {
        let mut seconds = vec![10; 1000];
        seconds.extend([30; 1000]);
        let trace = traced(&seconds);
        assert_eq!((trace.width, trace.bins.len()), (16, 126));
        let changes = trace.changes(&[]);
        assert_eq!(changes.len(), 1);
        assert!((1984..=2032).contains(&(changes[0].time.0 / NANOS_PER_SECOND)), "{changes:?}");
    }

    /// 1000 octets in each second from second 1000 on, of a clock that is set back by `back` s after 30 of 60 s.
    fn set_back(back: i64) -> Trace {
        let mut trace = Trace::default();
        for second in 0..60 {
            let at = 1000 + second - if second < 30 { 0 } else { back };
            trace.push(CaptureTime(at * NANOS_PER_SECOND), 1000);
        }
        trace
    }

    #[test]
    fn what_a_clock_that_is_set_back_runs_through_twice_counts_once() {
        for (back, first, bins) in [(0, 1000, 60), (5, 1000, 55), (25, 1000, 35), (60, 970, 60)] {
            let trace = set_back(back);
            let at = |second: i64| CaptureTime(second * NANOS_PER_SECOND);
            let twice = [(at(1000), at(1030)), (at(1030 - back), at(1060 - back))];
            let told: Vec<(i64, u64)> = trace
                .bins_run_once(&twice)
                .map(|(start, octets)| (start.0 / NANOS_PER_SECOND, octets))
                .collect();
            assert_eq!((told.len(), told[0].0), (bins, first), "{back}");
            assert_eq!(trace.bins().map(|(_, octets)| octets).sum::<u64>(), 60_000);
            assert!(told.iter().all(|(_, octets)| *octets == 1000), "{back} {told:?}");
            assert_eq!(trace.changes(&twice), [], "{back}");
        }
    }

    proptest! {
        #[test]
        fn in_any_order_it_is_the_same(
            seconds in proptest::collection::vec(-3000_i64..3000, 0..60), cut in 0_usize..60,
        ) {
            let of = |seconds: &[i64]| {
                let mut trace = Trace::default();
                for second in seconds {
                    trace.push(CaptureTime(second * NANOS_PER_SECOND), 1000);
                }
                trace
            };
            let whole = of(&seconds);
            let mut sorted = seconds.clone();
            sorted.sort_unstable();
            prop_assert_eq!(of(&sorted).bins().collect::<Vec<_>>(), whole.bins().collect::<Vec<_>>());
            let (left, right) = seconds.split_at(cut.min(seconds.len()));
            let mut joined = of(left);
            joined.join(of(right));
            prop_assert_eq!(joined.bins().collect::<Vec<_>>(), whole.bins().collect::<Vec<_>>());
        }

        #[test]
        fn cut_anywhere_it_is_the_same(
            seconds in proptest::collection::vec(0_u64..4, 0..700), cut in 0_usize..700,
        ) {
            let cut = cut.min(seconds.len());
            let whole = traced(&seconds);
            let mut left = traced(&seconds[..cut]);
            let mut late = vec![0; cut];
            late.extend(&seconds[cut..]);
            left.join(traced(&late));
            prop_assert_eq!((left.width, left.first, &left.bins, left.last), (whole.width, whole.first, &whole.bins, whole.last));
        }
    }
}
