//! Joinable data rates: octets in bins of absolute time, of four widths at once.

use super::course::Course;
use super::run::Run;
use crate::units::BitsPerSecond;
use crate::units::CaptureTime;
use crate::units::Nanos;

/// Bins that stay open behind the newest one (chosen: frames of several interfaces stand out of order by less than
/// so many milliseconds), and at the beginning on either side of the first one, for a join. 768 octets a width.
const OPEN: usize = 32;
/// The same as a difference of indices.
const REACH: i64 = 32;

/// The narrowest width, and how many of it each wider one spans.
pub(super) const MILLISECOND_NS: i64 = 1_000_000;

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
    /// When the bin begins, the first one where several are equally full. After stamps went far back, up to a second more
    /// than the time that passed since the first packet.
    pub start: CaptureTime,
    /// What is in it.
    pub octets: u64,
    /// Its rate, and no less than the mean of at least as long or than that of a wider bin, which bins at the ends may miss.
    pub rate: BitsPerSecond,
}

#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
struct Bin {
    index: i64,
    octets: u64,
}

impl Bin {
    /// Takes in the next bin of a tenth of this one's width. Where that lies in another one, this was, which is then done.
    #[inline]
    fn take(&mut self, narrower: Self) -> Self {
        // Nearly always the same one, as a product tells without a division.
        let within = narrower.index.saturating_sub(self.index.saturating_mul(10));
        if self.octets > 0 && (0..10).contains(&within) {
            self.octets = self.octets.saturating_add(narrower.octets);
            return Self::default();
        }
        let index = narrower.index.div_euclid(10);
        std::mem::replace(self, Self { index, octets: narrower.octets })
    }

    /// The fuller one, of equals the first.
    const fn fuller(self, other: Self) -> Self {
        let is_first = other.octets == self.octets && other.index < self.index;
        if other.octets > self.octets || is_first { other } else { self }
    }
}

/// The bins of one width: those about the first packet and those up to the newest one open, of those between only the
/// fullest.
#[derive(Debug, Clone, Default)]
struct Bins {
    /// Index of the first packet's bin.
    origin: Option<i64>,
    newest: i64,
    /// Where the bins of `start` end; each of them holds all that fell into it.
    start_until: i64,
    /// From [`REACH`] below the origin on.
    start: [[u64; OPEN]; 2],
    /// At their index modulo [`OPEN`].
    open: [u64; OPEN],
    fullest_inner: Option<Bin>,
    /// Whether time went back beyond the open bins.
    went_back: bool,
}

fn slot(index: i64) -> usize {
    usize::try_from(index.rem_euclid(REACH)).unwrap_or_default()
}

impl Bins {
    fn start_mut(&mut self, index: i64) -> Option<&mut u64> {
        let origin = self.origin?;
        if index >= self.start_until {
            return None;
        }
        let from = origin.saturating_sub(REACH);
        let [before, after] = &mut self.start;
        let half = if index < from {
            return None;
        } else if index < origin {
            before
        } else {
            after
        };
        half.get_mut(slot(index.saturating_sub(from)))
    }

    #[inline]
    fn push(&mut self, index: i64, octets: u64) {
        // Nearly always: the bin after the newest one, and the beginning lies behind.
        if self.origin.is_some()
            && index.saturating_sub(1) == self.newest
            && index >= self.start_until
            && let Some(bin) = self.open.get_mut(slot(index))
        {
            let before = std::mem::replace(bin, octets);
            self.newest = index;
            self.keep(index.saturating_sub(REACH), before);
            return;
        }
        self.push_any(index, octets);
    }

    fn push_any(&mut self, index: i64, octets: u64) {
        if self.origin.is_none() {
            self.origin = Some(index);
            self.newest = index;
            self.start_until = index.saturating_add(REACH);
        }
        if index > self.newest {
            self.advance(index);
        }
        let is_open = index > self.newest.saturating_sub(REACH);
        if let Some(bin) = self.start_mut(index) {
            *bin = bin.saturating_add(octets);
            self.went_back |= !is_open;
            return;
        }
        if !is_open {
            // Time was set back: what comes from here on has bins of its own.
            self.close();
            self.newest = index;
            self.went_back = true;
        }
        if let Some(bin) = self.open.get_mut(slot(index)) {
            *bin = bin.saturating_add(octets);
        }
    }

    fn advance(&mut self, to: i64) {
        if to.saturating_sub(self.newest) >= REACH {
            self.close();
        } else {
            for index in self.newest.saturating_add(1)..=to {
                if let Some(octets) = self.open.get_mut(slot(index)).map(std::mem::take) {
                    self.keep(index.saturating_sub(REACH), octets);
                }
            }
        }
        self.newest = to;
    }

    /// The open bins, in order of time.
    fn opened(&self) -> impl Iterator<Item = Bin> {
        let indices = self.newest.saturating_sub(REACH - 1)..=self.newest;
        indices.filter_map(|index| {
            let octets = self.open.get(slot(index)).copied().filter(|octets| *octets > 0)?;
            Some(Bin { index, octets })
        })
    }

    /// The bins at the beginning, in order of time.
    fn started(&self) -> impl Iterator<Item = Bin> {
        let from = self.origin.unwrap_or_default().saturating_sub(REACH);
        let bins = (from..).zip(self.start.iter().flatten());
        bins.filter(|(_, octets)| **octets > 0).map(|(index, octets)| Bin { index, octets: *octets })
    }

    /// Moves all bins by so many of them.
    fn move_by(&mut self, by: i64) {
        self.origin = self.origin.map(|origin| origin.saturating_add(by));
        self.newest = self.newest.saturating_add(by);
        self.start_until = self.start_until.saturating_add(by);
        self.open.rotate_right(slot(by));
        if let Some(fullest) = &mut self.fullest_inner {
            fullest.index = fullest.index.saturating_add(by);
        }
    }

    fn close(&mut self) {
        let fullest = self.opened().chain(self.fullest_inner).reduce(Bin::fuller);
        self.fullest_inner = fullest;
        self.open = [0; OPEN];
    }

    #[inline]
    fn keep(&mut self, index: i64, octets: u64) {
        let is_less = self.fullest_inner.is_some_and(|fullest| octets < fullest.octets);
        if octets > 0 && !is_less {
            let bin = Bin { index, octets };
            self.fullest_inner = Some(self.fullest_inner.map_or(bin, |fullest| fullest.fuller(bin)));
        }
    }

    fn join(&mut self, right: &Self) -> bool {
        let Some(origin) = right.origin else { return true };
        if self.origin.is_none() {
            self.clone_from(right);
            return true;
        }
        let end = self.newest;
        // What is open here has to lie before what is closed there.
        let mut exact = !right.went_back && end < right.start_until;
        for bin in right.started() {
            if bin.index > self.newest.saturating_sub(REACH) {
                self.push(bin.index, bin.octets);
            } else {
                exact = false;
                self.keep(bin.index, bin.octets);
            }
        }
        self.start_until = self.start_until.min(right.start_until);
        if let Some(fullest) = right.fullest_inner {
            self.keep(fullest.index, fullest.octets);
        }
        if right.went_back || right.newest.saturating_sub(origin) < 0 {
            self.close();
            self.newest = right.newest;
            self.open = right.open;
            self.went_back = true;
        } else {
            for bin in right.opened() {
                self.push(bin.index, bin.octets);
            }
            if right.newest > self.newest {
                self.advance(right.newest);
            }
        }
        exact
    }

    fn fullest(&self) -> Option<Bin> {
        self.origin?;
        let all = self.started().chain(self.opened()).chain(self.fullest_inner);
        all.reduce(Bin::fuller)
    }
}

/// The octets of one flow, source or link over time. Memory is constant.
///
/// Bins begin at multiples of their width since 1970, whatever the first packet's time, so that parts of a
/// capture join. Octets that stand out of order by less than 1/32 s are counted where they belong; where time goes
/// back farther, as where a clock is set, it goes on from where it had come to, so that no bin counts twice.
#[derive(Debug, Clone, Default)]
pub struct Rate {
    bins: [Bins; 4],
    /// Octets that followed one another into one bin of each width, and are not in `bins` yet: nearly every packet falls into
    /// the millisecond of the one before it.
    held: [Bin; 4],
    /// From where to where the held millisecond reaches, ns; empty where none is held.
    millisecond: (i64, i64),
    total_octets: u64,
    packets: u64,
    first: Option<(CaptureTime, u64)>,
    last: Option<CaptureTime>,
    /// How time goes on where its stamps go far back.
    course: Course,
    /// Time between its first and its last packet in which nobody watched.
    unwatched: Nanos,
    /// Time beyond that between first and last, as the capture's clock was set back between; less than none where two
    /// clocks stamp by turns.
    run_twice: Nanos,
}

impl Rate {
    /// Adds a packet's octets.
    pub fn push(&mut self, at: CaptureTime, octets: u64) {
        self.packets += 1;
        self.push_part(at, octets);
    }

    /// Adds octets that belong to a packet counted before.
    pub fn push_part(&mut self, at: CaptureTime, octets: u64) {
        self.first = self.first.or(Some((at, octets)));
        self.last = self.last.max(Some(at));
        if self.hold_more(at, octets) {
            self.course.reach(at);
        } else {
            self.hold_next(&Run::of(at, octets));
        }
    }

    /// Adds the packets of a run, as if each were pushed.
    #[inline]
    pub fn push_run(&mut self, run: &Run) {
        self.packets += run.packets;
        if self.first.is_none() {
            self.first = Some((run.first, run.first_octets));
        }
        self.last = self.last.max(Some(run.last));
        if !self.hold_more(run.first, run.octets) {
            self.hold_next(run);
        }
        self.course.reach(run.last);
    }

    /// Whether its stamps went far back for good, as where the capture's clock was set, or go to and fro.
    #[must_use]
    pub const fn went_far_back(&self) -> bool {
        self.course.went_far_back()
    }

    /// Whether its stamps go to and fro, as where two clocks stamp by turns.
    #[must_use]
    pub const fn goes_to_and_fro(&self) -> bool {
        self.course.goes_to_and_fro()
    }

    /// Says that the capture's clock was set back so often. What it ran through twice then counts twice in the mean; more
    /// ways back than that are of another kind, and its first and its last time stand for the length.
    pub fn heed_set_backs(&mut self, times: u64) {
        let Some((first, last)) = self.first().zip(self.last) else { return };
        if let Some(length) = self.course.length(times) {
            self.run_twice = Nanos(length.0.saturating_sub(last.since(first).0));
        }
    }

    /// Counts octets, and holds them if they are of the millisecond held; whether they are.
    #[inline]
    fn hold_more(&mut self, at: CaptureTime, octets: u64) -> bool {
        self.total_octets = self.total_octets.saturating_add(octets);
        let (from, until) = self.millisecond;
        let belongs = (from..until).contains(&at.0);
        if belongs {
            let [held, ..] = &mut self.held;
            held.octets = held.octets.saturating_add(octets);
        }
        belongs
    }

    /// Holds the octets of another millisecond than the one held, which is done with.
    #[inline]
    fn hold_next(&mut self, run: &Run) {
        let shift = self.course.follow(run.first);
        let moved = || run.first.0.saturating_add(shift).div_euclid(MILLISECOND_NS);
        let index = if shift == 0 { run.index } else { moved() };
        self.millisecond = run.millisecond();
        let [held, ten, ..] = &mut self.held;
        let done = std::mem::replace(held, Bin { index, octets: run.octets });
        if done.octets == 0 {
            return;
        }
        let [bins, ..] = &mut self.bins;
        bins.push(done.index, done.octets);
        let done = ten.take(done);
        if done.octets > 0 {
            self.release(1, done);
        }
    }

    /// Puts what was held of a width into its bins, and lets the next wider one hold it.
    fn release(&mut self, width: usize, done: Bin) {
        let mut done = done;
        let [_, wider @ ..] = &mut self.held;
        for (place, bins) in self.bins.iter_mut().enumerate().skip(width) {
            if done.octets == 0 {
                return;
            }
            bins.push(done.index, done.octets);
            // Each width is ten of the one before.
            let Some(held) = wider.get_mut(place) else { return };
            done = held.take(done);
        }
    }

    /// Puts all that is held into its bins.
    fn settle(&mut self) {
        self.millisecond = (0, 0);
        for width in 0..self.held.len() {
            let held = self.held.get_mut(width).map(std::mem::take).unwrap_or_default();
            self.release(width, held);
        }
    }

    /// Adds what followed. Whether the result is what one pass gives for sure: stamps that go to and fro about the cut may
    /// be taken otherwise.
    #[must_use]
    pub fn join(&mut self, right: &Self) -> bool {
        self.settle();
        let mut right = right.clone();
        right.settle();
        let by = self.course.join(&right.course);
        let mut exact = self.course.is_straight();
        for ((left, right), width) in self.bins.iter_mut().zip(&mut right.bins).zip(RateWidth::ALL) {
            right.move_by(by / width.nanos().0);
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

    /// Leaves times in which nobody watched out of the mean; they do not overlap.
    pub fn leave_out(&mut self, holes: impl Iterator<Item = (CaptureTime, CaptureTime)>) {
        let Some((first, last)) = self.first().zip(self.last) else { return };
        let within = holes.map(|(from, until)| until.min(last).since(from.max(first)).max(Nanos::ZERO));
        self.unwatched = within.fold(Nanos::ZERO, Nanos::saturating_add);
    }

    /// The time that was watched from the first packet to the last. `None` without packets.
    #[must_use]
    pub fn watched(&self) -> Option<Nanos> {
        let (first, _) = self.first?;
        let run = self.last?.since(first).saturating_add(self.run_twice);
        Some(Nanos(run.0.saturating_sub(self.unwatched.0)))
    }

    /// The mean over [`Rate::watched`]. The first packet's octets are left out, as they belong to the
    /// interval before it: a steady stream's mean is then exact. `None` where no time passed.
    #[must_use]
    pub fn mean(&self) -> Option<BitsPerSecond> {
        let (_, octets) = self.first?;
        BitsPerSecond::from_octets(self.total_octets.saturating_sub(octets), self.watched()?)
    }

    /// The fullest bin of a width, and at the least what wider ones, and the mean of a longer time, show that some span of
    /// the width holds; bins at the capture's ends count as they are. `None` without packets.
    #[must_use]
    pub fn peak(&self, width: RateWidth) -> Option<Peak> {
        let mut settled = self.clone();
        settled.settle();
        let fullest = |(bins, width): (&Bins, RateWidth)| {
            let bin = bins.fullest()?;
            Some((bin, BitsPerSecond::from_octets(bin.octets, width.nanos())?))
        };
        let mut from_here = settled.bins.iter().zip(RateWidth::ALL).filter(|(_, each)| *each >= width);
        let (bin, rate) = fullest(from_here.next()?)?;
        let wider = from_here.filter_map(fullest).map(|(_, rate)| rate);
        let mean = self.mean().filter(|_| self.watched().is_some_and(|watched| watched >= width.nanos()));
        Some(Peak {
            start: CaptureTime(bin.index.saturating_mul(width.nanos().0)),
            octets: bin.octets,
            rate: wider.chain(mean).fold(rate, BitsPerSecond::max),
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

    /// Every bin of a width in a plain map.
    fn slow_peak(packets: &[(i64, u64)], width: i64) -> Option<(i64, u64)> {
        let mut bins: std::collections::BTreeMap<i64, u64> = std::collections::BTreeMap::new();
        for (at, octets) in packets {
            *bins.entry(at.div_euclid(width)).or_default() += octets;
        }
        let most = bins.values().copied().max()?;
        bins.into_iter().find(|bin| bin.1 == most)
    }

    /// Times that mostly move on, by nothing to seconds, and now and then back by less than 32 ms.
    fn packets() -> impl Strategy<Value = Vec<(i64, u64)>> {
        let step = prop_oneof![
            8 => 0_i64..400_000,
            4 => 0_i64..30_000_000,
            1 => 0_i64..3_000_000_000,
            2 => -30_900_000_i64..0,
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

    /// A packet a millisecond for 10 s, the clock set back by 4 s after 6 s: 2 s run twice.
    #[test]
    fn a_clock_that_is_set_back_makes_no_mean_higher() {
        let at = |ms: i64| (if ms < 6000 { ms } else { ms - 4000 }) * 1_000_000;
        let packets: Vec<(i64, u64)> = (0..=10_000).map(|ms| (at(ms), 125)).collect();
        let mut rate = pass(&packets);
        let million = Some(BitsPerSecond(1_000_000));
        assert_ne!(rate.mean(), million);
        rate.heed_set_backs(1);
        // 1 ms is lost where the clock was set.
        let watched = Nanos(9_999_000_000);
        assert_eq!((rate.went_far_back(), rate.watched()), (true, Some(watched)));
        for width in RateWidth::ALL {
            // No less than the mean, which the lost millisecond makes higher.
            assert_eq!(rate.peak(width).unwrap().rate, BitsPerSecond(1_000_100), "{width:?}");
        }
        assert_eq!(rate.mean().unwrap().0 / 1000, 1000);
        for cut in [1, 3000, 5999, 6000, 6001, 9000] {
            let (left, right) = packets.split_at(cut);
            let mut joined = pass(left);
            let _exact = joined.join(&pass(right));
            joined.heed_set_backs(1);
            assert_eq!(joined.watched(), Some(watched), "{cut}");
        }
        // Of more ways back than the clock was set, the ends tell.
        let mut other = pass(&[(9_000_000_000, 1), (5_000_000_000, 1), (1_000_000_000, 1)]);
        other.heed_set_backs(1);
        assert_eq!(other.watched(), Some(Nanos::ZERO));
    }

    /// A packet a millisecond, of two interfaces by turns; the second one's clock is off by so much.
    #[test]
    fn two_clocks_that_stamp_by_turns_make_no_peak_and_no_length() {
        for off in [-5_000_000_000_i64, -40_000_000, 40_000_000, 5_000_000_000] {
            let packets: Vec<(i64, u64)> =
                (0..20_000).map(|ms| (ms * 1_000_000 + if ms % 3 == 0 { off } else { 0 }, 125)).collect();
            let mut rate = pass(&packets);
            rate.heed_set_backs(0);
            assert!(rate.goes_to_and_fro(), "{off}");
            let mean = rate.mean().unwrap().0;
            assert!((998_000..=1_001_000).contains(&mean), "{off} {mean}");
            for width in RateWidth::ALL {
                let peak = rate.peak(width).unwrap().rate.0;
                assert!((mean..=3_000_000).contains(&peak), "{off} {width:?} {peak}");
            }
            let second = rate.peak(RateWidth::Second).unwrap().rate.0;
            assert!(second <= 1_340_000, "{off} {second}");
        }
        // One packet late is no second clock.
        let late = |ms: i64| ms * 1_000_000 - if ms == 500 { 50_000_000 } else { 0 };
        let rate = pass(&(0..1000).map(|ms| (late(ms), 125)).collect::<Vec<_>>());
        assert!(!rate.went_far_back() && !rate.goes_to_and_fro());
    }

    /// Packets close together, and how far the clock is set back before some of them.
    fn set_back_packets() -> impl Strategy<Value = Vec<(i64, u64)>> {
        let step = prop_oneof![60 => 0_i64..20_000_000, 1 => -60_000_000_000_i64..-50_000_000];
        (prop::collection::vec((step, 1_u64..1500), 0..300)).prop_map(|steps| {
            let mut at = 1_700_000_000_000_000_000;
            let packet = |(step, octets)| {
                at += step;
                (at, octets)
            };
            steps.into_iter().map(packet).collect()
        })
    }

    #[test]
    fn no_bin_counts_what_a_clock_that_is_set_back_runs_through_twice() {
        for back_ms in [33, 50, 300, 900, 2000, 5000, 31_000, 60_000] {
            let at = |ms: i64| (if ms < 30_000 { ms } else { ms - back_ms }) * 1_000_000;
            let mut rate = pass(&(0..=60_000).map(|ms| (at(ms), 125)).collect::<Vec<_>>());
            rate.heed_set_backs(1);
            // By up to the millisecond in which it was set.
            assert!(rate.mean().unwrap().0.abs_diff(1_000_000) < 100, "{back_ms} {:?}", rate.mean());
            for width in RateWidth::ALL {
                assert_eq!(
                    rate.peak(width).unwrap().octets,
                    125 * u64::try_from(width.nanos().0 / 1_000_000).unwrap(),
                    "{back_ms} {width:?}"
                );
            }
        }
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
        fn joined_parts_equal_one_pass_where_the_clock_is_set_back(
            packets in set_back_packets(), one in 0_usize..300, two in 0_usize..300, times in 0_u64..8,
        ) {
            let (one, two) = (one.min(packets.len()), two.min(packets.len()));
            let (low, high) = (one.min(two), one.max(two));
            let mut whole = pass(&packets);
            whole.heed_set_backs(times);
            let mut joined = pass(&packets[..low]);
            let _exact = joined.join(&pass(&packets[low..high]));
            let _exact = joined.join(&pass(&packets[high..]));
            joined.heed_set_backs(times);
            prop_assert_eq!(result(&joined), result(&whole));
            let mut right = pass(&packets[low..high]);
            let _exact = right.join(&pass(&packets[high..]));
            let mut from_right = pass(&packets[..low]);
            let _exact = from_right.join(&right);
            from_right.heed_set_backs(times);
            prop_assert_eq!(result(&from_right), result(&whole));
        }

        #[test]
        fn no_mean_is_above_a_peak(packets in packets()) {
            let rate = pass(&packets);
            for width in RateWidth::ALL {
                if rate.watched().is_some_and(|watched| watched >= width.nanos()) {
                    prop_assert!(rate.peak(width).map(|peak| peak.rate) >= rate.mean());
                }
            }
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

    proptest! {
        #[test]
        fn runs_are_what_their_packets_are(packets in packets()) {
            let mut rate = Rate::default();
            let mut runs: Vec<Run> = Vec::new();
            for (at, octets) in packets.iter().flat_map(|(at, octets)| [(*at, *octets), (at + 3, 1)]) {
                if !runs.last_mut().is_some_and(|run| run.takes(CaptureTime(at), octets)) {
                    let alone = Run::of(CaptureTime(at), octets);
                    prop_assert!(runs.last().is_none_or(|run| run.next(CaptureTime(at), octets) == alone));
                    runs.push(alone);
                }
            }
            runs.iter().for_each(|run| rate.push_run(run));
            let doubled: Vec<_> = packets.iter().flat_map(|(at, octets)| [(*at, *octets), (at + 3, 1)]).collect();
            let whole = pass(&doubled);
            prop_assert_eq!(result(&rate), result(&whole));
            prop_assert_eq!((rate.first(), rate.last()), (whole.first(), whole.last()));
        }
    }

    #[test]
    fn a_join_far_behind_the_left_sides_end_is_not_called_exact() {
        let right: Vec<(i64, u64)> = (0..80).map(|at| (at * 1_000_000, 10)).collect();
        let mut left = pass(&[(1_000_000_000, 10)]);
        assert!(!left.join(&pass(&right)));
    }

    #[test]
    fn frames_out_of_order_are_counted_where_they_belong() {
        // Two interfaces whose frames stand 20 ms apart in the file.
        let mut packets: Vec<(i64, u64)> = Vec::new();
        for at in 0..2000 {
            packets.push((at * 1_000_000, 500));
            packets.push(((at - 20) * 1_000_000, 500));
        }
        let rate = pass(&packets);
        assert_eq!(rate.peak(RateWidth::Millisecond).unwrap().octets, 1000);
        assert_eq!(rate.peak(RateWidth::Second).unwrap().octets, 1_000_000);
    }

    #[test]
    fn a_clock_that_is_set_back_makes_no_peak() {
        let mut packets: Vec<(i64, u64)> =
            (0..2000).map(|at| (10_000_000_000 + at * 1_000_000, 500)).collect();
        packets.extend((0..2000).map(|at| (at * 1_000_000, 500)));
        // One stray far ahead in the midst.
        packets.insert(3000, (90_000_300_000, 500));
        let rate = pass(&packets);
        assert_eq!(rate.peak(RateWidth::Millisecond).unwrap().octets, 500);
        assert_eq!(rate.peak(RateWidth::Second).unwrap().octets, 500_000);
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
