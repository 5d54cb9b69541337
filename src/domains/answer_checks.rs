//! What is odd about the answers to one requester: numbers it never used, two answers to one request, answers that come
//! after the next request or by another way.

use std::collections::VecDeque;

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
    settled: VecDeque<(u16, PortId)>,
}

impl AnswerChecks {
    pub(super) fn settle(&mut self, sequence_id: u16, responder: PortId) {
        if self.settled.len() >= REMEMBERED {
            self.settled.pop_front();
        }
        self.settled.push_back((sequence_id, responder));
    }

    /// Whether an answer repeats one to the same request; by another port is counted.
    pub(super) fn is_second(&mut self, place: Place, sequence_id: u16, responder: PortId) -> bool {
        let Some((_, first)) = self.settled.iter().rev().find(|(number, _)| *number == sequence_id) else {
            return false;
        };
        if *first != responder {
            self.answered_twice.at(place);
        }
        true
    }
}
