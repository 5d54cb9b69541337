//! Copies of one frame that a mirror captured twice, on its way into and out of a switch.

use std::collections::VecDeque;

use super::observation::Observation;
use crate::units::CaptureTime;
use crate::units::Nanos;

/// How far apart two copies of one frame may be: 1 ms. From memory, no standard says it; a switch forwards
/// within tens of µs, and no PTP sender repeats a message octet by octet this soon.
const WINDOW: Nanos = Nanos(1_000_000);

/// Most frames remembered (chosen: 4 million PTP messages a second would have to come to need more).
const MOST_REMEMBERED: usize = 4096;

/// Ends of fingerprints that are told apart before originals are compared one by one (chosen: a line of few where all that
/// may be are remembered; fingerprints are secret, so nobody can make them end alike).
const ENDS: u16 = 1024;

/// Tells copies from originals, when handed the observations in the order of the capture.
///
/// A frame is a copy when an octet-identical one ([`Observation::fingerprint`]) was seen less than or exactly
/// 1 ms away, before it in order; the time may step back. A frame is measured against the first of its kind
/// and not against another copy, so a sender that repeats itself for ever is not silenced. Frames without a
/// time are never copies. A frame that a transparent clock changed between the two captures is none either.
///
/// Memory: at most 4096 entries of 24 octets, as a rule those of the last millisecond, and 8 KiB to find them.
#[derive(Debug, Clone, Default)]
pub struct MirrorDuplicates {
    /// In order of arrival.
    originals: VecDeque<Original>,
    /// The number of the first of them.
    first: u64,
    /// The number of the latest original of each end of a fingerprint, plus 1.
    latest: Vec<u64>,
}

#[derive(Debug, Clone, Copy)]
struct Original {
    fingerprint: u64,
    time: CaptureTime,
    /// The number of the one before it with the same end, plus 1. That may be gone.
    before: u64,
}

impl MirrorDuplicates {
    /// Whether `observation` repeats one that came before. One that does not is remembered.
    pub fn is_copy(&mut self, observation: &Observation) -> bool {
        let Some(time) = observation.place.time else { return false };
        self.forget(time);
        let fingerprint = observation.fingerprint;
        if self.latest.is_empty() {
            self.latest = vec![0; ENDS.into()];
        }
        let end = usize::try_from(fingerprint % u64::from(ENDS)).unwrap_or_default();
        let Some(latest) = self.latest.get_mut(end) else { return false };
        let before = *latest;
        let mut number = before;
        // From the latest back to the first that is still known.
        while let Some(original) = number
            .checked_sub(self.first + 1)
            .and_then(|index| self.originals.get(usize::try_from(index).ok()?))
        {
            if original.fingerprint == fingerprint {
                if is_near(original.time, time) {
                    return true;
                }
                break;
            }
            number = original.before;
        }
        self.originals.push_back(Original { fingerprint, time, before });
        *latest = self.first + u64::try_from(self.originals.len()).unwrap_or_default();
        false
    }

    /// Drops what is out of reach at `now`, and the oldest where there are too many.
    fn forget(&mut self, now: CaptureTime) {
        while let Some(original) = self.originals.front() {
            if is_near(original.time, now) && self.originals.len() < MOST_REMEMBERED {
                break;
            }
            self.originals.pop_front();
            self.first += 1;
        }
    }
}

/// Whether two instants are within the window, whichever comes first.
const fn is_near(one: CaptureTime, other: CaptureTime) -> bool {
    one.since(other).0.unsigned_abs() <= WINDOW.0.unsigned_abs()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::observations::{Path, Place, Transport, What};
    use proptest::prelude::*;

    fn seen(fingerprint: u64, time: Option<i64>) -> Observation {
        Observation {
            place: Place { file: 0, frame: 1, time: time.map(CaptureTime) },
            path: Path {
                interface: 0,
                source_mac: None,
                destination_mac: None,
                vlan: None,
                pcp: None,
                transport: Transport::Udp4,
                source_ip: None,
                destination_ip: None,
                destination_port: Some(319),
                ttl: None,
                dscp: None,
            },
            fingerprint,
            what: What::Fragment,
        }
    }

    fn copies(sequence: &[(u64, Option<i64>)]) -> Vec<bool> {
        let mut mirror = MirrorDuplicates::default();
        sequence.iter().map(|(fingerprint, time)| mirror.is_copy(&seen(*fingerprint, *time))).collect()
    }

    #[test]
    fn the_same_frame_is_a_copy_up_to_a_millisecond_and_then_an_original_again() {
        let sequence = [(7, Some(0)), (7, Some(1_000_000)), (7, Some(1_000_001)), (7, Some(2_000_001))];
        assert_eq!(copies(&sequence), [false, true, false, true]);
    }

    #[test]
    fn a_frame_without_time_is_never_a_copy() {
        assert_eq!(copies(&[(7, None), (7, None), (7, Some(0)), (7, None)]), [false; 4]);
    }

    #[test]
    fn a_copy_stamped_before_its_original_is_a_copy() {
        assert_eq!(copies(&[(7, Some(5_000_000)), (7, Some(4_500_000))]), [false, true]);
        assert_eq!(copies(&[(7, Some(5_000_000)), (7, Some(3_500_000))]), [false, false]);
        assert_eq!(copies(&[(7, Some(i64::MAX)), (7, Some(i64::MIN))]), [false, false]);
    }

    #[test]
    fn forgetting_an_old_original_keeps_the_newer_one_of_its_kind() {
        let sequence = [(1, Some(1_000_000)), (7, Some(200_000)), (7, Some(1_900_000)), (7, Some(2_100_000))];
        assert_eq!(copies(&sequence), [false, false, false, true]);
    }

    #[test]
    fn what_is_remembered_is_bounded_though_all_frames_have_one_time() {
        let mut mirror = MirrorDuplicates::default();
        for fingerprint in 0..20_000 {
            assert!(!mirror.is_copy(&seen(fingerprint, Some(0))));
            assert!(mirror.originals.len() <= MOST_REMEMBERED);
        }
        assert!(mirror.is_copy(&seen(19_999, Some(0))));
        assert!(!mirror.is_copy(&seen(0, Some(0))));
    }

    #[test]
    fn a_time_far_behind_those_remembered_does_not_let_them_pile_up() {
        let mut mirror = MirrorDuplicates::default();
        for step in 0_i64..10_000 {
            let time = if step % 2 == 0 { step } else { 1_000_000_000_000 + step };
            mirror.is_copy(&seen(step.unsigned_abs(), Some(time)));
        }
        assert!(mirror.originals.len() <= 2);
    }

    proptest! {
        #[test]
        fn in_time_order_it_agrees_with_looking_at_every_original(
            steps in proptest::collection::vec((0_u64..5, 0_i64..700_000), 0..200),
        ) {
            let mut time = 0;
            let sequence: Vec<(u64, Option<i64>)> = steps
                .into_iter()
                .map(|(fingerprint, step)| {
                    time += step;
                    (fingerprint, Some(time))
                })
                .collect();
            let mut originals: Vec<(u64, i64)> = Vec::new();
            let mut expected = Vec::new();
            for (fingerprint, time) in &sequence {
                let time = time.unwrap();
                let is_copy = originals.iter().any(|(f, t)| f == fingerprint && time - t <= 1_000_000);
                if !is_copy {
                    originals.push((*fingerprint, time));
                }
                expected.push(is_copy);
            }
            prop_assert_eq!(copies(&sequence), expected);
        }

        #[test]
        fn in_any_order_a_copy_has_an_original_near_it(
            sequence in proptest::collection::vec((0_u64..3, proptest::option::of(-3_000_000_i64..3_000_000)), 0..200),
        ) {
            let answers = copies(&sequence);
            for (place, (fingerprint, time)) in sequence.iter().enumerate() {
                if !answers[place] {
                    continue;
                }
                let time = time.unwrap();
                let near = |(f, t): &(u64, Option<i64>)| {
                    f == fingerprint && t.is_some_and(|t| (time - t).abs() <= 1_000_000)
                };
                let has_original =
                    sequence[..place].iter().zip(&answers).any(|(earlier, copy)| !copy && near(earlier));
                prop_assert!(has_original);
            }
        }
    }
}
