//! The timing half of a domain's messages: stamps find their partners and become samples.

use super::domain::Domain;
use super::journal::ExchangeEntry;
use super::journal::Noted;
use super::journal::OffsetEntry;
use super::journal::PeerDelayEntry;
use super::journal::SyncEntry;
use super::key::PortId;
use super::pairing::TimedSync;
use super::requests::AnswerStamp;
use super::requests::Heard;
use super::requests::LONGEST_PAUSE;
use super::requests::Mechanism;
use super::requests::RequestStamp;
use super::requests::Requester;
use super::samples::Exchange;
use crate::observations::Place;
use crate::observations::Watched;
use crate::observations::Way;
use crate::ptp::v1;
use crate::ptp::v2;
use crate::units::CaptureTime;
use crate::units::LogInterval;
use crate::units::Nanos;
use crate::units::TimeInterval;
use crate::units::Timestamp;

/// Who sent a message, and how it came.
#[derive(Debug, Clone, Copy)]
pub(super) struct Sender {
    pub(super) port: PortId,
    /// Where it is kept among the domain's ports.
    pub(super) at: u32,
    pub(super) place: Place,
    /// Whether the message went to a group.
    pub(super) multicast: bool,
}

/// A stamp that is filled.
fn filled(stamp: Timestamp) -> Option<Timestamp> {
    (!stamp.is_zero()).then_some(stamp)
}

/// v1 has no correctionField.
const NONE: TimeInterval = TimeInterval(0);

impl Domain {
    /// Takes in what a v2 message says of time.
    pub(super) fn time_v2(&mut self, sender: &Sender, message: &v2::Message) {
        let Sender { port, at, place, multicast } = *sender;
        let header = &message.header;
        let (sequence_id, correction) = (header.sequence_id, header.correction_field);
        match &message.body {
            v2::Body::Sync { .. } if header.flags.two_step() => {
                self.check_flag(at, place, sequence_id, true);
                self.two_step_sync(sender, sequence_id, correction);
            }
            v2::Body::Sync { origin_timestamp } => {
                self.check_flag(at, place, sequence_id, false);
                self.one_step_sync(sender, *origin_timestamp, correction);
            }
            v2::Body::FollowUp { precise_origin_timestamp } => {
                if let Some(samples) = self.samples_of(at) {
                    samples.checks_mut().follow_up(place, sequence_id);
                }
                self.follow_up(sender, sequence_id, *precise_origin_timestamp, correction);
            }
            v2::Body::DelayReq { origin_timestamp } => {
                let stamp = RequestStamp { origin: filled(*origin_timestamp), correction };
                self.ask((port, Mechanism::EndToEnd), sender, sequence_id, stamp);
            }
            v2::Body::PdelayReq { origin_timestamp } => {
                let stamp = RequestStamp { origin: filled(*origin_timestamp), correction };
                self.ask((port, Mechanism::PeerToPeer), sender, sequence_id, stamp);
            }
            v2::Body::DelayResp { receive_timestamp, requesting_port_identity } => {
                let received = filled(*receive_timestamp);
                let stamp = AnswerStamp { received, two_step: false, unicast: !multicast, correction };
                let asker = (PortId::from(*requesting_port_identity), Mechanism::EndToEnd);
                self.answer(asker, sender, sequence_id, stamp, Some(header.log_message_interval));
            }
            v2::Body::PdelayResp { request_receipt_timestamp, requesting_port_identity } => {
                let two_step = header.flags.two_step();
                let received = filled(*request_receipt_timestamp);
                let stamp = AnswerStamp { received, two_step, unicast: !multicast, correction };
                let asker = (PortId::from(*requesting_port_identity), Mechanism::PeerToPeer);
                self.answer(asker, sender, sequence_id, stamp, None);
            }
            v2::Body::PdelayRespFollowUp { response_origin_timestamp, requesting_port_identity } => {
                let asker = PortId::from(*requesting_port_identity);
                let peer = self.ports.at_mut(at).and_then(|port| port.peer.as_mut());
                if let Some((peer, seen)) = peer.zip(place.time)
                    && let Some(held) =
                        peer.follow_up(seen, (asker, sequence_id), *response_origin_timestamp, correction)
                {
                    self.journal.note(|| Noted::PeerDelay(PeerDelayEntry { port, held }));
                }
            }
            _ => {}
        }
    }

    /// Takes in what a v1 message says of time.
    pub(super) fn time_v1(&mut self, sender: &Sender, message: &v1::Message) {
        let Sender { port, at, multicast, .. } = *sender;
        let sequence_id = message.header.sequence_id;
        match &message.body {
            v1::Body::Sync(sync) => {
                // Some senders leave PTP_ASSIST clear and send Follow_Up all the same (seen in an open-source
                // implementation's notes).
                let follows = self.ports.at(at).is_some_and(|port| port.count(super::Kind::FollowUp) > 0);
                match sync.origin_timestamp {
                    Some(origin) if !follows && !message.header.flags().assist() => {
                        self.one_step_sync(sender, origin, NONE);
                    }
                    _ => self.two_step_sync(sender, sequence_id, NONE),
                }
            }
            v1::Body::FollowUp(follow_up) => {
                if let Some(sent) = follow_up.precise_origin_timestamp {
                    self.follow_up(sender, follow_up.associated_sequence_id, sent, NONE);
                }
            }
            v1::Body::DelayReq(request) => {
                let origin = request.origin_timestamp.and_then(filled);
                let stamp = RequestStamp { origin, correction: NONE };
                self.ask((port, Mechanism::EndToEnd), sender, sequence_id, stamp);
            }
            v1::Body::DelayResp(response) => {
                let received = response.delay_receipt_timestamp.and_then(filled);
                let stamp = AnswerStamp { received, two_step: false, unicast: !multicast, correction: NONE };
                let asker = (PortId::from(response.requesting_source), Mechanism::EndToEnd);
                self.answer(asker, sender, response.requesting_source_sequence_id, stamp, None);
            }
            _ => {}
        }
    }

    fn check_flag(&mut self, at: u32, place: Place, sequence_id: u16, two_step: bool) {
        let Some(port) = self.ports.at_mut(at) else { return };
        let interval = port.series(super::Kind::Sync).and_then(super::Cadence::declared_interval);
        let samples = port.samples.get_or_insert_default();
        samples.checks_mut().flag(place, sequence_id, two_step);
        samples.pairing_mut().expect_within(interval.map(|interval| Nanos(interval.0 / 2)));
    }

    fn one_step_sync(&mut self, sender: &Sender, sent: Timestamp, correction: TimeInterval) {
        let place = sender.place;
        let Some((samples, seen)) = self.samples_of(sender.at).zip(place.time) else { return };
        let sync = samples.pairing_mut().one_step(place, seen, sent, correction);
        self.hear_sync(sender, &sync);
    }

    fn two_step_sync(&mut self, sender: &Sender, sequence_id: u16, correction: TimeInterval) {
        let place = sender.place;
        let Some((samples, seen)) = self.samples_of(sender.at).zip(place.time) else { return };
        if let Some(sync) = samples.pairing_mut().two_step(place, seen, sequence_id, correction) {
            self.hear_sync(sender, &sync);
        }
    }

    fn follow_up(&mut self, sender: &Sender, sequence_id: u16, sent: Timestamp, correction: TimeInterval) {
        let Some((samples, seen)) = self.samples_of(sender.at).zip(sender.place.time) else { return };
        if let Some(sync) = samples.pairing_mut().follow_up(seen, sequence_id, sent, correction) {
            self.hear_sync(sender, &sync);
        }
    }

    fn hear_sync(&mut self, sender: &Sender, sync: &TimedSync) {
        let port = sender.port;
        self.journal.note(|| Noted::Sync(SyncEntry { port, sync: *sync }));
        let Some(sent) = self.ports.at_mut(sender.at) else { return };
        let journal = &mut self.journal;
        sent.samples
            .get_or_insert_default()
            .hear(sync, |related| journal.note(|| Noted::Offset(OffsetEntry { port, related })));
    }

    fn samples_of(&mut self, at: u32) -> Option<&mut super::LeaderSamples> {
        self.ports.at_mut(at).map(|port| &mut **port.samples.get_or_insert_default())
    }

    fn ask(&mut self, asker: (PortId, Mechanism), sender: &Sender, sequence_id: u16, stamp: RequestStamp) {
        let Some(now) = sender.place.time.map(|time| self.heard(time)) else { return };
        // A neighbour answers whoever leads.
        let asked_of = match asker.1 {
            Mechanism::EndToEnd => self.election.leads_at(&self.watched),
            Mechanism::PeerToPeer => Some(asker.0.clock),
        };
        let Some(sent) = self.ports.at_mut(sender.at) else { return };
        let [end_to_end, peer_to_peer] = &mut sent.asks;
        let known = if asker.1 == Mechanism::EndToEnd { end_to_end } else { peer_to_peer };
        let at = known.unwrap_or_else(|| self.requesters.number(asker, Requester::default));
        *known = Some(at);
        let Some(requester) = self.requesters.at_mut(at) else { return };
        let exchange = requester.ask(now, sender.place, asked_of, sequence_id, sender.multicast, stamp);
        if let Some(exchange) = exchange {
            let responder = self.ports.find(&exchange.responder);
            self.relate((asker, at), sequence_id, responder, &exchange);
        }
    }

    fn answer(
        &mut self,
        asker: (PortId, Mechanism),
        sender: &Sender,
        sequence_id: u16,
        stamp: AnswerStamp,
        asked_for: Option<LogInterval>,
    ) {
        let Some(now) = sender.place.time.map(|time| self.heard(time)) else {
            if let Some((requester, interval)) = self.requesters.get_mut(&asker).zip(asked_for) {
                requester.hear_interval(interval);
            }
            return;
        };
        let at = self.requesters.number(asker, Requester::default);
        let Some(requester) = self.requesters.at_mut(at) else { return };
        if let Some(interval) = asked_for {
            requester.hear_interval(interval);
        }
        if let Some(exchange) = requester.answer(now, sender.place, sequence_id, sender.port, stamp) {
            self.relate((asker, at), sequence_id, Some(sender.at), &exchange);
        }
    }

    fn heard(&self, time: CaptureTime) -> Heard {
        let watched = self.watched.since(&Watched::default(), LONGEST_PAUSE);
        Heard { time, watched, way: self.way, number: self.heard }
    }

    /// Takes in an answered request. `at` is where its asker is kept, `responder` where who answered is.
    fn relate(
        &mut self,
        (asker, at): ((PortId, Mechanism), u32),
        sequence_id: u16,
        responder: Option<u32>,
        exchange: &Exchange,
    ) {
        let port = exchange.responder;
        let (asker, mechanism) = asker;
        self.journal.note(|| {
            let exchange = *exchange;
            Noted::Exchange(ExchangeEntry { asker, mechanism, sequence_id, exchange })
        });
        let answered = responder.and_then(|responder| self.ports.at_mut(responder));
        match mechanism {
            Mechanism::EndToEnd => {
                if let Some(answered) = answered {
                    // Stamps of two interfaces may be two clocks' words.
                    let is_other = |way: Way| way.file == exchange.way.file && way != exchange.way;
                    if answered.sync_way.is_some_and(is_other) {
                        return;
                    }
                    // Also before its first Sync is in view.
                    let related = answered.samples.get_or_insert_default().hear_exchange(exchange);
                    if let Some(related) = related {
                        self.journal.note(|| Noted::Offset(OffsetEntry { port, related }));
                    }
                }
                if let Some(requester) = self.requesters.at_mut(at) {
                    requester.hear_own_time(exchange);
                }
            }
            Mechanism::PeerToPeer => {
                let Some(answered) = answered else { return };
                if let Some(held) = answered.peer.get_or_insert_default().hear(asker, sequence_id, exchange) {
                    self.journal.note(|| Noted::PeerDelay(PeerDelayEntry { port, held }));
                }
            }
        }
    }
}
