//! A domain takes in a message: where its sender is kept is looked up once, and each part takes from there what it needs.

use std::collections::BTreeSet;

use super::announcer::ANNOUNCE_RECEIPT_TIMEOUT;
use super::announcer::Moment;
use super::announcer::Offer;
use super::announcer::V1_SYNC_RECEIPT_TIMEOUT;
use super::cadence::Addressee;
use super::candidate::Candidate;
use super::changes;
use super::domain::Domain;
use super::event::Event;
use super::event::Happening;
use super::folding::CHANGES_TOLD;
use super::journal::MessageEntry;
use super::journal::Noted;
use super::key::DomainKey;
use super::key::DomainName;
use super::key::PortId;
use super::marks::Marks;
use super::port::ClockPort;
use super::port::Kind;
use super::port::TimeProperties;
use super::requests::Mechanism;
use super::requests::Requester;
use super::silences::Latest;
use super::stamps::Sender;
use crate::observations::Observation;
use crate::observations::Path;
use crate::observations::Place;
use crate::observations::Transport;
use crate::observations::Way;
use crate::ptp::Note;
use crate::ptp::v1;
use crate::ptp::v2;
use crate::units::LogInterval;
use crate::units::Nanos;

/// The interval taken where a sender declares none and too few messages were seen to measure it
/// (1588-2008 J.3 gives 2 s for Announce, from memory; the longer one never calls a clock lost too soon).
const ASSUMED_INTERVAL: Nanos = Nanos::from_seconds(2);

/// Kinds of notes kept a domain (chosen).
const NOTE_LIMIT: usize = 64;

/// What every message has.
struct Arrived {
    kind: Kind,
    /// `sequenceId` of the header.
    number: u16,
    /// `sequenceId` of the series it belongs to.
    sequence_id: u16,
    declared: LogInterval,
    addressee: Addressee,
}

impl Domain {
    /// Takes in a v2 message; where its sender is kept.
    pub(super) fn push_v2(&mut self, observation: &Observation, message: &v2::Message) -> u32 {
        let header = &message.header;
        let path = &observation.path;
        let multicast = path.is_multicast();
        let addressee = match &message.body {
            v2::Body::DelayResp { requesting_port_identity, .. }
            | v2::Body::PdelayResp { requesting_port_identity, .. }
            | v2::Body::PdelayRespFollowUp { requesting_port_identity, .. } => {
                Addressee::Asker((*requesting_port_identity).into())
            }
            _ => Addressee::of(path),
        };
        let sequence_id = header.sequence_id;
        let arrived = Arrived {
            kind: kind_v2(header.message_type),
            number: sequence_id,
            sequence_id,
            declared: header.log_message_interval,
            addressee,
        };
        let kind = arrived.kind;
        let place = observation.place;
        let sender = Sender { port: header.source_port_identity.into(), at: 0, place, multicast };
        let sender = self.arrive(sender, path, &message.notes, &arrived);
        let port = sender.port;
        if let Some(sent) = self.ports.at_mut(sender.at) {
            let minor_version = header.minor_version_ptp;
            if sent.minor_version.replace(minor_version) != Some(minor_version) {
                sent.minor_versions.insert(minor_version);
            }
            if let Some(marks) = sent.marks.entry(kind) {
                marks.record_flags(multicast, header.flags);
                marks.record_tlvs(message);
            }
            if let Some(metadata) = message.tlvs.iter().find_map(v2::Tlv::synchronization_metadata) {
                sent.synchronization_metadata = Some(metadata);
            }
            match &message.body {
                v2::Body::Sync { origin_timestamp: stamp }
                | v2::Body::FollowUp { precise_origin_timestamp: stamp } => {
                    sent.replays.hear(place, sequence_id, (kind, *stamp));
                }
                v2::Body::Management { action, target_port_identity, .. } => {
                    if *action == v2::Action::Response {
                        sent.claims.hear(port, place, message);
                    }
                    sent.orders.hear(place, (*action, (*target_port_identity).into()), multicast, message);
                }
                _ => {}
            }
        }
        match &message.body {
            v2::Body::Announce(announce) => self.announce(&sender, header, announce),
            v2::Body::Sync { .. } => self.sync(&sender, header.flags.two_step()),
            v2::Body::Signaling { target_port_identity, .. } => {
                self.leases.hear(port, (*target_port_identity).into(), place, &message.tlvs);
            }
            _ => {}
        }
        self.time_v2(&sender, message);
        if let Addressee::Asker(asker) = addressee
            && kind == Kind::DelayResp
            && !multicast
        {
            self.check_address(asker, place, path);
        }
        sender.at
    }

    /// Takes in a v1 message.
    pub(super) fn push_v1(&mut self, observation: &Observation, message: &v1::Message) {
        let header = &message.header;
        let path = &observation.path;
        let (kind, declared) = match &message.body {
            v1::Body::Sync(sync) => (Kind::Sync, sync.sync_interval),
            v1::Body::DelayReq(_) => (Kind::DelayReq, LogInterval::NOT_GIVEN),
            v1::Body::FollowUp(_) => (Kind::FollowUp, LogInterval::NOT_GIVEN),
            v1::Body::DelayResp(_) => (Kind::DelayResp, LogInterval::NOT_GIVEN),
            v1::Body::Management(_) => (Kind::Management, LogInterval::NOT_GIVEN),
            v1::Body::Reserved => (Kind::Reserved, LogInterval::NOT_GIVEN),
        };
        let (addressee, sequence_id) = match &message.body {
            v1::Body::DelayResp(response) => {
                (Addressee::Asker(response.requesting_source.into()), response.requesting_source_sequence_id)
            }
            _ => (Addressee::of(path), header.sequence_id),
        };
        let arrived = Arrived { kind, number: header.sequence_id, sequence_id, declared, addressee };
        let (port, place) = (header.source.into(), observation.place);
        let sender = Sender { port, at: 0, place, multicast: path.is_multicast() };
        let sender = self.arrive(sender, path, &message.notes, &arrived);
        match &message.body {
            v1::Body::Sync(sync) => self.sync_v1(&sender, header, sync),
            v1::Body::DelayReq(request) => {
                if let Some(sent) = self.ports.at_mut(sender.at) {
                    sent.parent = Some(request.parent.into());
                }
            }
            _ => {}
        }
        self.time_v1(&sender, message);
    }

    /// Takes in what messages of both versions have in common; the sender with where it is kept.
    fn arrive(&mut self, sender: Sender, path: &Path, notes: &[Note], arrived: &Arrived) -> Sender {
        let Sender { port, place, multicast, .. } = sender;
        let Arrived { kind, number, sequence_id, declared, addressee } = *arrived;
        if self.transport.replace(path.transport) != Some(path.transport) {
            self.transports.insert(path.transport);
        }
        self.way = Way { file: place.file, interface: path.interface };
        self.last = place;
        for note in notes {
            if self.notes.len() < NOTE_LIMIT || self.notes.contains_key(note) {
                self.notes.entry(note.clone()).or_insert((0, place)).0 += 1;
            }
        }
        let at = self.ports.number(port, || ClockPort::new(port, place));
        let sender = Sender { at, ..sender };
        let Some(sent) = self.ports.at_mut(at) else { return sender };
        sent.touch(place, self.heard);
        let series = sent.series.entry(kind);
        let gap = series.and_then(|series| series.record(place, sequence_id, declared, addressee));
        self.journal.note(|| {
            Noted::Message(MessageEntry { place, port, kind, addressee, sequence_id, declared, gap })
        });
        sent.came(kind, place, number, path);
        if multicast && matches!(kind, Kind::Announce | Kind::Sync) {
            let asked = self.counts.of(Kind::DelayReq) + self.counts.of(Kind::PdelayReq);
            sent.silence(kind, Latest { place, watched: self.watched, number, asked });
        }
        self.counts.count(kind);
        sender
    }

    /// Whether a unicast answer goes to an address that its asker sends from.
    fn check_address(&mut self, asker: PortId, place: Place, path: &Path) {
        let Some(to) = path.destination_ip else { return };
        let Some(port) = self.ports.get(&asker) else { return };
        let own = port.addresses.keys().filter_map(|address| address.ip);
        let mut own = own.filter(|ip| ip.is_ipv4() == to.is_ipv4());
        let is_elsewhere = own.next().is_some_and(|first| first != to && own.all(|ip| ip != to));
        if is_elsewhere {
            let at = self.requesters.number((asker, Mechanism::EndToEnd), Requester::default);
            if let Some(requester) = self.requesters.at_mut(at) {
                requester.hear_elsewhere(place);
            }
        }
    }

    fn announce(&mut self, sender: &Sender, header: &v2::Header, announce: &v2::Announce) {
        let candidate = Candidate::from_announce(header, announce);
        let properties = TimeProperties {
            current_utc_offset: announce.current_utc_offset,
            time_source: Some(announce.time_source),
            flags: Some(header.flags),
        };
        if header.flags.alternate_master() {
            if let Some(port) = self.ports.at_mut(sender.at) {
                port.alternate_offers += 1;
            }
            return;
        }
        self.offer(sender, (candidate, header.sequence_id), properties, Kind::Announce);
    }

    fn sync_v1(&mut self, sender: &Sender, header: &v1::Header, sync: &v1::SyncOrDelayReq) {
        let candidate = Candidate::from_v1_sync(header, sync);
        let properties =
            TimeProperties { current_utc_offset: sync.current_utc_offset, time_source: None, flags: None };
        self.offer(sender, (candidate, header.sequence_id), properties, Kind::Sync);
        self.sync(sender, header.flags().assist());
    }

    fn offer(
        &mut self,
        sender: &Sender,
        (candidate, sequence_id): (Candidate, u16),
        properties: TimeProperties,
        kind: Kind,
    ) {
        let place = sender.place;
        let is_v1 = self.key.is_v1();
        let qualifies_at_once = self.key.is_gptp();
        let Some(port) = self.ports.at_mut(sender.at) else { return };
        // Whether two share the identity may show in messages of any kind.
        port.settle_all();
        if let Some(series) = port.series.known(kind) {
            series.measure();
        }
        let pace = port.series(kind).and_then(super::Cadence::pace);
        let declared = port.series(kind).and_then(super::Cadence::declared_interval);
        // Gaps between the messages of two senders under one identity are nobody's pace.
        let own = declared.filter(|_| port.twins.two().is_some());
        let interval = own.or(pace).unwrap_or(ASSUMED_INTERVAL);
        let declared = declared.unwrap_or(interval);
        let before = port.offer.replace(candidate).zip(port.time_properties.replace(properties));
        let Some(now) = place.time else { return };
        if let Some((old, old_properties)) =
            before.filter(|(old, _)| old.grandmaster == candidate.grandmaster)
        {
            let changes = changes::between(&old, old_properties, &candidate, properties);
            port.changes += u64::from(!changes.is_empty());
            if port.changes > CHANGES_TOLD {
                self.untold += u64::from(!changes.is_empty());
            } else if !changes.is_empty() {
                let what =
                    Happening::DataChanged { port: candidate.sender, clock: candidate.grandmaster, changes };
                self.events.push(Event { time: now, what, places: vec![place] });
            }
        }
        let receipt_timeout = if is_v1 { V1_SYNC_RECEIPT_TIMEOUT } else { ANNOUNCE_RECEIPT_TIMEOUT };
        let several_may_lead = may_have_several_leaders(self.key, &self.transports, port.marks.get(&kind));
        let offer = Offer {
            candidate,
            sequence_id,
            interval,
            declared,
            receipt_timeout,
            qualifies_at_once,
            is_v1,
            several_may_lead,
        };
        self.election.hear(Moment { time: now, place, watched: self.watched, way: self.way }, offer);
    }

    fn sync(&mut self, sender: &Sender, two_step: bool) {
        let way = self.way;
        if let Some(port) = self.ports.at_mut(sender.at) {
            port.two_step = Some(two_step);
            port.sync_came_by(way);
        }
        if sender.place.time.is_some() {
            self.election.hear_sync(self.watched, sender.port);
        }
    }
}

/// Whether several clocks with a reference may lead side by side, as in the telecom profiles: G.8275.1, domains 24 to
/// 43 over Ethernet, and G.8275.2, domains 44 to 63 by unicast (from memory).
fn may_have_several_leaders(key: DomainKey, transports: &BTreeSet<Transport>, marks: Option<&Marks>) -> bool {
    let by_unicast = marks.is_some_and(|marks| marks.multicast == 0 && marks.unicast > 0);
    match key.name {
        DomainName::Number { sdo_id: 0, number: 24..=43 } => transports.iter().eq([&Transport::Ethernet]),
        DomainName::Number { sdo_id: 0, number: 44..=63 } => by_unicast,
        _ => false,
    }
}

pub(super) fn kind_v2(message_type: v2::MessageType) -> Kind {
    match message_type {
        v2::MessageType::Sync => Kind::Sync,
        v2::MessageType::FollowUp => Kind::FollowUp,
        v2::MessageType::DelayReq => Kind::DelayReq,
        v2::MessageType::DelayResp => Kind::DelayResp,
        v2::MessageType::PdelayReq => Kind::PdelayReq,
        v2::MessageType::PdelayResp => Kind::PdelayResp,
        v2::MessageType::PdelayRespFollowUp => Kind::PdelayRespFollowUp,
        v2::MessageType::Announce => Kind::Announce,
        v2::MessageType::Signaling => Kind::Signaling,
        v2::MessageType::Management => Kind::Management,
        v2::MessageType::Reserved(_) => Kind::Reserved,
    }
}
