//! Time stamps of the leader and of those who ask it, turned to samples as they pass.
//!
//! Memory: three [`Series`] a port that sends Sync, one small one a port that asks or answers peer delay, and at
//! most [`WAITING`] exchanges that wait for the Sync after them.

use std::collections::VecDeque;

use super::journal::Related;
use super::key::PortId;
use super::pairing::SyncPairing;
use super::pairing::TimedSync;
use super::sync_checks::SyncChecks;
use crate::observations::Place;
use crate::observations::Way;
use crate::statistics::Distribution;
use crate::timing::ScaledNanos;
use crate::timing::Series;
use crate::timing::TwoWay;
use crate::timing::delay_from_request;
use crate::timing::delay_to_capture;
use crate::units::CaptureTime;
use crate::units::Nanos;
use crate::units::TimeInterval;
use crate::units::Timestamp;

/// Exchanges that wait for the next Sync (chosen).
const WAITING: usize = 64;

/// Farther than this from a Sync an exchange is not related to it (chosen: a few of the slowest Sync intervals in
/// use, 2 s).
const NEAR: Nanos = Nanos::from_seconds(4);

/// Samples kept of one follower (chosen).
pub(super) const FOLLOWER_SAMPLES: usize = 256;

/// A request for delay with its answer, as the capture saw it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Exchange {
    /// When the capture saw the request (t3).
    pub asked: CaptureTime,
    /// Where the request was captured.
    pub way: Way,
    /// The request's frame.
    pub place: Place,
    /// `originTimestamp` of the request; `None` where it is not filled.
    pub origin: Option<Timestamp>,
    /// `correctionField` of the request as captured.
    pub request_correction: TimeInterval,
    /// Who answered.
    pub responder: PortId,
    /// When the capture saw the answer.
    pub answered: CaptureTime,
    /// Whether a follow-up with the peer's time of answering comes.
    pub two_step: bool,
    /// `receiveTimestamp` (t4), or `requestReceiptTimestamp` of a peer; `None` where it is not filled.
    pub received: Option<Timestamp>,
    /// `correctionField` of the answer.
    pub response_correction: TimeInterval,
}

/// An exchange that waits for the Sync after it.
#[derive(Debug, Clone, Copy)]
struct Waiting {
    asked: CaptureTime,
    from_request: ScaledNanos,
    place: Place,
}

/// What the Syncs of one port say of the capture's clock.
#[derive(Debug, Clone, Default)]
pub struct LeaderSamples {
    pairing: SyncPairing,
    one_way: Series,
    offset: Series,
    path_delay: Series,
    jitter: Distribution,
    latest: Option<(CaptureTime, ScaledNanos)>,
    waiting: VecDeque<Waiting>,
    checks: SyncChecks,
}

impl LeaderSamples {
    pub(super) fn pairing_mut(&mut self) -> &mut SyncPairing {
        &mut self.pairing
    }

    pub(super) fn checks_mut(&mut self) -> &mut SyncChecks {
        &mut self.checks
    }

    /// Takes in a Sync whose time of sending is known; tells of the exchanges that are related to it.
    pub(super) fn hear(&mut self, sync: &TimedSync, mut tell: impl FnMut(Related)) {
        self.checks.timed(sync);
        let corrections = [sync.sync_correction, sync.follow_up_correction];
        let Some(value) = delay_to_capture(sync.sent, sync.seen, &corrections) else { return };
        self.one_way.push(sync.seen, value);
        let before = self.latest.replace((sync.seen, value));
        if let Some(step) = before.and_then(|(_, before)| value.minus(before).abs().nanos()) {
            self.jitter.record(step);
        }
        while let Some(waiting) = self.waiting.pop_front() {
            let asked = waiting.asked;
            if asked.since(sync.seen) > NEAR {
                // The capture's time went back: what waits lies ahead of all that comes.
                continue;
            }
            if asked > sync.seen {
                self.waiting.push_front(waiting);
                break;
            }
            if let Some(to_capture) = between(before, (sync.seen, value), asked) {
                tell(self.relate(waiting, to_capture));
            }
        }
    }

    /// Takes in a request that this port answered; an earlier one that waits no longer.
    pub(super) fn hear_exchange(&mut self, exchange: &Exchange) -> Option<Related> {
        let received = exchange.received?;
        let from_request = delay_from_request(
            exchange.asked,
            received,
            exchange.response_correction,
            exchange.request_correction,
        )?;
        let oldest = if self.waiting.len() >= WAITING { self.settle_oldest() } else { None };
        self.waiting.push_back(Waiting { asked: exchange.asked, from_request, place: exchange.place });
        oldest
    }

    /// Ends the reading: what still waits is related to the last Sync.
    pub(super) fn finish(&mut self, end: CaptureTime) -> Vec<Related> {
        self.pairing.finish(end);
        let mut related = Vec::new();
        while !self.waiting.is_empty() {
            related.extend(self.settle_oldest());
        }
        related
    }

    fn settle_oldest(&mut self) -> Option<Related> {
        let waiting = self.waiting.pop_front()?;
        let near = self.latest.filter(|(seen, _)| waiting.asked.since(*seen).0.abs() <= NEAR.0);
        near.map(|(_, to_capture)| self.relate(waiting, to_capture))
    }

    fn relate(&mut self, waiting: Waiting, to_capture: ScaledNanos) -> Related {
        let both = TwoWay { to_capture, from_request: waiting.from_request };
        self.offset.push(waiting.asked, both.offset());
        self.path_delay.push(waiting.asked, both.mean_path_delay());
        Related { place: waiting.place, both }
    }

    /// What its Syncs carry.
    #[must_use]
    pub const fn checks(&self) -> &SyncChecks {
        &self.checks
    }

    /// Pairs of Sync and Follow_Up.
    #[must_use]
    pub const fn pairing(&self) -> &SyncPairing {
        &self.pairing
    }

    /// θ + delay from this port to the capture point, at each Sync.
    #[must_use]
    pub const fn one_way(&self) -> &Series {
        &self.one_way
    }

    /// θ, capture's clock less this port's, at each request it answered; off by the path's asymmetry.
    #[must_use]
    pub const fn offset(&self) -> &Series {
        &self.offset
    }

    /// `meanPathDelay` between this port and the capture point.
    #[must_use]
    pub const fn path_delay(&self) -> &Series {
        &self.path_delay
    }

    /// |change of the one-way delay from Sync to Sync| (IPDV, RFC 3393).
    #[must_use]
    pub const fn jitter(&self) -> &Distribution {
        &self.jitter
    }
}

/// The one-way value at `asked`, on the line between the two Syncs around it, or that of the near one.
fn between(
    before: Option<(CaptureTime, ScaledNanos)>,
    after: (CaptureTime, ScaledNanos),
    asked: CaptureTime,
) -> Option<ScaledNanos> {
    let near = |seen: CaptureTime| asked.since(seen).0.abs() <= NEAR.0;
    let before = before.filter(|(seen, _)| near(*seen) && *seen <= asked);
    match before {
        Some((seen, value)) if near(after.0) => {
            let span = i128::from(after.0.since(seen).0);
            let part = i128::from(asked.since(seen).0);
            if span <= 0 {
                return Some(value);
            }
            Some(value.plus(ScaledNanos(part_of(after.1.minus(value).0, part, span))))
        }
        Some((_, value)) => Some(value),
        None => near(after.0).then_some(after.1),
    }
}

/// `rise` times `part` by `span`, rounded down; a quick division does where all of it is short, as it mostly is.
fn part_of(rise: i128, part: i128, span: i128) -> i128 {
    let product = rise.saturating_mul(part);
    match (i64::try_from(product), i64::try_from(span)) {
        (Ok(product), Ok(span)) if span > 0 => product.div_euclid(span).into(),
        _ => product.div_euclid(span),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domains::ClockId;
    use crate::units::MacAddress;

    const NONE: TimeInterval = TimeInterval(0);

    fn place() -> Place {
        Place { file: 0, frame: 1, time: None }
    }

    fn sync(samples: &mut LeaderSamples, sent_ns: u32, seen_ns: i64) {
        let sync = TimedSync {
            sent: Timestamp { seconds: 0, nanoseconds: sent_ns },
            seen: CaptureTime(seen_ns),
            place: place(),
            sync_correction: NONE,
            follow_up_correction: NONE,
        };
        samples.hear(&sync, |_| {});
    }

    fn exchange(asked_ns: i64, received_ns: u32) -> Exchange {
        Exchange {
            asked: CaptureTime(asked_ns),
            way: Way::default(),
            place: place(),
            origin: None,
            request_correction: NONE,
            responder: PortId { clock: ClockId::V1(MacAddress::default()), port: 1 },
            answered: CaptureTime(asked_ns + 10),
            two_step: false,
            received: Some(Timestamp { seconds: 0, nanoseconds: received_ns }),
            response_correction: NONE,
        }
    }

    #[test]
    fn an_exchange_between_two_syncs_is_related_to_the_line_between_them() {
        let mut samples = LeaderSamples::default();
        // The capture's clock gains 1 µs on the leader's from one Sync to the next; path 500 ns each way.
        sync(&mut samples, 1_000, 1_500);
        samples.hear_exchange(&exchange(50_001_000, 50_001_000));
        sync(&mut samples, 100_000_000, 100_001_500);
        let delays = samples.path_delay().points();
        assert_eq!(delays.len(), 1);
        // Half way the capture's clock is 500 ns ahead: t4 is t3 less that plus the path, so the path comes out whole.
        let delay = ScaledNanos(delays[0].value_scaled_ns).nanos().unwrap();
        let offset = ScaledNanos(samples.offset().points()[0].value_scaled_ns).nanos().unwrap();
        assert_eq!((delay, offset), (Nanos(500), Nanos(500)));
    }

    #[test]
    fn what_waits_at_the_end_is_related_to_the_last_sync_if_that_is_near() {
        let mut samples = LeaderSamples::default();
        sync(&mut samples, 0, 700);
        samples.hear_exchange(&exchange(1_000_000, 1_000_700));
        samples.hear_exchange(&exchange(60_000_000_000, 0));
        samples.finish(CaptureTime(61_000_000_000));
        assert_eq!(samples.path_delay().count(), 1);
    }

    #[test]
    fn what_waits_while_the_capture_goes_back_in_time_holds_up_nothing() {
        let mut samples = LeaderSamples::default();
        sync(&mut samples, 0, 90_000_000_700);
        samples.hear_exchange(&exchange(90_001_000_000, 1_000_700));
        // The capture's clock is set back by a minute and a half.
        sync(&mut samples, 100_000_000, 100_000_700);
        samples.hear_exchange(&exchange(150_000_000, 150_000_700));
        sync(&mut samples, 200_000_000, 200_000_700);
        assert_eq!(samples.path_delay().count(), 1);
        assert_eq!(ScaledNanos(samples.path_delay().points()[0].value_scaled_ns).nanos(), Some(Nanos(700)));
    }

    #[test]
    fn a_saturated_correction_makes_no_sample() {
        let mut samples = LeaderSamples::default();
        let mut asked = exchange(5, 5);
        asked.response_correction = TimeInterval::TOO_BIG;
        samples.hear_exchange(&asked);
        sync(&mut samples, 10, 20);
        assert_eq!(samples.path_delay().count(), 0);
    }
}
