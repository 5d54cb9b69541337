//! One domain: its ports, its election, its requests, and what happened in it.

use std::collections::BTreeMap;
use std::collections::BTreeSet;

use super::announcer::ANNOUNCE_RECEIPT_TIMEOUT;
use super::announcer::Moment;
use super::announcer::Offer;
use super::announcer::V1_SYNC_RECEIPT_TIMEOUT;
use super::cadence::Addressee;
use super::candidate::Candidate;
use super::changes;
use super::election::Election;
use super::event::Event;
use super::event::Happening;
use super::folding::CHANGES_TOLD;
use super::folding::Worth;
use super::journal::Journal;
use super::journal::MessageEntry;
use super::journal::Noted;
use super::key::ClockId;
use super::key::DomainKey;
use super::key::DomainName;
use super::key::PortId;
use super::leading::Leading;
use super::leases::Leases;
use super::marks::Marks;
use super::port::ClockPort;
use super::port::Kind;
use super::port::TimeProperties;
use super::requests::LONGEST_PAUSE;
use super::requests::Mechanism;
use super::requests::Requester;
use super::silences::Latest;
use crate::observations::Observation;
use crate::observations::Path;
use crate::observations::Place;
use crate::observations::Transport;
use crate::observations::Watched;
use crate::observations::Way;
use crate::ptp::Note;
use crate::ptp::v1;
use crate::ptp::v2;
use crate::statistics::Distribution;
use crate::units::CaptureTime;
use crate::units::LogInterval;
use crate::units::Nanos;

/// The interval taken where a sender declares none and too few messages were seen to measure it
/// (1588-2008 J.3 gives 2 s for Announce, from memory; the longer one never calls a clock lost too soon).
const ASSUMED_INTERVAL: Nanos = Nanos::from_seconds(2);

/// Kinds of notes kept a domain (chosen).
const NOTE_LIMIT: usize = 64;

/// Requests that were answered.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Answered {
    /// All.
    pub all: u64,
    /// Those that went to a group.
    pub multicast: u64,
    /// Those that went to a group and whose answer went to the asker alone.
    pub aside: u64,
}

/// How much of everything there is: of one domain, or of all together.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) struct Size {
    pub(super) ports: usize,
    pub(super) requesters: usize,
    pub(super) tenures: usize,
    pub(super) events: usize,
}

impl Size {
    pub(super) const fn with(self, more: Self) -> Self {
        Self {
            ports: self.ports.saturating_add(more.ports),
            requesters: self.requesters.saturating_add(more.requesters),
            tenures: self.tenures.saturating_add(more.tenures),
            events: self.events.saturating_add(more.events),
        }
    }

    pub(super) const fn without(self, gone: Self) -> Self {
        Self {
            ports: self.ports.saturating_sub(gone.ports),
            requesters: self.requesters.saturating_sub(gone.requesters),
            tenures: self.tenures.saturating_sub(gone.tenures),
            events: self.events.saturating_sub(gone.events),
        }
    }
}

/// One domain of the capture.
#[derive(Debug, Clone)]
pub struct Domain {
    /// Its key.
    pub key: DomainKey,
    /// How long the network had been watched at the latest message, in the end as a whole.
    pub(super) watched: Watched,
    /// Where the latest message was captured: file and interface.
    pub(super) way: Way,
    /// Messages by kind.
    pub counts: BTreeMap<Kind, u64>,
    /// Transports it was seen on.
    pub transports: BTreeSet<Transport>,
    /// Ports that sent in it.
    pub ports: BTreeMap<PortId, ClockPort>,
    /// Its election.
    pub election: Election,
    /// Ports that asked for delay or were answered.
    pub requesters: BTreeMap<(PortId, Mechanism), Requester>,
    /// Unicast transmission asked for and granted.
    pub leases: Leases,
    /// Requests answered, by mechanism; known once the reading has ended.
    answered: BTreeMap<Mechanism, Answered>,
    pub(super) journal: Journal,
    /// Odd things in its messages, with how often and where first.
    pub notes: BTreeMap<Note, (u64, Place)>,
    /// What happened, in time order once the reading has ended.
    pub events: Vec<Event>,
    /// First message.
    pub first: Place,
    /// Latest message.
    pub last: Place,
    /// The number of the latest message among all of the capture.
    pub(super) heard: u64,
    /// Changes of what a port announces that are not among the events.
    untold: u64,
    /// Who gives the time; known once the reading has ended.
    pub(super) leading: Leading,
}

impl Domain {
    pub(super) fn new(key: DomainKey, place: Place) -> Self {
        Self {
            key,
            watched: Watched::default(),
            way: Way::default(),
            counts: BTreeMap::new(),
            transports: BTreeSet::new(),
            ports: BTreeMap::new(),
            election: Election::default(),
            requesters: BTreeMap::new(),
            answered: BTreeMap::new(),
            leases: Leases::default(),
            journal: Journal::default(),
            notes: BTreeMap::new(),
            events: Vec::new(),
            first: place,
            last: place,
            heard: 0,
            untold: 0,
            leading: Leading::default(),
        }
    }

    pub(super) fn size(&self) -> Size {
        Size {
            ports: self.ports.len(),
            requesters: self.requesters.len(),
            tenures: self.election.ended(),
            events: self.events.len(),
        }
    }

    pub(super) fn worth(&self) -> Worth {
        Worth::new(self.counts.values().sum(), self.heard)
    }

    /// Events that found no room.
    pub(super) fn untold(&self) -> u64 {
        let outages: u64 = self.requesters.values().map(Requester::untold).sum();
        self.untold + self.election.untold() + outages
    }

    /// Drops the event that came last; how many that are.
    pub(super) fn forget_latest_event(&mut self) -> usize {
        usize::from(self.events.pop().is_some())
    }

    /// How long the network had been watched at the latest message; once the reading has ended, in all.
    #[must_use]
    pub const fn watched(&self) -> &Watched {
        &self.watched
    }

    /// Messages of one kind.
    #[must_use]
    pub fn count(&self, kind: Kind) -> u64 {
        self.counts.get(&kind).copied().unwrap_or(0)
    }

    /// The ports of one clock.
    pub fn ports_of(&self, clock: ClockId) -> impl Iterator<Item = &ClockPort> {
        self.ports.range(PortId::all_of(clock)).map(|(_, port)| port)
    }

    /// What the ports of one clock asked.
    pub fn requests_of(&self, clock: ClockId) -> impl Iterator<Item = (PortId, Mechanism, &Requester)> {
        let (first, last) = PortId::all_of(clock).into_inner();
        self.requesters
            .range((first, Mechanism::EndToEnd)..=(last, Mechanism::PeerToPeer))
            .map(|((port, mechanism), requester)| (*port, *mechanism, requester))
    }

    /// Requests of all ports that were answered. Zero until the reading has ended.
    #[must_use]
    pub fn answered(&self, mechanism: Mechanism) -> Answered {
        self.answered.get(&mechanism).copied().unwrap_or_default()
    }

    /// Times from request to answer of all its ports.
    #[must_use]
    pub fn response_times(&self) -> Distribution {
        let mut all = Distribution::default();
        for requester in self.requesters.values() {
            all.join(requester.response_time());
        }
        all
    }

    /// Offers that clocks made in management answers only: DEFAULT_DATA_SET of clocks that keep silent.
    pub fn silent_candidates(&self) -> impl Iterator<Item = Candidate> {
        self.ports.values().filter(|port| port.offer.is_none()).filter_map(|port| port.claims.candidate)
    }

    /// Takes in a v2 message.
    pub(super) fn push_v2(&mut self, observation: &Observation, message: &v2::Message) {
        let header = &message.header;
        let port = PortId::from(header.source_port_identity);
        let place = observation.place;
        self.arrive(&observation.path, place, &message.notes);
        let sender = self.ports.entry(port).or_insert_with(|| ClockPort::new(port, place));
        sender.touch(place, &observation.path, self.heard);
        sender.minor_versions.insert(header.minor_version_ptp);
        let kind = kind_v2(header.message_type);
        let addressee = match &message.body {
            v2::Body::DelayResp { requesting_port_identity, .. }
            | v2::Body::PdelayResp { requesting_port_identity, .. }
            | v2::Body::PdelayRespFollowUp { requesting_port_identity, .. } => {
                Addressee::Asker((*requesting_port_identity).into())
            }
            _ => Addressee::of(&observation.path),
        };
        let declared = header.log_message_interval;
        let sequence_id = header.sequence_id;
        let gap = sender.series.entry(kind).or_default().record(place, sequence_id, declared, addressee);
        let entry = MessageEntry { place, port, kind, addressee, sequence_id, declared, gap };
        self.journal.note(|| Noted::Message(entry));
        sender.number(kind, place, header.sequence_id, &observation.path);
        let marks = sender.marks.entry(kind).or_default();
        marks.record_path(&observation.path);
        marks.record_flags(&observation.path, header.flags);
        marks.record_tlvs(message);
        let now =
            Latest { place, watched: self.watched, number: header.sequence_id, asked: asked(&self.counts) };
        sender.silence(kind, now, &observation.path);
        if let Some(metadata) = message.tlvs.iter().find_map(v2::Tlv::synchronization_metadata) {
            sender.synchronization_metadata = Some(metadata);
        }
        *self.counts.entry(kind).or_insert(0) += 1;
        let multicast = observation.path.is_multicast();
        if let v2::Body::Sync { origin_timestamp: stamp }
        | v2::Body::FollowUp { precise_origin_timestamp: stamp } = &message.body
        {
            sender.replays.hear(place, header.sequence_id, (kind, *stamp));
        }
        match &message.body {
            v2::Body::Announce(announce) => self.announce(place, header, announce),
            v2::Body::Sync { .. } => self.sync(port, place.time, header.flags.two_step()),
            v2::Body::Management { action, target_port_identity, .. } => {
                if *action == v2::Action::Response {
                    sender.claims.hear(port, place, message);
                }
                sender.orders.hear(place, (*action, (*target_port_identity).into()), multicast, message);
            }
            _ => {}
        }
        if let v2::Body::Signaling { target_port_identity, .. } = &message.body {
            self.leases.hear(port, (*target_port_identity).into(), place, &message.tlvs);
        }
        self.time_v2(port, place, multicast, message);
        if let Addressee::Asker(asker) = addressee
            && kind == Kind::DelayResp
        {
            self.check_address(asker, place, &observation.path);
        }
    }

    /// Takes in a v1 message.
    pub(super) fn push_v1(&mut self, observation: &Observation, message: &v1::Message) {
        let header = &message.header;
        let port = PortId::from(header.source);
        let place = observation.place;
        self.arrive(&observation.path, place, &message.notes);
        let sender = self.ports.entry(port).or_insert_with(|| ClockPort::new(port, place));
        sender.touch(place, &observation.path, self.heard);
        let (kind, declared) = match &message.body {
            v1::Body::Sync(sync) => (Kind::Sync, sync.sync_interval),
            v1::Body::DelayReq(_) => (Kind::DelayReq, LogInterval::NOT_GIVEN),
            v1::Body::FollowUp(_) => (Kind::FollowUp, LogInterval::NOT_GIVEN),
            v1::Body::DelayResp(_) => (Kind::DelayResp, LogInterval::NOT_GIVEN),
            v1::Body::Management(_) => (Kind::Management, LogInterval::NOT_GIVEN),
            v1::Body::Reserved => (Kind::Reserved, LogInterval::NOT_GIVEN),
        };
        let (addressee, number) = match &message.body {
            v1::Body::DelayResp(response) => {
                (Addressee::Asker(response.requesting_source.into()), response.requesting_source_sequence_id)
            }
            _ => (Addressee::of(&observation.path), header.sequence_id),
        };
        let gap = sender.series.entry(kind).or_default().record(place, number, declared, addressee);
        let entry = MessageEntry { place, port, kind, addressee, sequence_id: number, declared, gap };
        self.journal.note(|| Noted::Message(entry));
        sender.number(kind, place, header.sequence_id, &observation.path);
        sender.marks.entry(kind).or_default().record_path(&observation.path);
        let now =
            Latest { place, watched: self.watched, number: header.sequence_id, asked: asked(&self.counts) };
        sender.silence(kind, now, &observation.path);
        *self.counts.entry(kind).or_insert(0) += 1;
        match &message.body {
            v1::Body::Sync(sync) => self.sync_v1(place, header, sync),
            v1::Body::DelayReq(request) => sender.parent = Some(request.parent.into()),
            _ => {}
        }
        self.time_v1(port, place, observation.path.is_multicast(), message);
    }

    /// Whether a unicast answer goes to an address that its asker sends from.
    fn check_address(&mut self, asker: PortId, place: Place, path: &Path) {
        let Some(to) = path.destination_ip.filter(|_| !path.is_multicast()) else { return };
        let Some(port) = self.ports.get(&asker) else { return };
        let own = port.addresses.keys().filter_map(|address| address.ip);
        let mut own = own.filter(|ip| ip.is_ipv4() == to.is_ipv4()).peekable();
        if own.peek().is_some() && own.all(|ip| ip != to) {
            let requester = self.requesters.entry((asker, Mechanism::EndToEnd)).or_default();
            requester.hear_elsewhere(place);
        }
    }

    fn arrive(&mut self, path: &Path, place: Place, notes: &[Note]) {
        self.transports.insert(path.transport);
        self.way = Way { file: place.file, interface: path.interface };
        self.last = place;
        for note in notes {
            if self.notes.len() < NOTE_LIMIT || self.notes.contains_key(note) {
                self.notes.entry(note.clone()).or_insert((0, place)).0 += 1;
            }
        }
    }

    fn announce(&mut self, place: Place, header: &v2::Header, announce: &v2::Announce) {
        let candidate = Candidate::from_announce(header, announce);
        let properties = TimeProperties {
            current_utc_offset: announce.current_utc_offset,
            time_source: Some(announce.time_source),
            flags: Some(header.flags),
        };
        if header.flags.alternate_master() {
            if let Some(port) = self.ports.get_mut(&candidate.sender) {
                port.alternate_offers += 1;
            }
            return;
        }
        self.offer(place, (candidate, header.sequence_id), properties, Kind::Announce);
    }

    fn sync_v1(&mut self, place: Place, header: &v1::Header, sync: &v1::SyncOrDelayReq) {
        let candidate = Candidate::from_v1_sync(header, sync);
        let properties =
            TimeProperties { current_utc_offset: sync.current_utc_offset, time_source: None, flags: None };
        self.offer(place, (candidate, header.sequence_id), properties, Kind::Sync);
        self.sync(candidate.sender, place.time, header.flags().assist());
    }

    fn offer(
        &mut self,
        place: Place,
        (candidate, sequence_id): (Candidate, u16),
        properties: TimeProperties,
        kind: Kind,
    ) {
        let is_v1 = self.key.is_v1();
        let qualifies_at_once = self.key.is_gptp();
        let Some(port) = self.ports.get_mut(&candidate.sender) else { return };
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
        let several_may_lead =
            may_have_several_leaders(self.key, &self.transports, port.marks.get(&kind).map(Box::as_ref));
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

    fn sync(&mut self, port: PortId, time: Option<CaptureTime>, two_step: bool) {
        if let Some(port) = self.ports.get_mut(&port) {
            port.two_step = Some(two_step);
            port.sync_came_by(self.way);
        }
        if time.is_some() {
            self.election.hear_sync(self.watched, port);
        }
    }

    /// Ends the reading at the capture's last instant.
    pub(super) fn finish(&mut self, end: CaptureTime, place: Place) {
        self.election.finish(Moment { time: end, place, watched: self.watched, way: self.way });
        let watched = self.watched.since(&Watched::default(), LONGEST_PAUSE);
        for requester in self.requesters.values_mut() {
            requester.finish(watched);
        }
        for port in self.ports.values_mut() {
            if let Some(samples) = &mut port.samples {
                self.journal.relate(port.port, samples.finish(end));
            }
        }
        for ((_, mechanism), requester) in &self.requesters {
            let answered = self.answered.entry(*mechanism).or_default();
            answered.all += requester.answered();
            answered.multicast += requester.answered_multicast();
            answered.aside += requester.answered_aside();
        }
        let told = changes::events_of(&self.election, &self.requesters, &self.unheard());
        self.events.extend(told);
        self.events.sort_by_key(|event| event.time);
        self.leading = Leading::of(self);
    }
}

/// Requests for delay.
fn asked(counts: &BTreeMap<Kind, u64>) -> u64 {
    [Kind::DelayReq, Kind::PdelayReq].iter().filter_map(|kind| counts.get(kind)).sum()
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
