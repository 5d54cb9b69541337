//! What is odd about the answers to one requester: numbers it never used, two answers to one request, answers that come
//! after the next request or by another way.

use super::key::PortId;
use super::sync_checks::Met;
use crate::observations::Place;

/// Answered requests remembered, in case a second answer comes (chosen).
const REMEMBERED: usize = 16;

/// What was counted.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct AnswerChecks {
    /// Answers with a number of no request in view, while requests of this port are.
    pub strays: Met,
    /// Requests that a second port answered as well.
    pub answered_twice: Met,
    /// Answers that came after the next request had been sent.
    pub overtaken: Met,
    /// Answers to the group to a request that went to one receiver.
    pub to_group: Met,
    /// Answers to another IP address than the requests come from.
    pub elsewhere: Met,
    settled: Vec<(u16, PortId)>,
    /// Where the oldest of those is, once there are as many as are remembered.
    oldest: usize,
}

impl AnswerChecks {
    pub(super) fn settle(&mut self, sequence_id: u16, responder: PortId) {
        if self.settled.len() < REMEMBERED {
            self.settled.push((sequence_id, responder));
        } else if let Some(oldest) = self.settled.get_mut(self.oldest) {
            *oldest = (sequence_id, responder);
            self.oldest = (self.oldest + 1) % REMEMBERED;
        }
    }

    /// Whether an answer repeats one to the same request; by another port is counted.
    pub(super) fn is_second(&mut self, place: Place, sequence_id: u16, responder: PortId) -> bool {
        let (later, earlier) = self.settled.split_at(self.oldest);
        let mut latest_first = later.iter().rev().chain(earlier.iter().rev());
        let Some((_, first)) = latest_first.find(|(number, _)| *number == sequence_id) else { return false };
        if *first != responder {
            self.answered_twice.at(place);
        }
        true
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domains::ClockId;
    use crate::units::MacAddress;

    #[test]
    fn the_latest_sixteen_are_remembered_and_of_one_number_the_latest() {
        let place = Place { file: 0, frame: 1, time: None };
        let by = |port| PortId { clock: ClockId::V1(MacAddress([2; 6])), port };
        let mut checks = AnswerChecks::default();
        for number in (0..20).chain([10]) {
            checks.settle(number, by(number));
        }
        checks.settle(12, by(99));
        assert_eq!(
            [3, 4, 5, 19].map(|number| checks.is_second(place, number, by(number))),
            [false, false, false, true]
        );
        assert_eq!([6, 12].map(|number| checks.is_second(place, number, by(number))), [true, true]);
        assert_eq!(checks.answered_twice.times, 1, "number 12 was answered by another at last");
    }
}
