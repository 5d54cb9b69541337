//! Joinable data rates: octets in bins of absolute time, of four widths at once.

use crate::units::BitsPerSecond;
use crate::units::CaptureTime;
use crate::units::Nanos;

/// Bins at the beginning that stay open for a join (chosen: clocks that step back by fewer than this many
/// bins at a cut join exactly; 128 octets a width).
const OPEN_AT_START: usize = 8;

/// The narrowest width, and how many of it each wider one spans.
const MILLISECOND_NS: i64 = 1_000_000;

/// The width of a bin.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum RateWidth {
    /// 1 ms.
    Millisecond,
    /// 10 ms.
    TenMilliseconds,
    /// 100 ms.
    HundredMilliseconds,
    /// 1 s.
    Second,
}

impl RateWidth {
    /// Every width, narrowest first.
    pub const ALL: [Self; 4] =
        [Self::Millisecond, Self::TenMilliseconds, Self::HundredMilliseconds, Self::Second];

    const fn milliseconds(self) -> i64 {
        match self {
            Self::Millisecond => 1,
            Self::TenMilliseconds => 10,
            Self::HundredMilliseconds => 100,
            Self::Second => 1000,
        }
    }

    /// The width as a duration.
    #[must_use]
    pub const fn nanos(self) -> Nanos {
        Nanos(self.milliseconds() * MILLISECOND_NS)
    }
}

/// The fullest bin of one width.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Peak {
    /// When the bin begins; the first one where several are equally full.
    pub start: CaptureTime,
    /// What is in it.
    pub octets: u64,
    /// Its rate.
    pub rate: BitsPerSecond,
}

#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
struct Bin {
    index: i64,
    octets: u64,
}

impl Bin {
    const fn fuller(self, other: Self) -> Self {
        if other.octets > self.octets { other } else { self }
    }
}

/// The bins of one width: the first few and the current one open, of those between only the fullest.
#[derive(Debug, Clone, Default)]
struct Bins {
    start: [Bin; OPEN_AT_START],
    start_len: usize,
    /// There once the start is complete.
    current: Option<Bin>,
    fullest_inner: Option<Bin>,
}

impl Bins {
    fn last_mut(&mut self) -> Option<&mut Bin> {
        match &mut self.current {
            Some(bin) => Some(bin),
            None => self.start.get_mut(self.start_len.checked_sub(1)?),
        }
    }

    /// Adds to the bin of `index`, or to the last one where that lies behind it: a bin never opens twice.
    fn push(&mut self, index: i64, octets: u64) {
        if let Some(last) = self.last_mut()
            && index <= last.index
        {
            last.octets = last.octets.saturating_add(octets);
            return;
        }
        let bin = Bin { index, octets };
        match self.start.get_mut(self.start_len) {
            Some(slot) if self.current.is_none() => {
                *slot = bin;
                self.start_len += 1;
            }
            _ => self.open(bin),
        }
    }

    fn open(&mut self, bin: Bin) {
        if let Some(done) = self.current.replace(bin) {
            self.keep_fullest(done);
        }
    }

    fn keep_fullest(&mut self, bin: Bin) {
        self.fullest_inner = Some(self.fullest_inner.map_or(bin, |fullest| fullest.fuller(bin)));
    }

    fn join(&mut self, right: &Self) -> bool {
        let start = right.start.get(..right.start_len).unwrap_or_default();
        let left_end = self.last_mut().map(|bin| bin.index);
        for bin in start {
            self.push(bin.index, bin.octets);
        }
        let Some(current) = right.current else { return true };
        if let Some(fullest) = right.fullest_inner {
            // The bin that is open here lies before those that are inner on the right.
            if let Some(open) = self.current.take() {
                self.keep_fullest(open);
            }
            self.keep_fullest(fullest);
        }
        self.open(current);
        start.last().map(|bin| bin.index) >= left_end
    }

    fn fullest(&self) -> Option<Bin> {
        let start = self.start.get(..self.start_len).unwrap_or_default();
        start.iter().copied().chain(self.fullest_inner).chain(self.current).reduce(Bin::fuller)
    }
}

/// The octets of one flow, source or link over time. Memory is constant.
///
/// Bins begin at multiples of their width since 1970, whatever the first packet's time, so that parts of a
/// capture join. Octets whose time goes back behind the newest bin are counted in that bin.
#[derive(Debug, Clone, Default)]
pub struct Rate {
    bins: [Bins; 4],
    total_octets: u64,
    packets: u64,
    first: Option<(CaptureTime, u64)>,
    last: Option<CaptureTime>,
}

impl Rate {
    /// Adds a packet's octets.
    pub fn push(&mut self, at: CaptureTime, octets: u64) {
        self.packets += 1;
        self.total_octets = self.total_octets.saturating_add(octets);
        self.first = self.first.or(Some((at, octets)));
        self.last = self.last.max(Some(at));
        let millisecond = at.0.div_euclid(MILLISECOND_NS);
        let [one, ten, hundred, second] = &mut self.bins;
        one.push(millisecond, octets);
        // Division by constants, which costs a tenth of one by a variable.
        ten.push(millisecond.div_euclid(10), octets);
        hundred.push(millisecond.div_euclid(100), octets);
        second.push(millisecond.div_euclid(1000), octets);
    }

    /// Adds what followed. Whether the result is what one pass gives; it may differ where the time at the cut
    /// goes back by 8 bins of a width or more.
    #[must_use]
    pub fn join(&mut self, right: &Self) -> bool {
        let mut exact = true;
        for (left, right) in self.bins.iter_mut().zip(&right.bins) {
            exact &= left.join(right);
        }
        self.packets += right.packets;
        self.total_octets = self.total_octets.saturating_add(right.total_octets);
        self.first = self.first.or(right.first);
        self.last = self.last.max(right.last);
        exact
    }

    /// All octets.
    #[must_use]
    pub const fn total_octets(&self) -> u64 {
        self.total_octets
    }

    /// Number of packets.
    #[must_use]
    pub const fn packets(&self) -> u64 {
        self.packets
    }

    /// Time of the first packet.
    #[must_use]
    pub fn first(&self) -> Option<CaptureTime> {
        self.first.map(|(at, _)| at)
    }

    /// The latest time of a packet.
    #[must_use]
    pub const fn last(&self) -> Option<CaptureTime> {
        self.last
    }

    /// The mean from the first packet to the last. The first one's octets are left out, as they belong to the
    /// interval before it: a steady stream's mean is then exact. `None` where no time passed.
    #[must_use]
    pub fn mean(&self) -> Option<BitsPerSecond> {
        let (first, octets) = self.first?;
        BitsPerSecond::from_octets(self.total_octets.saturating_sub(octets), self.last?.since(first))
    }

    /// The fullest bin of a width; bins at the capture's ends count as they are. `None` without packets.
    #[must_use]
    pub fn peak(&self, width: RateWidth) -> Option<Peak> {
        let (bins, _) = self.bins.iter().zip(RateWidth::ALL).find(|(_, each)| *each == width)?;
        let bin = bins.fullest()?;
        Some(Peak {
            start: CaptureTime(bin.index.saturating_mul(width.nanos().0)),
            octets: bin.octets,
            rate: BitsPerSecond::from_octets(bin.octets, width.nanos())?,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    type Result = (Vec<Option<Peak>>, Option<BitsPerSecond>, u64, u64);

    fn result(rate: &Rate) -> Result {
        let peaks = RateWidth::ALL.iter().map(|width| rate.peak(*width)).collect();
        (peaks, rate.mean(), rate.total_octets(), rate.packets())
    }

    fn pass(packets: &[(i64, u64)]) -> Rate {
        let mut rate = Rate::default();
        for (at, octets) in packets {
            rate.push(CaptureTime(*at), *octets);
        }
        rate
    }

    /// Every bin of a width in a plain list, by the rule that time does not go back.
    fn slow_peak(packets: &[(i64, u64)], width: i64) -> Option<(i64, u64)> {
        let mut bins: Vec<(i64, u64)> = Vec::new();
        for (at, octets) in packets {
            let index = at.div_euclid(width);
            match bins.last_mut() {
                Some(last) if index <= last.0 => last.1 += octets,
                _ => bins.push((index, *octets)),
            }
        }
        let most = bins.iter().map(|bin| bin.1).max()?;
        bins.into_iter().find(|bin| bin.1 == most)
    }

    /// Times that mostly move on, by nothing to seconds, and now and then back by less than 8 ms.
    fn packets() -> impl Strategy<Value = Vec<(i64, u64)>> {
        let step = prop_oneof![
            8 => 0_i64..400_000,
            4 => 0_i64..30_000_000,
            1 => 0_i64..3_000_000_000,
            2 => -6_900_000_i64..0,
        ];
        (0_i64..5_000_000_000, prop::collection::vec((step, 1_u64..1500), 0..200)).prop_map(
            |(start, steps)| {
                let mut newest = start;
                steps
                    .into_iter()
                    .map(|(step, octets)| {
                        let at = newest + step;
                        newest = newest.max(at);
                        (at, octets)
                    })
                    .collect()
            },
        )
    }

    proptest! {
        #[test]
        fn joined_parts_equal_one_pass_for_any_cuts(packets in packets(), one in 0_usize..200, two in 0_usize..200) {
            let (one, two) = (one.min(packets.len()), two.min(packets.len()));
            let (low, high) = (one.min(two), one.max(two));
            let mut joined = pass(&packets[..low]);
            prop_assert!(joined.join(&pass(&packets[low..high])));
            prop_assert!(joined.join(&pass(&packets[high..])));
            prop_assert_eq!(result(&joined), result(&pass(&packets)));
        }

        #[test]
        fn the_right_side_may_be_joined_first(packets in packets(), one in 0_usize..200, two in 0_usize..200) {
            let (one, two) = (one.min(packets.len()), two.min(packets.len()));
            let (low, high) = (one.min(two), one.max(two));
            let mut right = pass(&packets[low..high]);
            let mut joined = pass(&packets[..low]);
            if right.join(&pass(&packets[high..])) && joined.join(&right) {
                prop_assert_eq!(result(&joined), result(&pass(&packets)));
            }
        }

        #[test]
        fn peaks_equal_those_of_a_list_of_all_bins(packets in packets()) {
            let rate = pass(&packets);
            for width in RateWidth::ALL {
                let expected = slow_peak(&packets, width.nanos().0);
                let found = rate.peak(width).map(|peak| (peak.start.0 / width.nanos().0, peak.octets));
                prop_assert_eq!(found, expected);
            }
        }

        #[test]
        fn any_times_are_taken_and_an_inexact_join_says_so(
            packets in prop::collection::vec((any::<i64>(), any::<u64>()), 0..60),
            cut in 0_usize..60,
        ) {
            let cut = cut.min(packets.len());
            let mut joined = pass(&packets[..cut]);
            if joined.join(&pass(&packets[cut..])) {
                prop_assert_eq!(result(&joined), result(&pass(&packets)));
            }
        }
    }

    #[test]
    fn a_join_far_behind_the_left_sides_end_is_not_called_exact() {
        let right: Vec<(i64, u64)> = (0..20).map(|at| (at * 1_000_000, 10)).collect();
        let mut left = pass(&[(1_000_000_000, 10)]);
        assert!(!left.join(&pass(&right)));
    }

    #[test]
    fn a_steady_stream_has_its_rate_in_every_width_and_in_the_mean() {
        let packets: Vec<(i64, u64)> = (0..3000).map(|at| (at * 1_000_000, 366)).collect();
        let rate = pass(&packets);
        assert_eq!(rate.mean(), Some(BitsPerSecond(2_928_000)));
        for width in RateWidth::ALL {
            assert_eq!(rate.peak(width).unwrap().rate, BitsPerSecond(2_928_000));
        }
    }
}
