//! Messages that come again: a number and a time of sending that were captured before, more than a moment ago.
//!
//! Only stamps that are filled count: a time to the nanosecond is sent once. Memory: [`REMEMBERED`] stamps a port.

use super::port::Kind;
use crate::observations::Place;
use crate::units::CaptureTime;
use crate::units::Nanos;
use crate::units::Timestamp;

/// Stamps of one kind that are remembered (chosen: half a minute of 8 a second).
const REMEMBERED: u16 = 256;

/// Stamps remembered of a port that has sent no more than that (chosen: a flood of invented ports must stay small).
const AT_FIRST: u16 = 8;

/// A copy within this is a mirror's or a network's duplicate (reference: 1 s).
const MOMENT: Nanos = Nanos::from_seconds(1);

/// Copies, and their share of all in per cent, from which a file is rather one that holds two captures (chosen).
const TWO_CAPTURES: (u64, u64) = (3, 30);

/// Frames kept (chosen).
const SHOWN: usize = 8;

#[derive(Debug, Clone, Copy)]
struct Sent {
    number: u16,
    stamp: Timestamp,
    seen: CaptureTime,
}

/// Messages of one port that came again.
#[derive(Debug, Clone, Default)]
pub struct Replays {
    /// The latest stamps of Sync and Follow_Up, each at its number modulo how many are remembered.
    syncs: Vec<Option<Sent>>,
    follow_ups: Vec<Option<Sent>>,
    stamped: u64,
    count: u64,
    places: Vec<Place>,
}

impl Replays {
    /// Takes in a Sync or Follow_Up with the time of sending it carries.
    pub(super) fn hear(&mut self, place: Place, number: u16, (kind, stamp): (Kind, Timestamp)) {
        let Some(seen) = place.time.filter(|_| !stamp.is_zero()) else { return };
        let memory = if kind == Kind::Sync { &mut self.syncs } else { &mut self.follow_ups };
        let length = if self.stamped < AT_FIRST.into() { AT_FIRST } else { REMEMBERED };
        grow(memory, length);
        let Some(slot) = memory.get_mut(usize::from(number % length)) else { return };
        self.stamped += 1;
        match slot {
            Some(sent) if sent.number == number && sent.stamp == stamp => {
                if seen.since(sent.seen) > MOMENT {
                    self.count += 1;
                    if self.places.len() < SHOWN {
                        self.places.push(place);
                    }
                }
            }
            _ => *slot = Some(Sent { number, stamp, seen }),
        }
    }

    /// Messages with a filled stamp.
    #[must_use]
    pub const fn stamped(&self) -> u64 {
        self.stamped
    }

    /// Of those, how many had been captured before.
    #[must_use]
    pub const fn count(&self) -> u64 {
        self.count
    }

    /// Whether so many come twice that this is rather two captures of one network in one file, whose clocks differ.
    #[must_use]
    pub const fn are_of_two_captures(&self) -> bool {
        let per_cent = self.count.saturating_mul(100) / if self.stamped == 0 { 1 } else { self.stamped };
        self.count >= TWO_CAPTURES.0 && per_cent >= TWO_CAPTURES.1
    }

    /// The first few of them.
    #[must_use]
    pub fn places(&self) -> &[Place] {
        &self.places
    }
}

/// Makes room for so many stamps, each at its number modulo that.
fn grow(memory: &mut Vec<Option<Sent>>, length: u16) {
    if memory.len() == usize::from(length) {
        return;
    }
    let known = std::mem::replace(memory, vec![None; length.into()]);
    for sent in known.into_iter().flatten() {
        if let Some(slot) = memory.get_mut(usize::from(sent.number % length)) {
            *slot = Some(sent);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn heard(messages: impl IntoIterator<Item = (i64, u16, u64)>) -> Replays {
        let mut replays = Replays::default();
        for (ms, number, seconds) in messages {
            let place = Place { file: 0, frame: 1, time: Some(CaptureTime(ms * 1_000_000)) };
            replays.hear(place, number, (Kind::FollowUp, Timestamp { seconds, nanoseconds: 0 }));
        }
        replays
    }

    #[test]
    fn the_same_number_and_stamp_count_only_after_a_moment() {
        assert_eq!(heard([(0, 7, 9), (900, 7, 9)]).count(), 0);
        assert_eq!(heard([(0, 7, 9), (1001, 7, 9), (5000, 7, 9)]).count(), 2);
        // Half a minute of them lies between.
        let first = || (0..200_u16).map(|number| (i64::from(number) * 125, number, 9 + u64::from(number)));
        assert_eq!(heard(first().chain([(26_000, 5, 14), (26_001, 6, 16)])).count(), 1);
    }

    #[test]
    fn another_stamp_another_number_and_an_empty_stamp_are_no_copies() {
        assert_eq!(heard([(0, 7, 9), (2000, 7, 10), (4000, 8, 10), (6000, 263, 10)]).count(), 0);
        assert_eq!(heard([(0, 7, 0), (2000, 7, 0)]).stamped(), 0);
    }
}
