//! Times in which nothing at all was captured.
//!
//! They are what the set of all frames' times leaves free, whatever order those stand in, so that a stray stamp far
//! ahead hides nothing and a cut shows nowhere.

use super::flow::Silence;
use crate::units::CaptureTime;
use crate::units::NANOS_PER_SECOND;
use crate::units::Nanos;

/// The shortest silence that is kept (chosen: 1/16 s, below which a pause of the whole capture is none for the
/// elections either).
const SHORTEST: Nanos = Nanos(NANOS_PER_SECOND / 16);
/// A silence is a hole in which nobody watched from so many frames on that would have come in it at the mean rate of all
/// (chosen: a network does not fall silent for that long, as its clock alone speaks all the time).
const MISSED: i128 = 20;
/// And from this length on (chosen: what is shorter moves no mean that is read in whole seconds).
const SHORTEST_HOLE: Nanos = Nanos::from_seconds(1);
/// Silences kept, the longest (chosen: 16 KiB).
const KEPT: usize = 1024;

/// The silences of a stretch, in order of time.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Silences {
    /// The earliest and the latest frame.
    ends: Option<(CaptureTime, CaptureTime)>,
    kept: Vec<Silence>,
}

impl Silences {
    /// Notes that something was captured.
    pub(super) fn hear(&mut self, time: CaptureTime) {
        let Some((first, last)) = self.ends else {
            self.ends = Some((time, time));
            return;
        };
        if time > last {
            self.ends = Some((first, time));
            self.keep(Silence { from: last, until: time });
        } else if time < first {
            self.ends = Some((time, last));
            self.keep(Silence { from: time, until: first });
        } else if time < last {
            self.split(time);
        }
    }

    /// A frame that stands out of order may lie in what was taken for a silence.
    fn split(&mut self, time: CaptureTime) {
        let place = self.kept.partition_point(|silence| silence.until <= time);
        let Some(silence) = self.kept.get(place).copied().filter(|silence| silence.from < time) else {
            return;
        };
        self.kept.remove(place);
        self.keep(Silence { until: time, ..silence });
        self.keep(Silence { from: time, ..silence });
    }

    fn keep(&mut self, silence: Silence) {
        if silence.length() < SHORTEST {
            return;
        }
        let place = self.kept.partition_point(|kept| kept.from < silence.from);
        self.kept.insert(place, silence);
        if self.kept.len() > KEPT {
            let shortest = self.kept.iter().enumerate().min_by_key(|(_, kept)| (kept.length(), kept.from));
            if let Some((place, _)) = shortest {
                self.kept.remove(place);
            }
        }
    }

    /// These and those of another stretch: what both leave free.
    pub(super) fn join(&mut self, right: &Self) {
        let (Some(ours), Some(theirs)) = (self.ends, right.ends) else {
            if self.ends.is_none() {
                self.clone_from(right);
            }
            return;
        };
        let whole = (ours.0.min(theirs.0), ours.1.max(theirs.1));
        let (left, right) = (self.free(ours, whole), right.free(theirs, whole));
        self.kept = Vec::new();
        self.ends = Some(whole);
        let (mut left, mut right) = (left.iter().peekable(), right.iter().peekable());
        while let (Some(one), Some(other)) = (left.peek(), right.peek()) {
            let both = Silence { from: one.from.max(other.from), until: one.until.min(other.until) };
            let left_ends = one.until <= other.until;
            self.keep(both);
            if left_ends {
                left.next();
            } else {
                right.next();
            }
        }
    }

    /// The silences with the times before the first and after the last frame.
    fn free(&self, ends: (CaptureTime, CaptureTime), whole: (CaptureTime, CaptureTime)) -> Vec<Silence> {
        let before = Silence { from: whole.0, until: ends.0 };
        let after = Silence { from: ends.1, until: whole.1 };
        let inner = self.kept.iter().copied();
        std::iter::once(before).chain(inner).chain([after]).filter(|each| each.from < each.until).collect()
    }

    /// The shortest that is kept, where there may be more as short.
    pub(super) fn shortest(&self) -> Option<Nanos> {
        let full = self.kept.len() >= KEPT;
        full.then(|| self.kept.iter().map(|silence| silence.length()).min()).flatten()
    }

    /// The silences in which nobody watched: the capture missed that time, or its clock was set ahead. `frames` is the
    /// number of frames of the whole.
    pub(super) fn holes(&self, frames: u64) -> Vec<Silence> {
        let Some((first, last)) = self.ends else { return Vec::new() };
        let span = i128::from(last.since(first).0);
        let is_hole = |silence: &&Silence| {
            let length = silence.length();
            length >= SHORTEST_HOLE
                && i128::from(length.0).saturating_mul(i128::from(frames)) >= MISSED.saturating_mul(span)
        };
        self.kept.iter().filter(is_hole).copied().collect()
    }

    /// In order of time.
    pub(super) fn all(&self) -> &[Silence] {
        &self.kept
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn heard(times: &[i64]) -> Silences {
        let mut silences = Silences::default();
        for time in times {
            silences.hear(CaptureTime(*time));
        }
        silences
    }

    fn slow(times: &[i64]) -> Vec<(i64, i64)> {
        let mut times = times.to_vec();
        times.sort_unstable();
        let pairs = times.windows(2).map(|pair| (pair[0], pair[1]));
        pairs.filter(|(from, until)| until - from >= SHORTEST.0).collect()
    }

    fn told(silences: &Silences) -> Vec<(i64, i64)> {
        silences.all().iter().map(|silence| (silence.from.0, silence.until.0)).collect()
    }

    #[test]
    fn a_stray_frame_far_ahead_makes_no_silence_of_what_follows() {
        let mut times: Vec<i64> = (0..1000).map(|at| at * 1_000_000).collect();
        times[500] = 3_600_000_000_000;
        assert_eq!(told(&heard(&times)), [(999_000_000, 3_600_000_000_000)]);
    }

    #[test]
    fn of_many_silences_the_longest_are_kept() {
        let times: Vec<i64> = (0..2000).map(|at| at * 100_000_000 + (at / 1990) * 1_000_000_000).collect();
        let silences = heard(&times);
        assert_eq!(silences.all().len(), KEPT);
        assert_eq!(silences.shortest(), Some(Nanos(100_000_000)));
        assert_eq!(heard(&times[..500]).shortest(), None);
        assert!(silences.all().iter().any(|silence| silence.length() > Nanos::from_seconds(1)));
    }

    fn holes(times: &[i64]) -> Vec<(i64, i64)> {
        let frames = u64::try_from(times.len()).unwrap();
        heard(times).holes(frames).iter().map(|hole| (hole.from.0, hole.until.0)).collect()
    }

    #[test]
    fn a_silence_in_which_others_would_have_come_is_a_hole_and_a_sparse_capture_has_none() {
        let second = 1_000_000_000;
        let dense: Vec<i64> = (0..100).map(|at| at * second / 10).collect();
        let gap = |length: i64| -> Vec<i64> {
            let later = dense.iter().map(|at| at + 10 * second + length);
            dense.iter().copied().chain(later).collect()
        };
        assert_eq!(holes(&gap(50 * second)), [(99 * second / 10, 60 * second)]);
        assert_eq!(holes(&gap(second / 2)), []);
        let sparse: Vec<i64> = (0..100).map(|at| at * 4 * second).collect();
        assert_eq!(holes(&sparse), []);
    }

    proptest! {
        #[test]
        fn they_are_what_all_times_leave_free_in_any_order_and_cut(
            steps in prop::collection::vec(prop_oneof![8 => 0_i64..50_000_000, 1 => -900_000_000_i64..900_000_000], 0..120),
            one in 0_usize..120, two in 0_usize..120,
        ) {
            let mut at = 0;
            let times: Vec<i64> = steps.iter().map(|step| { at += step; at }).collect();
            let (one, two) = (one.min(times.len()), two.min(times.len()));
            let (low, high) = (one.min(two), one.max(two));
            let whole = heard(&times);
            prop_assert_eq!(told(&whole), slow(&times));
            let mut left = heard(&times[..low]);
            left.join(&heard(&times[low..high]));
            left.join(&heard(&times[high..]));
            prop_assert_eq!(&left, &whole);
            let mut tail = heard(&times[low..high]);
            tail.join(&heard(&times[high..]));
            let mut from_right = heard(&times[..low]);
            from_right.join(&tail);
            prop_assert_eq!(&from_right, &whole);
        }
    }
}
