//! Who asks for delay and is answered: Delay_Req with Delay_Resp, Pdelay_Req with Pdelay_Resp.
//!
//! Memory: at most [`PENDING_LIMIT`] open requests and as many early answers a requester, [`RESPONDERS`] that answer it
//! and [`OUTAGES_TOLD`] outages.

use super::answer_checks::AnswerChecks;
use super::folding::OUTAGES_TOLD;
use super::folding::Worth;
use super::key::ClockId;
use super::key::PortId;
use super::samples::Exchange;
use super::samples::FOLLOWER_SAMPLES;
use crate::observations::Place;
use crate::observations::Way;
use crate::statistics::Distribution;
use crate::tables::Few;
use crate::tables::Queue;
use crate::timing::ScaledNanos;
use crate::timing::Series;
use crate::timing::follower_offset_from_response;
use crate::units::CaptureTime;
use crate::units::LogInterval;
use crate::units::Nanos;
use crate::units::TimeInterval;
use crate::units::Timestamp;

/// How long an answer is waited for, and how much of the capture's end does not count (chosen; reference:
/// 1 s, or 2 request intervals).
pub const ANSWER_WINDOW: Nanos = Nanos::from_seconds(2);

/// The longest pause of the whole capture that counts as waiting for an answer (chosen: a quarter of the window).
pub(super) const LONGEST_PAUSE: Nanos = Nanos(500_000_000);

/// How long before its request an answer may be captured: mirrors re-order by no more, and an older one belongs to an
/// earlier request with the same number (chosen).
const EARLY_WINDOW: Nanos = Nanos(100_000_000);

/// Open requests kept for one requester (chosen).
const PENDING_LIMIT: usize = 64;

/// Ports that answer one requester and are kept (chosen: there is one, or two that ought not to).
const RESPONDERS: usize = 64;

/// Requests in a row without an answer that make an outage (reference: 3 in a row; one more here, so that
/// 1 % of lost frames does not make one).
pub const OUTAGE_RUN: u64 = 4;

/// Answers from which a port is believed to ask, though no request of it was seen (chosen).
const BELIEVED_ANSWERS: u64 = 3;

/// How delay is asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Mechanism {
    /// Delay_Req to the leader (request-response, E2E).
    EndToEnd,
    /// Pdelay_Req to the neighbour (peer-to-peer, P2P).
    PeerToPeer,
}

impl Mechanism {
    /// The request's name in the standard.
    #[must_use]
    pub const fn request(self) -> &'static str {
        match self {
            Self::EndToEnd => "Delay_Req",
            Self::PeerToPeer => "Pdelay_Req",
        }
    }
}

/// A span in which a requester that had been answered was not.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Outage {
    /// First request without an answer.
    pub from: Place,
    /// First answered request after it; `None` while it lasts.
    pub until: Option<Place>,
    /// Requests in a row without an answer; 0 while it lasts.
    pub requests: u64,
}

/// When a message was captured.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Heard {
    /// By the capture's clock.
    pub time: CaptureTime,
    /// How long the network had been watched, pauses of the capture counting for [`LONGEST_PAUSE`] at most. Waiting
    /// is by this: two interfaces may have clocks of their own.
    pub watched: Nanos,
    /// Where it was captured.
    pub way: Way,
    /// Its number among all messages of the capture.
    pub number: u64,
}

#[derive(Debug, Clone, Copy)]
struct Request {
    sequence_id: u16,
    place: Place,
    heard: Heard,
    multicast: bool,
    stamp: RequestStamp,
    /// Who ought to answer; `None` where nobody led.
    asked_of: Option<ClockId>,
}

#[derive(Debug, Clone, Copy)]
struct Answer {
    sequence_id: u16,
    heard: Heard,
    responder: PortId,
    place: Place,
    stamp: AnswerStamp,
}

/// What a request carries for timing.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct RequestStamp {
    /// `originTimestamp`; `None` where it is not filled.
    pub(crate) origin: Option<Timestamp>,
    /// `correctionField`.
    pub(crate) correction: TimeInterval,
}

/// What an answer carries for timing.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct AnswerStamp {
    /// `receiveTimestamp` or `requestReceiptTimestamp`; `None` where it is not filled.
    pub(crate) received: Option<Timestamp>,
    /// `twoStepFlag` of a peer's answer.
    pub(crate) two_step: bool,
    /// Whether it went to the asker alone and not to a group.
    pub(crate) unicast: bool,
    /// `correctionField`.
    pub(crate) correction: TimeInterval,
}

/// Whether an answer may still come, or a request that was captured after it.
fn is_open(since: &Heard, now: Nanos) -> bool {
    now.0.saturating_sub(since.watched.0) <= ANSWER_WINDOW.0
}

/// What one port asked and what it got.
#[derive(Debug, Clone, Default)]
pub struct Requester {
    pending: Queue<Request>,
    early: Queue<Answer>,
    seen: u64,
    multicast: u64,
    answered: u64,
    answered_multicast: u64,
    answered_aside: u64,
    unanswered: u64,
    /// Of those, while nobody led.
    unled: u64,
    trailing: u64,
    trailing_since: Option<Place>,
    /// Requests in a row without an answer, and who ought to have answered.
    in_vain: u64,
    in_vain_since: Option<Place>,
    in_vain_of: Option<ClockId>,
    unseen_requests: u64,
    last_request: Option<Place>,
    response_time: Distribution,
    responders: Few<PortId>,
    own_time: Option<Box<Series>>,
    stamps_seconds_only: bool,
    asked_for: Option<LogInterval>,
    least_asked_for: Option<LogInterval>,
    first_request: Option<Place>,
    checks: AnswerChecks,
    outages: Vec<Outage>,
    /// Outages that found no room.
    untold: u64,
    /// Number of the latest message from or to it among all of the capture.
    heard: u64,
    /// Messages from and to it.
    messages: u64,
}

impl Requester {
    /// Takes in the interval that the leader asks for (`logMessageInterval` of a Delay_Resp).
    pub(super) fn hear_interval(&mut self, asked_for: LogInterval) {
        if asked_for != LogInterval::NOT_GIVEN {
            self.asked_for = Some(asked_for);
            self.least_asked_for = Some(self.least_asked_for.map_or(asked_for, |least| least.min(asked_for)));
        }
    }

    /// The shortest of the intervals that leaders asked for.
    #[must_use]
    pub const fn least_asked_for(&self) -> Option<LogInterval> {
        self.least_asked_for
    }

    /// Takes in an answer that was sent to another address than the requests come from.
    pub(super) fn hear_elsewhere(&mut self, place: Place) {
        self.checks.elsewhere.at(place);
    }

    /// What is odd about its answers.
    #[must_use]
    pub const fn checks(&self) -> &AnswerChecks {
        &self.checks
    }

    /// The first request.
    #[must_use]
    pub const fn first_request(&self) -> Option<Place> {
        self.first_request
    }

    /// The least interval between requests that the leader asked for last.
    #[must_use]
    pub const fn asked_for(&self) -> Option<LogInterval> {
        self.asked_for
    }

    /// Takes in the requester's own time as an answered request carries it: o′ = `originTimestamp` − (t4 − cR),
    /// its clock less the leader's, less its latency and the way to the leader.
    pub(super) fn hear_own_time(&mut self, exchange: &Exchange) {
        let Some((origin, received)) = exchange.origin.zip(exchange.received) else { return };
        self.stamps_seconds_only = self.own_time.is_none() || self.stamps_seconds_only;
        self.stamps_seconds_only &= origin.nanoseconds == 0;
        let ahead =
            follower_offset_from_response(origin, received, exchange.response_correction, ScaledNanos::ZERO);
        if let Some(ahead) = ahead {
            let series = self.own_time.get_or_insert_with(|| Box::new(Series::with_limit(FOLLOWER_SAMPLES)));
            series.push(exchange.asked, ahead);
        }
    }

    /// The requester's clock less the leader's by its own stamps, without the way between them; `None` where it
    /// does not fill them (most v2 devices), or with whole seconds only: those are up to a second late.
    #[must_use]
    pub fn own_time(&self) -> Option<&Series> {
        self.own_time.as_deref().filter(|_| !self.stamps_seconds_only)
    }

    /// Takes in a request to whoever leads, or to the neighbour, `asked_of`; the exchange where its answer came first.
    pub(crate) fn ask(
        &mut self,
        now: Heard,
        place: Place,
        asked_of: Option<ClockId>,
        sequence_id: u16,
        multicast: bool,
        stamp: RequestStamp,
    ) -> Option<Exchange> {
        self.hear(now);
        self.seen += 1;
        self.multicast += u64::from(multicast);
        self.first_request.get_or_insert(place);
        self.last_request = Some(place);
        self.give_up_before(now.watched);
        let request = Request { sequence_id, place, heard: now, multicast, stamp, asked_of };
        let just_before = |answer: &Answer| {
            answer.sequence_id == sequence_id
                && now.watched.0.saturating_sub(answer.heard.watched.0).saturating_abs() <= EARLY_WINDOW.0
        };
        if let Some(index) = self.early.position(just_before) {
            // Who answered was counted when the answer came.
            return self.early.remove(index).and_then(|answer| self.settle(request, answer));
        }
        if self.pending.len() >= PENDING_LIMIT
            && let Some(oldest) = self.pending.pop_front()
        {
            self.miss(oldest);
        }
        self.pending.push_back(request);
        None
    }

    /// Takes in an answer; the exchange where its request was seen.
    pub(crate) fn answer(
        &mut self,
        now: Heard,
        place: Place,
        sequence_id: u16,
        responder: PortId,
        stamp: AnswerStamp,
    ) -> Option<Exchange> {
        self.hear(now);
        self.give_up_before(now.watched);
        let answer = Answer { sequence_id, heard: now, responder, place, stamp };
        self.responders.count(responder, RESPONDERS);
        let is_its =
            |request: &Request| request.sequence_id == sequence_id && is_open(&request.heard, now.watched);
        if let Some(index) = self.pending.position(is_its) {
            if index.saturating_add(1) < self.pending.len() {
                self.checks.overtaken.at(place);
            }
            return self.pending.remove(index).and_then(|request| self.settle(request, answer));
        }
        // Either the request was captured after its answer, or it passes elsewhere, or a second clock answers.
        if self.seen == 0 {
            self.unseen_requests += 1;
        }
        if self.checks.is_second(place, sequence_id, responder) {
            return None;
        }
        if self.early.len() >= PENDING_LIMIT {
            self.early.pop_front();
        }
        self.early.push_back(answer);
        None
    }

    /// Ends the reading: requests younger than the answer window are left open, as their answer may lie
    /// beyond the capture's end.
    pub(crate) fn finish(&mut self, watched: Nanos) {
        self.give_up_before(watched);
    }

    fn give_up_before(&mut self, now: Nanos) {
        while self.pending.front().is_some_and(|oldest| !is_open(&oldest.heard, now)) {
            if let Some(oldest) = self.pending.pop_front() {
                self.miss(oldest);
            }
        }
        while self.early.front().is_some_and(|oldest| !is_open(&oldest.heard, now)) {
            if let Some(stray) = self.early.pop_front().filter(|_| self.seen > 0) {
                self.checks.strays.at(stray.place);
            }
        }
    }

    fn settle(&mut self, request: Request, answer: Answer) -> Option<Exchange> {
        self.answered += 1;
        self.answered_multicast += u64::from(request.multicast);
        self.checks.settle(request.sequence_id, answer.responder);
        if !answer.stamp.unicast && !request.multicast {
            self.checks.to_group.at(answer.place);
        }
        self.answered_aside += u64::from(request.multicast && answer.stamp.unicast);
        if let Some(outage) = self.outages.last_mut().filter(|outage| outage.until.is_none()) {
            outage.until = Some(request.place);
            outage.requests = self.trailing;
        }
        self.trailing = 0;
        self.trailing_since = None;
        self.in_vain = 0;
        self.in_vain_since = None;
        // Farther apart than is waited, they were stamped by two clocks, or by one that was set between them.
        let took = answer.heard.time.since(request.heard.time);
        if took.0.saturating_abs() > ANSWER_WINDOW.0 {
            return None;
        }
        self.response_time.record(took);
        Some(Exchange {
            asked: request.heard.time,
            way: request.heard.way,
            place: request.place,
            origin: request.stamp.origin,
            request_correction: request.stamp.correction,
            responder: answer.responder,
            answered: answer.heard.time,
            two_step: answer.stamp.two_step,
            received: answer.stamp.received,
            response_correction: answer.stamp.correction,
        })
    }

    fn miss(&mut self, request: Request) {
        self.unanswered += 1;
        self.trailing += 1;
        let since = *self.trailing_since.get_or_insert(request.place);
        if request.asked_of.is_none() {
            self.unled += 1;
        } else {
            if self.in_vain_of != request.asked_of {
                self.in_vain = 0;
                self.in_vain_since = None;
            }
            self.in_vain_of = request.asked_of;
            self.in_vain += 1;
            self.in_vain_since.get_or_insert(request.place);
        }
        if self.trailing == OUTAGE_RUN && self.answered > 0 {
            if self.outages.len() < OUTAGES_TOLD {
                self.outages.push(Outage { from: since, until: None, requests: 0 });
            } else {
                self.untold += 1;
            }
        }
    }

    fn hear(&mut self, now: Heard) {
        self.heard = now.number;
        self.messages += 1;
    }

    pub(super) fn worth(&self) -> Worth {
        Worth::new(self.messages, self.heard)
    }

    /// Outages that found no room.
    pub(super) const fn untold(&self) -> u64 {
        self.untold
    }

    /// Whether most of its requests go to a group.
    #[must_use]
    pub const fn asks_a_group(&self) -> bool {
        self.multicast.saturating_mul(2) > self.seen
    }

    /// Requests seen.
    #[must_use]
    pub const fn seen(&self) -> u64 {
        self.seen
    }

    /// Requests seen that went to a group address.
    #[must_use]
    pub const fn multicast(&self) -> u64 {
        self.multicast
    }

    /// Requests seen with their answer.
    #[must_use]
    pub const fn answered(&self) -> u64 {
        self.answered
    }

    /// Requests to a group address seen with their answer.
    #[must_use]
    pub const fn answered_multicast(&self) -> u64 {
        self.answered_multicast
    }

    /// Requests to a group address whose answer went to the asker alone.
    #[must_use]
    pub const fn answered_aside(&self) -> u64 {
        self.answered_aside
    }

    /// Requests whose answer did not come within [`ANSWER_WINDOW`].
    #[must_use]
    pub const fn unanswered(&self) -> u64 {
        self.unanswered
    }

    /// Of those, such as were sent while somebody led who could have answered.
    #[must_use]
    pub const fn unanswered_by_a_leader(&self) -> u64 {
        self.unanswered.saturating_sub(self.unled)
    }

    /// Requests in a row at the end that one leader did not answer; those that were sent while nobody led do not count, as
    /// nobody could have.
    #[must_use]
    pub const fn in_vain(&self) -> u64 {
        self.in_vain
    }

    /// The first of those.
    #[must_use]
    pub const fn in_vain_since(&self) -> Option<Place> {
        self.in_vain_since
    }

    /// Answers to a port none of whose requests was seen: they pass elsewhere.
    #[must_use]
    pub const fn unseen_requests(&self) -> u64 {
        if self.seen == 0 { self.unseen_requests } else { 0 }
    }

    /// Whether a port none of whose requests was seen is answered so often that it must be there: one or two answers
    /// may be made up or meant for nobody.
    #[must_use]
    pub fn is_answered_unseen(&self) -> bool {
        self.unseen_requests() >= BELIEVED_ANSWERS
    }

    /// The latest request.
    #[must_use]
    pub const fn last_request(&self) -> Option<Place> {
        self.last_request
    }

    /// Time from a request to its answer, as captured.
    #[must_use]
    pub const fn response_time(&self) -> &Distribution {
        &self.response_time
    }

    /// Who answered, and how often.
    #[must_use]
    pub const fn responders(&self) -> &Few<PortId> {
        &self.responders
    }

    /// Spans without answers after a time with.
    #[must_use]
    pub fn outages(&self) -> &[Outage] {
        &self.outages
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domains::ClockId;
    use crate::units::MacAddress;

    fn time(ms: i64) -> CaptureTime {
        CaptureTime(ms * 1_000_000)
    }

    fn heard(ms: i64) -> Heard {
        Heard { time: time(ms), watched: Nanos(ms * 1_000_000), way: Way::default(), number: 0 }
    }

    fn place(ms: i64) -> Place {
        Place { file: 0, frame: ms.unsigned_abs(), time: Some(time(ms)) }
    }

    fn leader() -> PortId {
        PortId { clock: ClockId::V1(MacAddress([2, 0, 0x5e, 0x10, 0, 1])), port: 1 }
    }

    #[test]
    fn a_request_with_its_answer_is_answered_in_either_order() {
        let mut requester = Requester::default();
        requester.ask(heard(0), place(0), None, 1, true, RequestStamp::default());
        requester.answer(heard(2), place(2), 1, leader(), AnswerStamp::default());
        requester.answer(heard(1000), place(1000), 2, leader(), AnswerStamp::default());
        requester.ask(heard(1001), place(1001), None, 2, true, RequestStamp::default());
        requester.finish(heard(9000).watched);
        assert_eq!((requester.answered(), requester.unanswered()), (2, 0));
        assert_eq!(requester.response_time().summary().unwrap().max, Nanos(2_000_000));
    }

    #[test]
    fn the_last_two_seconds_do_not_count_as_unanswered() {
        let mut requester = Requester::default();
        requester.ask(heard(0), place(0), None, 1, true, RequestStamp::default());
        requester.ask(heard(5000), place(5000), None, 2, true, RequestStamp::default());
        requester.finish(heard(6000).watched);
        assert_eq!((requester.seen(), requester.unanswered()), (2, 1));
    }

    #[test]
    fn four_in_a_row_after_an_answer_are_an_outage_that_the_next_answer_ends() {
        let mut requester = Requester::default();
        for sequence_id in 0..6_u16 {
            let at = i64::from(sequence_id) * 1000;
            requester.ask(heard(at), place(at), None, sequence_id, true, RequestStamp::default());
            if sequence_id == 0 {
                requester.answer(heard(at + 1), place(at + 1), sequence_id, leader(), AnswerStamp::default());
            }
        }
        requester.ask(heard(8000), place(8000), None, 6, true, RequestStamp::default());
        requester.answer(heard(8001), place(8001), 6, leader(), AnswerStamp::default());
        assert_eq!(
            requester.outages(),
            [Outage { from: place(1000), until: Some(place(8000)), requests: 5 }]
        );
        assert_eq!(requester.in_vain(), 0);
    }

    #[test]
    fn requests_count_as_in_vain_of_the_leader_that_was_asked_last_and_of_nobody_where_none_led() {
        let mut requester = Requester::default();
        let other = ClockId::V1(MacAddress([2, 0, 0x5e, 0x10, 0, 2]));
        let leaders =
            [None, None, Some(leader().clock), Some(leader().clock), None, Some(other), Some(other)];
        for (n, asked_of) in (0..).zip(leaders) {
            let at = i64::from(n) * 1000;
            requester.ask(heard(at), place(at), asked_of, n, true, RequestStamp::default());
        }
        requester.finish(heard(20_000).watched);
        assert_eq!((requester.unanswered(), requester.unanswered_by_a_leader()), (7, 4));
        assert_eq!((requester.in_vain(), requester.in_vain_since()), (2, Some(place(5000))));
        requester.ask(heard(30_000), place(30_000), Some(other), 9, true, RequestStamp::default());
        requester.answer(heard(30_001), place(30_001), 9, leader(), AnswerStamp::default());
        assert_eq!((requester.in_vain(), requester.in_vain_since()), (0, None));
    }

    #[test]
    fn an_exchange_over_two_clocks_is_answered_and_tells_no_time() {
        for apart in [-3_600_000, -5000, 5000, 3_600_000] {
            let mut requester = Requester::default();
            requester.ask(heard(90_000), place(90_000), None, 1, true, RequestStamp::default());
            let answered = Heard { time: time(90_000 + apart), ..heard(90_001) };
            assert!(requester.answer(answered, place(0), 1, leader(), AnswerStamp::default()).is_none());
            requester.finish(heard(99_000).watched);
            assert_eq!((requester.seen(), requester.answered(), requester.unanswered()), (1, 1, 0));
            assert_eq!(requester.response_time().count(), 0);
        }
    }

    #[test]
    fn answers_without_any_request_in_view_are_told_apart() {
        let mut requester = Requester::default();
        requester.answer(heard(0), place(0), 1, leader(), AnswerStamp::default());
        requester.answer(heard(1000), place(1000), 2, leader(), AnswerStamp::default());
        assert_eq!((requester.seen(), requester.unseen_requests()), (0, 2));
    }
}
