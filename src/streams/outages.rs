//! Whose fault it is that numbers are missing, as far as that can be told: the way's, the capture's, or nobody's as the
//! source began anew.
//!
//! The RFC takes a jump by 3000 numbers or more for a restart. An outage of so many packets looks the same, and one of
//! 65 536 more looks like a small gap. The media clock tells them apart: where the timestamp went on in step with the time
//! that passed, and the numbers by as many packets as go into that time, the packets were sent and did not come.

use super::flow::Silence;
use crate::rtp::Burst;
use crate::rtp::Gap;
use crate::rtp::Losses;
use crate::rtp::LossesOverTime;
use crate::rtp::Neighbours;
use crate::rtp::SequenceCounts;
use crate::units::NANOS_PER_SECOND;
use crate::units::Nanos;

/// Numbers of a sequence until they run over.
const RANGE: i128 = 65_536;
/// How far a timestamp in step may be from the time that passed: a tenth of a second, as pictures come late (chosen)…
const IN_STEP_PART: i128 = 10;
/// … and one part of so many of the time: 200 ppm (chosen: twice what a free-running clock is off).
const IN_STEP_DRIFT: i128 = 5000;
/// How far the number of packets of an uneven stream may be from the mean: one part of so many, or so many packets
/// (chosen).
const UNEVEN_PART: i128 = 32;
const UNEVEN_LEAST: i128 = 64;
/// Where it may be farther off than this, a number that fits is chance (chosen: a sixteenth of the range).
const UNEVEN_MOST: i128 = 4096;
/// Missing numbers that are a burst (as in [`Burst`]).
const BURST: u64 = 3;
/// Bursts told of one stream (chosen).
const BURSTS_KEPT: usize = 16;
/// Frames of others that a silence should have held, were it one stream's alone (chosen: of 10 none is luck no more).
const OTHERS: i128 = 10;

/// The silences of the whole capture that no one stream made.
#[derive(Debug, Clone, Default)]
pub(super) struct Holes {
    pub(super) kept: Vec<Silence>,
    /// The shortest silence that is known, where there may be more as short.
    pub(super) shortest: Option<Nanos>,
}

impl Holes {
    /// Whether a gap as long as this may be one that is not known.
    fn may_hold(&self, length: Nanos) -> bool {
        // An eighth: streams have intervals of their own.
        self.shortest.is_some_and(|shortest| length.0 <= shortest.0.saturating_add(shortest.0 / 8))
    }

    /// Whether one of the gaps of a stream that were not kept, each shorter than this, may be one of them.
    fn may_hold_any(&self, shorter: Option<Nanos>) -> bool {
        let is_such = |silence: &Silence| shorter.is_none_or(|most| silence.length().0 <= most.0);
        self.shortest.is_some() || self.kept.iter().any(is_such)
    }
}

/// What is known of a stream's clock.
#[derive(Debug, Clone)]
pub(super) struct Clock {
    /// Ticks a second; `None` where they are not known.
    pub(super) rate: Option<u32>,
    pub(super) neighbours: Neighbours,
}

/// What is missing, by whose fault.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Missing {
    /// Numbers that came and those that were lost.
    pub(super) expected: u64,
    /// Lost while something else was captured.
    pub(super) lost: u64,
    /// Missing across a time in which nothing at all was captured.
    pub(super) not_captured: u64,
    pub(super) restarts: u64,
    /// Breaks of which it cannot be told.
    pub(super) unclear: u64,
    pub(super) bursts: Vec<Burst>,
    pub(super) burst_count: u64,
    /// All of them, near ones together.
    pub(super) over_time: LossesOverTime,
}

/// What happened across a gap.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Across {
    /// So many packets are missing.
    Missing(u64),
    /// The source began anew.
    Anew,
    CannotTell,
}

/// Of `silences` of the whole capture those in which others should have been heard, by what `others` packets came in
/// `span`. In a capture of one stream alone its own outage is a silence of everything.
pub(super) fn holes(silences: &[Silence], others: u64, span: Nanos) -> Vec<Silence> {
    let is_hole = |silence: &&Silence| {
        i128::from(silence.length().0) * i128::from(others) >= OTHERS * i128::from(span.0)
    };
    silences.iter().filter(is_hole).copied().collect()
}

/// Tells what is missing; `holes` are those of the whole capture.
pub(super) fn judge(counts: &SequenceCounts, losses: Losses, clock: &Clock, holes: &Holes) -> Missing {
    let is_hole = |gap: &Gap| silence(gap).is_of_all(&holes.kept);
    let mut missing = Missing {
        expected: counts.expected,
        lost: counts.lost(),
        over_time: losses.short,
        // Those that were not kept are not judged.
        unclear: losses.break_count.saturating_sub(u64::try_from(losses.breaks.len()).unwrap_or(u64::MAX)),
        ..Missing::default()
    };
    missing.bursts = losses.bursts;
    missing.bursts.retain(|burst| !Silence { from: burst.from, until: burst.time }.is_of_all(&holes.kept));
    let mut before: Option<&Gap> = None;
    for gap in &losses.long {
        let numbers = u64::from(forward(gap)).saturating_sub(1);
        // A gap that a late packet split stands there twice.
        let again = before.is_some_and(|before| (before.before, before.after) == (gap.before, gap.after));
        before = Some(gap);
        let beyond = match across(gap, clock) {
            Across::Missing(all) if !again => all.saturating_sub(numbers),
            _ => 0,
        };
        if is_hole(gap) {
            missing.forgive(gap.missing);
            missing.not_captured += gap.missing.saturating_add(beyond);
        } else if gap.missing > 0 && holes.may_hold(gap.length()) {
            missing.forgive(gap.missing);
            missing.unclear += 1;
        } else if beyond == 0 {
            if gap.missing >= BURST {
                missing.over_time.push(burst(gap, gap.missing));
            }
        } else {
            missing.lost += beyond;
            missing.expected += beyond;
            let whole = burst(gap, gap.missing.saturating_add(beyond));
            missing.over_time.push(whole);
            let is_told = |burst: &&mut Burst| (burst.from, burst.time) == (whole.from, whole.time);
            match missing.bursts.iter_mut().find(is_told) {
                Some(burst) => burst.missing += beyond,
                None => missing.bursts.push(whole),
            }
        }
    }
    let (all, numbers) = losses.long_count;
    let beyond = all.saturating_sub(u64::try_from(losses.long.len()).unwrap_or(u64::MAX));
    if beyond > 0 && holes.may_hold_any(losses.long.last().map(Gap::length)) {
        let kept: u64 = losses.long.iter().map(|gap| gap.missing).sum();
        missing.forgive(numbers.saturating_sub(kept));
        missing.unclear += beyond;
    } else {
        missing.over_time.join(&losses.long_rest);
    }
    for gap in &losses.breaks {
        // What turned out to belong to what follows is counted there.
        let here = |all: u64| all.saturating_sub(gap.missing);
        match across(gap, clock) {
            Across::Missing(all) if is_hole(gap) => missing.not_captured += here(all),
            Across::Missing(all) => {
                let all = here(all);
                missing.lost += all;
                missing.expected += all;
                missing.over_time.push(burst(gap, all));
                missing.bursts.push(burst(gap, all));
            }
            Across::Anew => missing.restarts += 1,
            Across::CannotTell => missing.unclear += 1,
        }
    }
    missing.bursts.sort_by_key(|burst| burst.time);
    missing.bursts.truncate(BURSTS_KEPT);
    missing.burst_count = missing.over_time.bursts();
    missing
}

impl Missing {
    /// Takes numbers from what was lost.
    const fn forgive(&mut self, numbers: u64) {
        self.lost = self.lost.saturating_sub(numbers);
        self.expected = self.expected.saturating_sub(numbers);
    }

    /// Leaves what the stamps told of open.
    pub(super) fn leave_open(&mut self) {
        self.unclear = self.unclear.saturating_add(std::mem::take(&mut self.restarts));
        self.bursts = Vec::new();
        self.over_time = LossesOverTime::default();
    }
}

const fn burst(gap: &Gap, missing: u64) -> Burst {
    Burst { from: gap.before.time, time: gap.after.time, missing }
}

const fn silence(gap: &Gap) -> Silence {
    Silence { from: gap.before.time, until: gap.after.time }
}

const fn forward(gap: &Gap) -> u16 {
    gap.after.number.wrapping_sub(gap.before.number)
}

fn across(gap: &Gap, clock: &Clock) -> Across {
    let Some(rate) = clock.rate.map(i128::from).filter(|rate| *rate > 0) else { return Across::CannotTell };
    let passed = i128::from(gap.length().0);
    if passed < 0 {
        // The capture's clock was set back.
        return Across::CannotTell;
    }
    let due = passed * rate / i128::from(NANOS_PER_SECOND);
    let went = i128::from(gap.after.timestamp.wrapping_sub(gap.before.timestamp));
    let range = 1_i128 << 32;
    let off = (went - due).rem_euclid(range);
    let off = if off >= range / 2 { off - range } else { off };
    if off.abs() > rate / IN_STEP_PART + due / IN_STEP_DRIFT {
        return Across::Anew;
    }
    let (ticks, forward) = (due + off, i128::from(forward(gap)));
    let step = clock.neighbours.step().map(i128::from).filter(|step| *step > 0);
    let packets = match step.filter(|_| clock.neighbours.still() == 0) {
        Some(step) => {
            let packets = ticks / step;
            if ticks % step != 0 || (packets - forward).rem_euclid(RANGE) != 0 {
                return Across::Anew;
            }
            // More than go into the time that passed are no loss that can be told.
            let due = due / step;
            if packets - due > (due / UNEVEN_PART).max(UNEVEN_LEAST) {
                return Across::CannotTell;
            }
            packets
        }
        None => {
            let elapsed = i128::from(clock.neighbours.elapsed().0);
            let mean = (passed * i128::from(clock.neighbours.count())).checked_div(elapsed);
            let Some(mean) = mean.filter(|mean| *mean > 0) else { return Across::CannotTell };
            let wraps = (mean - forward + RANGE / 2).div_euclid(RANGE).max(0);
            let packets = forward + wraps * RANGE;
            let allowed = (mean / UNEVEN_PART).max(UNEVEN_LEAST);
            if allowed > UNEVEN_MOST || (packets - mean).abs() > allowed {
                return Across::CannotTell;
            }
            packets
        }
    };
    u64::try_from(packets - 1).map_or(Across::Anew, Across::Missing)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rtp::Numbered;
    use crate::rtp::Sequence;
    use crate::units::CaptureTime;

    /// Packets of 48 ticks a millisecond; of those at `gone` none comes.
    fn audio(count: i64, gone: std::ops::Range<i64>, anew: Option<(u16, u32)>) -> Missing {
        let mut sequence = Sequence::default();
        for at in (0..count).filter(|at| !gone.contains(at)) {
            let (number, stamp) = anew.filter(|_| at >= gone.end).unwrap_or_default();
            sequence.push(Numbered {
                number: u16::try_from(at.rem_euclid(65_536)).unwrap().wrapping_add(number),
                timestamp: u32::try_from((at * 48).rem_euclid(1 << 32)).unwrap().wrapping_add(stamp),
                time: CaptureTime(at * 1_000_000),
            });
        }
        told(&sequence, Some(48_000))
    }

    fn told(sequence: &Sequence, rate: Option<u32>) -> Missing {
        let clock = Clock { rate, neighbours: sequence.neighbours() };
        judged(sequence, &clock, &Holes::default())
    }

    fn judged(sequence: &Sequence, clock: &Clock, holes: &Holes) -> Missing {
        judge(&sequence.counts(), sequence.losses(), clock, holes)
    }

    fn in_short(missing: &Missing) -> (u64, u64, u64, u64) {
        (missing.lost, missing.restarts, missing.unclear, missing.burst_count)
    }

    #[test]
    fn an_outage_is_loss_however_often_the_numbers_ran_over() {
        for lost in
            [1, 3, 2998, 2999, 3000, 5000, 40_000, 65_500, 65_535, 65_536, 65_700, 200_000, 40_000_000]
        {
            let missing = audio(lost + 2000, 1000..1000 + lost, None);
            let lost = u64::try_from(lost).unwrap();
            assert_eq!(in_short(&missing), (lost, 0, 0, u64::from(lost >= 3)), "{lost}");
            assert_eq!(missing.expected, 2000 + lost);
            let of_bursts: u64 = missing.bursts.iter().map(|burst| burst.missing).sum();
            assert_eq!(of_bursts, if lost < 3 { 0 } else { lost });
            let over_time: u64 = missing.over_time.cells().map(|cell| cell.missing).sum();
            assert_eq!(over_time, of_bursts);
        }
    }

    #[test]
    fn a_source_that_begins_anew_is_not_taken_for_loss() {
        // Another number, another timestamp, or both; at once and after a while.
        for gone in [1000..1000, 1000..1050, 1000..9000] {
            for anew in [(20_000, 0), (20_000, 1 << 30), (0, 1 << 30)] {
                let missing = audio(12_000, gone.clone(), Some(anew));
                let is_far = anew.0 > 0 || gone.end > 4000;
                assert_eq!((missing.restarts, missing.unclear), (u64::from(is_far), 0), "{gone:?} {anew:?}");
                assert!(missing.lost <= 50, "{missing:?}");
            }
        }
    }

    #[test]
    fn without_a_clock_rate_a_jump_cannot_be_told() {
        let mut sequence = Sequence::default();
        for at in (0..9000_i64).filter(|at| !(1000..6000).contains(at)) {
            let number = u16::try_from(at).unwrap();
            sequence.push(Numbered { number, timestamp: 7, time: CaptureTime(at * 1_000_000) });
        }
        assert_eq!(in_short(&told(&sequence, None)), (0, 0, 1, 0));
    }

    /// Pictures of 40 packets, 25 a second.
    fn pictures(gone: std::ops::Range<u32>, more: u16) -> Missing {
        let mut sequence = Sequence::default();
        for at in (0..30_000_u32).filter(|at| !gone.contains(at)) {
            let number = u16::try_from(at).unwrap().wrapping_add(if at >= gone.end { more } else { 0 });
            let time = CaptureTime(i64::from(at / 40) * 40_000_000 + i64::from(at % 40) * 500_000);
            sequence.push(Numbered { number, timestamp: at / 40 * 3600, time });
        }
        told(&sequence, Some(90_000))
    }

    #[test]
    fn of_pictures_the_packets_that_go_into_the_time_are_loss() {
        assert_eq!(in_short(&pictures(5000..13_000, 0)), (8000, 0, 0, 1));
        assert_eq!(in_short(&pictures(5000..13_000, 30_000)), (0, 0, 1, 0));
    }

    #[test]
    fn what_is_missing_while_nothing_was_captured_is_nobodys_loss() {
        let mut sequence = Sequence::default();
        for at in (0..20_000_i64).filter(|at| !(1000..1200).contains(at) && !(5000..15_000).contains(at)) {
            let number = u16::try_from(at).unwrap();
            let timestamp = u32::try_from(at * 48).unwrap();
            sequence.push(Numbered { number, timestamp, time: CaptureTime(at * 1_000_000) });
        }
        let clock = Clock { rate: Some(48_000), neighbours: sequence.neighbours() };
        let silences = [(999, 1200), (4999, 15_000)].map(|(from, until): (i64, i64)| Silence {
            from: CaptureTime(from * 1_000_000),
            until: CaptureTime(until * 1_000_000),
        });
        let span = Nanos::from_seconds(20);
        let of = |holes: Vec<Silence>| {
            let holes = Holes { kept: holes, shortest: None };
            judged(&sequence, &clock, &holes)
        };
        let both = of(holes(&silences, 9800, span));
        assert_eq!((both.lost, both.not_captured, both.burst_count, both.expected), (0, 10_200, 0, 9800));
        let one = of(holes(&silences[..1], 9800, span));
        assert_eq!((one.lost, one.not_captured, one.burst_count, one.expected), (10_000, 200, 1, 19_800));
        // Where nothing else is on the wire, nothing is shown.
        let none = of(holes(&silences, 5, span));
        assert_eq!((none.lost, none.not_captured, none.burst_count), (10_200, 0, 2));
    }

    #[test]
    fn of_more_holes_than_are_kept_the_rest_is_not_called_lost() {
        // 300 holes of 100 ms, 10 numbers each; the first are longer.
        let mut sequence = Sequence::default();
        let mut silences = Vec::new();
        let mut at = 0_i64;
        for number in 0..30_000_i64 {
            if number % 100 >= 90 {
                continue;
            }
            let hole = if number % 100 == 0 && number > 0 { 100_000_000 - number * 10 } else { 1_000_000 };
            if hole > 1_000_000 {
                silences.push(Silence { from: CaptureTime(at), until: CaptureTime(at + hole) });
            }
            at += hole;
            let timestamp = u32::try_from(number * 480).unwrap();
            sequence.push(Numbered {
                number: u16::try_from(number).unwrap(),
                timestamp,
                time: CaptureTime(at),
            });
        }
        let clock = Clock { rate: None, neighbours: sequence.neighbours() };
        let of = |kept: &[Silence], shortest: Option<i64>| {
            let holes = Holes { kept: kept.to_vec(), shortest: shortest.map(Nanos) };
            let missing = judged(&sequence, &clock, &holes);
            (missing.lost, missing.not_captured, missing.unclear, missing.burst_count)
        };
        assert_eq!(of(&silences, None), (0, 2560, 43, 0));
        // Where none of the capture's silences is as short, what is missing there was lost.
        assert_eq!(of(&silences[..20], None), (2790, 200, 0, 279));
        assert_eq!(of(&silences[..256], Some(99_000_000)), (0, 2560, 43, 0));
        assert_eq!(of(&[], None), (2990, 0, 0, 299));
    }
}
