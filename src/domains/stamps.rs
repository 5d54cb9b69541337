//! The timing half of a domain's messages: stamps find their partners and become samples.

use super::domain::Domain;
use super::journal::ExchangeEntry;
use super::journal::Noted;
use super::journal::PeerDelayEntry;
use super::journal::SyncEntry;
use super::key::PortId;
use super::pairing::TimedSync;
use super::requests::AnswerStamp;
use super::requests::Heard;
use super::requests::LONGEST_PAUSE;
use super::requests::Mechanism;
use super::requests::RequestStamp;
use super::samples::Exchange;
use crate::observations::Place;
use crate::observations::Watched;
use crate::ptp::v1;
use crate::ptp::v2;
use crate::units::CaptureTime;
use crate::units::Nanos;
use crate::units::TimeInterval;
use crate::units::Timestamp;

/// A stamp that is filled.
fn filled(stamp: Timestamp) -> Option<Timestamp> {
    (!stamp.is_zero()).then_some(stamp)
}

/// v1 has no correctionField.
const NONE: TimeInterval = TimeInterval(0);

impl Domain {
    /// Takes in what a v2 message says of time.
    pub(super) fn time_v2(&mut self, port: PortId, place: Place, multicast: bool, message: &v2::Message) {
        let header = &message.header;
        let (sequence_id, correction) = (header.sequence_id, header.correction_field);
        match &message.body {
            v2::Body::Sync { .. } if header.flags.two_step() => {
                self.check_flag(port, place, sequence_id, true);
                self.two_step_sync(port, place, sequence_id, correction);
            }
            v2::Body::Sync { origin_timestamp } => {
                self.check_flag(port, place, sequence_id, false);
                self.one_step_sync(port, place, *origin_timestamp, correction);
            }
            v2::Body::FollowUp { precise_origin_timestamp } => {
                if let Some(samples) = self.samples_of(port) {
                    samples.checks_mut().follow_up(place, sequence_id);
                }
                self.follow_up(port, place, sequence_id, *precise_origin_timestamp, correction);
            }
            v2::Body::DelayReq { origin_timestamp } => {
                let stamp = RequestStamp { origin: filled(*origin_timestamp), correction };
                self.ask((port, Mechanism::EndToEnd), place, sequence_id, multicast, stamp);
            }
            v2::Body::PdelayReq { origin_timestamp } => {
                let stamp = RequestStamp { origin: filled(*origin_timestamp), correction };
                self.ask((port, Mechanism::PeerToPeer), place, sequence_id, multicast, stamp);
            }
            v2::Body::DelayResp { receive_timestamp, requesting_port_identity } => {
                let received = filled(*receive_timestamp);
                let stamp = AnswerStamp { received, two_step: false, unicast: !multicast, correction };
                let asker = (PortId::from(*requesting_port_identity), Mechanism::EndToEnd);
                self.answer(asker, place, sequence_id, port, stamp);
                if let Some(requester) = self.requesters.get_mut(&asker) {
                    requester.hear_interval(header.log_message_interval);
                }
            }
            v2::Body::PdelayResp { request_receipt_timestamp, requesting_port_identity } => {
                let two_step = header.flags.two_step();
                let received = filled(*request_receipt_timestamp);
                let stamp = AnswerStamp { received, two_step, unicast: !multicast, correction };
                let asker = (PortId::from(*requesting_port_identity), Mechanism::PeerToPeer);
                self.answer(asker, place, sequence_id, port, stamp);
            }
            v2::Body::PdelayRespFollowUp { response_origin_timestamp, requesting_port_identity } => {
                let asker = PortId::from(*requesting_port_identity);
                let peer = self.ports.get_mut(&port).and_then(|port| port.peer.as_mut());
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
    pub(super) fn time_v1(&mut self, port: PortId, place: Place, multicast: bool, message: &v1::Message) {
        let sequence_id = message.header.sequence_id;
        match &message.body {
            v1::Body::Sync(sync) => {
                // Some senders leave PTP_ASSIST clear and send Follow_Up all the same (seen in an open-source
                // implementation's notes).
                let follows = self.ports.get(&port).is_some_and(|port| port.count(super::Kind::FollowUp) > 0);
                match sync.origin_timestamp {
                    Some(origin) if !follows && !message.header.flags().assist() => {
                        self.one_step_sync(port, place, origin, NONE);
                    }
                    _ => self.two_step_sync(port, place, sequence_id, NONE),
                }
            }
            v1::Body::FollowUp(follow_up) => {
                if let Some(sent) = follow_up.precise_origin_timestamp {
                    self.follow_up(port, place, follow_up.associated_sequence_id, sent, NONE);
                }
            }
            v1::Body::DelayReq(request) => {
                let origin = request.origin_timestamp.and_then(filled);
                let stamp = RequestStamp { origin, correction: NONE };
                self.ask((port, Mechanism::EndToEnd), place, sequence_id, multicast, stamp);
            }
            v1::Body::DelayResp(response) => {
                let received = response.delay_receipt_timestamp.and_then(filled);
                let stamp = AnswerStamp { received, two_step: false, unicast: !multicast, correction: NONE };
                let asker = (PortId::from(response.requesting_source), Mechanism::EndToEnd);
                self.answer(asker, place, response.requesting_source_sequence_id, port, stamp);
            }
            _ => {}
        }
    }

    fn check_flag(&mut self, port: PortId, place: Place, sequence_id: u16, two_step: bool) {
        let interval =
            self.ports.get(&port).and_then(|port| port.series(super::Kind::Sync)?.declared_interval());
        let Some(samples) = self.samples_of(port) else { return };
        samples.checks_mut().flag(place, sequence_id, two_step);
        samples.pairing_mut().expect_within(interval.map(|interval| Nanos(interval.0 / 2)));
    }

    fn one_step_sync(&mut self, port: PortId, place: Place, sent: Timestamp, correction: TimeInterval) {
        let Some((samples, seen)) = self.samples_of(port).zip(place.time) else { return };
        let sync = samples.pairing_mut().one_step(place, seen, sent, correction);
        self.hear_sync(port, &sync);
    }

    fn two_step_sync(&mut self, port: PortId, place: Place, sequence_id: u16, correction: TimeInterval) {
        let Some((samples, seen)) = self.samples_of(port).zip(place.time) else { return };
        if let Some(sync) = samples.pairing_mut().two_step(place, seen, sequence_id, correction) {
            self.hear_sync(port, &sync);
        }
    }

    fn follow_up(
        &mut self,
        port: PortId,
        place: Place,
        sequence_id: u16,
        sent: Timestamp,
        correction: TimeInterval,
    ) {
        let Some((samples, seen)) = self.samples_of(port).zip(place.time) else { return };
        if let Some(sync) = samples.pairing_mut().follow_up(seen, sequence_id, sent, correction) {
            self.hear_sync(port, &sync);
        }
    }

    fn hear_sync(&mut self, port: PortId, sync: &TimedSync) {
        self.journal.note(|| Noted::Sync(SyncEntry { port, sync: *sync }));
        let Some(samples) = self.samples_of(port) else { return };
        let related = samples.hear(sync);
        self.journal.relate(port, related);
    }

    fn samples_of(&mut self, port: PortId) -> Option<&mut super::LeaderSamples> {
        self.ports.get_mut(&port).map(|port| &mut **port.samples.get_or_insert_default())
    }

    fn ask(
        &mut self,
        asker: (PortId, Mechanism),
        place: Place,
        sequence_id: u16,
        multicast: bool,
        stamp: RequestStamp,
    ) {
        let Some(now) = place.time.map(|time| self.heard(time)) else { return };
        let requester = self.requesters.entry(asker).or_default();
        if let Some(exchange) = requester.ask(now, place, sequence_id, multicast, stamp) {
            self.relate(asker, sequence_id, &exchange);
        }
    }

    fn answer(
        &mut self,
        asker: (PortId, Mechanism),
        place: Place,
        sequence_id: u16,
        responder: PortId,
        stamp: AnswerStamp,
    ) {
        let Some(now) = place.time.map(|time| self.heard(time)) else { return };
        let requester = self.requesters.entry(asker).or_default();
        if let Some(exchange) = requester.answer(now, place, sequence_id, responder, stamp) {
            self.relate(asker, sequence_id, &exchange);
        }
    }

    fn heard(&self, time: CaptureTime) -> Heard {
        let watched = self.watched.since(&Watched::default(), LONGEST_PAUSE);
        Heard { time, watched, way: self.way, number: self.heard }
    }

    fn relate(&mut self, asker: (PortId, Mechanism), sequence_id: u16, exchange: &Exchange) {
        let responder = exchange.responder;
        let (asker_port, mechanism) = asker;
        self.journal.note(|| {
            let exchange = *exchange;
            Noted::Exchange(ExchangeEntry { asker: asker_port, mechanism, sequence_id, exchange })
        });
        match asker.1 {
            Mechanism::EndToEnd => {
                // Stamps of two interfaces may be two clocks' words.
                let sync_way = self.ports.get(&responder).and_then(|port| port.sync_way);
                if sync_way.is_some_and(|way| way.file == exchange.way.file && way != exchange.way) {
                    return;
                }
                // Also before its first Sync is in view.
                if let Some(samples) = self.samples_of(responder) {
                    let related = samples.hear_exchange(exchange);
                    self.journal.relate(responder, related);
                }
                if let Some(requester) = self.requesters.get_mut(&asker) {
                    requester.hear_own_time(exchange);
                }
            }
            Mechanism::PeerToPeer => {
                let Some(port) = self.ports.get_mut(&responder) else { return };
                if let Some(held) = port.peer.get_or_insert_default().hear(asker.0, sequence_id, exchange) {
                    self.journal.note(|| Noted::PeerDelay(PeerDelayEntry { port: responder, held }));
                }
            }
        }
    }
}
