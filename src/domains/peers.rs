//! Peer delay as seen beside a link: how long a responder holds an exchange, how far it is, how fast its clock runs.
//!
//! Memory: at most [`WAITING`] exchanges that wait for their follow-up, and three small series a responder.

use std::collections::VecDeque;

use super::journal::Held;
use super::key::PortId;
use super::pairing::is_young;
use super::samples::Exchange;
use super::samples::FOLLOWER_SAMPLES;
use crate::timing::LinkDelay;
use crate::timing::RateRatio;
use crate::timing::ScaledNanos;
use crate::timing::Series;
use crate::timing::Turnaround;
use crate::units::CaptureTime;
use crate::units::TimeInterval;
use crate::units::Timestamp;

/// Exchanges that wait for their Pdelay_Resp_Follow_Up (chosen).
const WAITING: usize = 16;

/// What a responder's answers to peer-delay requests say.
#[derive(Debug, Clone)]
pub struct PeerSamples {
    waiting: VecDeque<(PortId, u16, Exchange)>,
    exchanges: u64,
    ahead: Series,
    turnaround: Series,
    link_delay: Series,
    origin: Series,
}

impl Default for PeerSamples {
    fn default() -> Self {
        let small = || Series::with_limit(FOLLOWER_SAMPLES);
        Self {
            waiting: VecDeque::new(),
            exchanges: 0,
            ahead: small(),
            turnaround: small(),
            link_delay: small(),
            origin: small(),
        }
    }
}

impl PeerSamples {
    /// Takes in an answered request of `asker`; how long it was held, where that is in the answer.
    pub(super) fn hear(&mut self, asker: PortId, sequence_id: u16, exchange: &Exchange) -> Option<Held> {
        self.exchanges += 1;
        if let Some(received) = exchange.received {
            // Its clock less the capture's: the other way round than "capture less stamp".
            let ahead = ScaledNanos::ZERO.minus(ScaledNanos::between(received, exchange.asked));
            self.ahead.push(exchange.asked, ahead);
        }
        if exchange.two_step {
            if self.waiting.len() >= WAITING {
                self.waiting.pop_front();
            }
            self.waiting.push_back((asker, sequence_id, *exchange));
            return None;
        }
        Turnaround::one_step(exchange.response_correction).map(|held| self.relate(exchange, held))
    }

    /// Takes in a Pdelay_Resp_Follow_Up to `asker`; how long its exchange was held.
    pub(super) fn follow_up(
        &mut self,
        seen: CaptureTime,
        (asker, sequence_id): (PortId, u16),
        sent: Timestamp,
        correction: TimeInterval,
    ) -> Option<Held> {
        let index = self.waiting.iter().position(|(who, number, exchange)| {
            *who == asker && *number == sequence_id && is_young(exchange.answered, seen)
        });
        let (_, _, exchange) = index.and_then(|index| self.waiting.remove(index))?;
        if !sent.is_zero() {
            let ahead = ScaledNanos::ZERO.minus(ScaledNanos::between(sent, exchange.answered));
            self.origin.push(exchange.answered, ahead);
        }
        let received = exchange.received.unwrap_or_default();
        let corrections = [exchange.response_correction, correction];
        Turnaround::two_step(received, sent, &corrections).map(|held| self.relate(&exchange, held))
    }

    fn relate(&mut self, exchange: &Exchange, held: Turnaround) -> Held {
        let at: CaptureTime = exchange.asked;
        self.turnaround.push(at, held.0);
        let round_trip = ScaledNanos::between_captures(exchange.asked, exchange.answered);
        let link_delay = LinkDelay::new(round_trip, held, RateRatio::ONE).map(LinkDelay::scaled);
        if let Some(delay) = link_delay {
            self.link_delay.push(at, delay);
        }
        Held { place: exchange.place, turnaround: held.0, link_delay }
    }

    /// Answered requests.
    #[must_use]
    pub const fn exchanges(&self) -> u64 {
        self.exchanges
    }

    /// `requestReceiptTimestamp` less the capture's time of the request: its clock less the capture's, plus the way
    /// to it. Empty where it does not fill the stamp (one-step).
    #[must_use]
    pub const fn ahead(&self) -> &Series {
        &self.ahead
    }

    /// How long it held each exchange, by its own clock.
    #[must_use]
    pub const fn turnaround(&self) -> &Series {
        &self.turnaround
    }

    /// Delay between the capture point and it, its clock taken to run at the capture's rate.
    #[must_use]
    pub const fn link_delay(&self) -> &Series {
        &self.link_delay
    }

    /// `responseOriginTimestamp` less the capture's time of the response; its slope is its rate against the capture's
    /// clock (802.1AS takes `neighborRateRatio` of the same stamps, from memory).
    #[must_use]
    pub const fn origin(&self) -> &Series {
        &self.origin
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domains::ClockId;
    use crate::observations::Place;
    use crate::units::MacAddress;
    use crate::units::Nanos;

    const SEEN: CaptureTime = CaptureTime(12_000);

    fn port(last: u8) -> PortId {
        PortId { clock: ClockId::V1(MacAddress([2, 0, 0x5e, 0, 0, last])), port: 1 }
    }

    fn exchange(two_step: bool, received_ns: Option<u32>, correction_ns: i64) -> Exchange {
        Exchange {
            way: crate::observations::Way::default(),
            asked: CaptureTime(1_000),
            place: Place { file: 0, frame: 1, time: None },
            origin: None,
            request_correction: TimeInterval(0),
            responder: port(2),
            answered: CaptureTime(11_000),
            two_step,
            received: received_ns.map(|nanoseconds| Timestamp { seconds: 0, nanoseconds }),
            response_correction: TimeInterval(correction_ns << 16),
        }
    }

    fn only(series: &Series) -> Nanos {
        assert_eq!(series.count(), 1);
        ScaledNanos(series.points()[0].value_scaled_ns).nanos().unwrap()
    }

    #[test]
    fn two_steps_give_turnaround_link_delay_and_both_stamps() {
        let mut peer = PeerSamples::default();
        peer.hear(port(1), 7, &exchange(true, Some(1_500), 0));
        assert_eq!(peer.turnaround().count(), 0);
        // Held for 9 000 ns of the 10 000 that the capture saw: 500 ns each way.
        peer.follow_up(SEEN, (port(1), 7), Timestamp { seconds: 0, nanoseconds: 10_500 }, TimeInterval(0));
        assert_eq!((only(peer.turnaround()), only(peer.link_delay())), (Nanos(9_000), Nanos(500)));
        assert_eq!((only(peer.ahead()), only(peer.origin())), (Nanos(500), Nanos(-500)));
    }

    #[test]
    fn one_step_keeps_the_turnaround_in_its_correction() {
        let mut peer = PeerSamples::default();
        peer.hear(port(1), 7, &exchange(false, None, 9_400));
        assert_eq!((only(peer.turnaround()), only(peer.link_delay())), (Nanos(9_400), Nanos(300)));
        assert_eq!(peer.ahead().count(), 0);
    }

    #[test]
    fn a_follow_up_to_another_asker_or_number_is_not_taken() {
        let mut peer = PeerSamples::default();
        peer.hear(port(1), 7, &exchange(true, Some(1_500), 0));
        let sent = Timestamp { seconds: 0, nanoseconds: 10_500 };
        peer.follow_up(SEEN, (port(3), 7), sent, TimeInterval(0));
        peer.follow_up(SEEN, (port(1), 8), sent, TimeInterval(0));
        // The capture's time went on, or back, too far.
        for seen in [CaptureTime(3_000_000_000), CaptureTime(-3_000_000_000)] {
            peer.follow_up(seen, (port(1), 7), sent, TimeInterval(0));
        }
        assert_eq!(peer.turnaround().count(), 0);
    }
}
