//! What the Syncs of one port carry, counted where it could be odd: origins, corrections, the two-step flag.

use std::collections::VecDeque;

use super::pairing::TimedSync;
use crate::observations::Place;
use crate::timing::ScaledNanos;
use crate::units::Timestamp;

/// One-step Syncs remembered, in case a Follow_Up to them comes after all (chosen).
const REMEMBERED: usize = 8;

/// Nanoseconds from which `nanosecondsField` is out of range (1588-2008 5.3.3, from memory).
const SECOND: u32 = 1_000_000_000;

/// How often something was met, and where first.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Met {
    /// Times.
    pub times: u64,
    /// The first frame.
    pub first: Option<Place>,
}

impl Met {
    pub(super) fn at(&mut self, place: Place) {
        self.times += 1;
        self.first.get_or_insert(place);
    }
}

/// What was counted.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct SyncChecks {
    /// Syncs whose time of sending is known.
    pub timed: u64,
    /// Of those, with an origin of 0.
    pub zero_origin: Met,
    /// With the origin of the one before, though another number (version 2 alone).
    pub same_origin: Met,
    /// With 10⁹ nanoseconds or more.
    pub odd_origin: Met,
    /// Follow_Ups to a Sync whose `twoStepFlag` says that none comes.
    pub unflagged_follow_up: Met,
    /// Changes of `twoStepFlag` from one Sync to the next.
    pub flag_changes: Met,
    /// Smallest sum of the corrections of Sync and Follow_Up, and the Sync's frame.
    pub least_correction: Option<(ScaledNanos, Place)>,
    /// Largest.
    pub most_correction: Option<(ScaledNanos, Place)>,
    /// Sums below 0.
    pub negative_corrections: u64,
    before: Option<(Timestamp, Option<u16>)>,
    /// Number of the latest Sync: one that was captured twice has its own origin twice.
    number: Option<u16>,
    flag: Option<bool>,
    one_step: VecDeque<u16>,
}

impl SyncChecks {
    pub(super) fn timed(&mut self, sync: &TimedSync) {
        self.timed += 1;
        if sync.sent.is_zero() {
            self.zero_origin.at(sync.place);
        } else if self.before.is_some_and(|(sent, number)| sent == sync.sent && number != self.number) {
            self.same_origin.at(sync.place);
        }
        if sync.sent.nanoseconds >= SECOND {
            self.odd_origin.at(sync.place);
        }
        self.before = Some((sync.sent, self.number));
        let Some(sum) = ScaledNanos::total(&[sync.sync_correction, sync.follow_up_correction]) else {
            return;
        };
        if self.least_correction.is_none_or(|(least, _)| sum < least) {
            self.least_correction = Some((sum, sync.place));
        }
        if self.most_correction.is_none_or(|(most, _)| sum > most) {
            self.most_correction = Some((sum, sync.place));
        }
        self.negative_corrections += u64::from(sum < ScaledNanos::ZERO);
    }

    pub(super) fn flag(&mut self, place: Place, sequence_id: u16, two_step: bool) {
        self.number = Some(sequence_id);
        if self.flag.replace(two_step).is_some_and(|before| before != two_step) {
            self.flag_changes.at(place);
        }
        if !two_step {
            if self.one_step.len() >= REMEMBERED {
                self.one_step.pop_front();
            }
            self.one_step.push_back(sequence_id);
        }
    }

    pub(super) fn follow_up(&mut self, place: Place, sequence_id: u16) {
        if let Some(index) = self.one_step.iter().position(|number| *number == sequence_id) {
            self.one_step.remove(index);
            self.unflagged_follow_up.at(place);
        }
    }
}
