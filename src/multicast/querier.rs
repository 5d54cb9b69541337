//! One address that asks, and how long its word holds.

use std::collections::VecDeque;
use std::net::IpAddr;

use super::said::{Question, Version};
use crate::observations::Place;
use crate::units::CaptureTime;
use crate::units::NANOS_PER_SECOND;
use crate::units::Nanos;

/// `Robustness Variable`, 2 where the querier does not tell (RFC 3376 section 8.1).
const ROBUSTNESS: i64 = 2;
/// `Query Interval`, 125 s (RFC 3376 section 8.2).
const QUERY_INTERVAL: Nanos = Nanos(125 * NANOS_PER_SECOND);
/// `Query Response Interval`, 10 s (RFC 3376 section 8.3).
pub(super) const RESPONSE_INTERVAL: Nanos = Nanos(10 * NANOS_PER_SECOND);
/// Distances of queries that are kept to measure the interval by: those last seen (chosen).
const GAPS_KEPT: usize = 255;

/// The numbers that timers are made from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Timing {
    robustness: i64,
    interval: Nanos,
    response: Nanos,
}

impl Default for Timing {
    fn default() -> Self {
        Self { robustness: ROBUSTNESS, interval: QUERY_INTERVAL, response: RESPONSE_INTERVAL }
    }
}

impl Timing {
    /// `Other Querier Present Interval` (RFC 3376 section 8.5, RFC 3810 section 9.5).
    pub(super) const fn other_querier_present(self) -> Nanos {
        self.interval.saturating_mul(self.robustness).saturating_add(Nanos(self.response.0 / 2))
    }

    /// `Group Membership Interval` (RFC 3376 section 8.4, RFC 3810 section 9.4).
    pub(super) const fn group_membership(self) -> Nanos {
        self.interval.saturating_mul(self.robustness).saturating_add(self.response)
    }
}

/// An address that asks for members. Only general queries count; those for one group come when somebody left.
#[derive(Debug, Clone, PartialEq)]
pub struct Querier {
    /// Who; 0.0.0.0 is a snooping switch's proxy, which cannot be elected (RFC 4541 section 2.1.1, from memory).
    pub address: IpAddr,
    /// The version of its last query.
    pub version: Version,
    /// General queries.
    pub queries: u64,
    /// Its first general query.
    pub first: Place,
    /// Its last general query.
    pub last: Place,
    /// The interval that it declares; versions 1 and 2 of IGMP and 1 of MLD do not.
    pub declared_interval: Option<Nanos>,
    /// When its silence grew too long, where it has been silent up to the end.
    pub silent_since: Option<CaptureTime>,
    gaps: VecDeque<Nanos>,
    longest_gap: Nanos,
    robustness: i64,
    response: Nanos,
}

impl Querier {
    pub(super) fn new(address: IpAddr, question: &Question, place: Place) -> Self {
        let mut querier = Self {
            address,
            version: question.version,
            queries: 0,
            first: place,
            last: place,
            declared_interval: None,
            silent_since: None,
            gaps: VecDeque::new(),
            longest_gap: Nanos::ZERO,
            robustness: ROBUSTNESS,
            response: RESPONSE_INTERVAL,
        };
        querier.asks(question, place);
        querier
    }

    /// Takes in a general query. A silence that was too long is no interval.
    pub(super) fn asks(&mut self, question: &Question, place: Place) {
        if let (Some(before), Some(now), None, true) =
            (self.last.time, place.time, self.silent_since, self.queries > 0)
        {
            let gap = now.since(before);
            if self.gaps.len() >= GAPS_KEPT {
                self.gaps.pop_front();
            }
            self.gaps.push_back(gap);
            self.longest_gap = self.longest_gap.max(gap);
        }
        self.queries = self.queries.saturating_add(1);
        self.last = place;
        self.silent_since = None;
        self.version = question.version;
        self.declared_interval = question.interval;
        self.robustness = question.robustness.unwrap_or(ROBUSTNESS);
        self.response = question.max_response;
    }

    /// The median distance of its queries; `None` below two. The quick ones that a querier starts with are among them.
    #[must_use]
    pub fn interval(&self) -> Option<Nanos> {
        let mut gaps: Vec<Nanos> = self.gaps.iter().copied().collect();
        gaps.sort_unstable();
        gaps.get(gaps.len() / 2).copied()
    }

    /// An interval that is not declared counts as the default or the longest that was seen, whichever is longer: a
    /// querier begins with quick ones, and nobody is to be called silent for keeping to its own.
    pub(super) fn timing(&self) -> Timing {
        let assumed = QUERY_INTERVAL.max(self.longest_gap);
        let interval = self.declared_interval.unwrap_or(assumed);
        Timing { robustness: self.robustness, interval, response: self.response }
    }

    /// How long others wait for its next query before they take over.
    #[must_use]
    pub fn patience(&self) -> Nanos {
        self.timing().other_querier_present()
    }

    /// How long members may wait with their answer to its last query.
    #[must_use]
    pub const fn response(&self) -> Nanos {
        self.response
    }

    /// The robustness variable it declares, else the default of 2.
    #[must_use]
    pub const fn robustness(&self) -> i64 {
        self.robustness
    }

    /// When its silence is or was too long.
    pub(super) fn deadline(&self) -> Option<CaptureTime> {
        self.last.time.map(|last| last.plus(self.patience()))
    }

    /// Whether it may win the election.
    pub(super) const fn is_electable(&self) -> bool {
        !self.address.is_unspecified()
    }
}
