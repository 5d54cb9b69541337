//! One address that asks, and how long its word holds.

use std::collections::VecDeque;
use std::net::IpAddr;

use super::said::{Question, Version};
use crate::observations::{Instant, Now, Place};
use crate::units::CaptureTime;
use crate::units::NANOS_PER_SECOND;
use crate::units::Nanos;

/// `Robustness Variable`, 2 where the querier does not tell (RFC 3376 section 8.1).
const ROBUSTNESS: i64 = 2;
/// `Query Interval`, 125 s (RFC 3376 section 8.2).
const QUERY_INTERVAL: Nanos = Nanos(125 * NANOS_PER_SECOND);
/// `Query Response Interval`, 10 s (RFC 3376 section 8.3).
pub(super) const RESPONSE_INTERVAL: Nanos = Nanos(10 * NANOS_PER_SECOND);
/// How much earlier or later than at its interval a query may come (chosen).
const EARLY: Nanos = Nanos(NANOS_PER_SECOND);
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

    /// `Robustness Variable`, which is also the `Last Member Query Count` (RFC 3376 section 8.9).
    pub(super) const fn robustness(self) -> i64 {
        self.robustness
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
    /// How often it asked though a lower address, which is not silent, had asked since its query before.
    pub despite: u64,
    /// That lower address, of the last time.
    pub beside: Option<IpAddr>,
    /// The lower address that has asked since its last query.
    pub(super) lower_asked: Option<IpAddr>,
    /// Its last general query.
    pub(super) heard: Option<Instant>,
    gaps: VecDeque<Nanos>,
    longest_gap: Nanos,
    robustness: i64,
    response: Nanos,
}

impl Querier {
    pub(super) fn new(address: IpAddr, question: &Question, place: Place, now: Option<&Now>) -> Self {
        let mut querier = Self {
            address,
            version: question.version,
            queries: 0,
            first: place,
            last: place,
            declared_interval: None,
            silent_since: None,
            despite: 0,
            beside: None,
            lower_asked: None,
            heard: None,
            gaps: VecDeque::new(),
            longest_gap: Nanos::ZERO,
            robustness: ROBUSTNESS,
            response: RESPONSE_INTERVAL,
        };
        querier.asks(question, place, now);
        querier
    }

    /// Takes in a general query. A silence that was too long is no interval, and neither is a hole of the capture.
    pub(super) fn asks(&mut self, question: &Question, place: Place, now: Option<&Now>) {
        if let (Some(before), Some(now), None) = (self.heard, now, self.silent_since)
            && let Some(gap) = gap(&before, now)
        {
            self.note_gap(gap);
        }
        if let Some(now) = now {
            self.heard = Some(now.at);
        }
        self.queries = self.queries.saturating_add(1);
        self.last = place;
        self.silent_since = None;
        self.version = question.version;
        self.declared_interval = question.interval;
        self.robustness = question.robustness.unwrap_or(ROBUSTNESS);
        self.response = question.max_response;
    }

    fn note_gap(&mut self, gap: Nanos) {
        if self.gaps.len() >= GAPS_KEPT {
            self.gaps.pop_front();
        }
        self.gaps.push_back(gap);
        self.longest_gap = self.longest_gap.max(gap);
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

    /// Whether a report at `now` may answer a query of it that is due and was not captured.
    pub(super) fn may_have_been_missed(&self, now: &Now) -> bool {
        let interval = self.declared_interval.or_else(|| self.interval()).unwrap_or(QUERY_INTERVAL);
        let Some(heard) = self.heard.filter(|_| interval > self.response) else { return false };
        let early = now.at.since(&heard).saturating_add(EARLY);
        let late = early.0.checked_rem(interval.0).unwrap_or_default();
        early >= interval && late <= self.response.saturating_add(EARLY).saturating_add(EARLY).0
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

    /// Whether it may win the election.
    pub(super) const fn is_electable(&self) -> bool {
        !self.address.is_unspecified()
    }
}

/// The longest pause of the capture that counts as watched where queries are far apart: half of the usual interval.
const PAUSE: Nanos = Nanos(QUERY_INTERVAL.0 / 2 + NANOS_PER_SECOND * 2);

/// How far a query is from the one before; `None` where a hole of the capture, or its clock, may have made that. Where
/// nothing but queries was captured, the time between them is no hole.
fn gap(before: &Instant, now: &Now) -> Option<Nanos> {
    if !now.is_broken_since(before) {
        return Some(now.at.since(before));
    }
    let gap = now.at.time.since(before.time);
    let watched = now.at.watched.since(&before.watched, PAUSE);
    (gap > Nanos::ZERO && gap.0 / 2 <= watched.0).then_some(gap)
}
