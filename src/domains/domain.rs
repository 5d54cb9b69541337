//! One domain: its ports, its election, its requests, and what happened in it.

use std::collections::BTreeMap;
use std::collections::BTreeSet;

use super::announcer::ANNOUNCE_RECEIPT_TIMEOUT;
use super::announcer::Moment;
use super::by_kind::KindCounts;
use super::candidate::Candidate;
use super::changes;
use super::election::Election;
use super::event::Event;
use super::folding::Worth;
use super::journal::Journal;
use super::key::ClockId;
use super::key::DomainKey;
use super::key::PortId;
use super::leading::Leading;
use super::leases::Leases;
use super::port::ClockPort;
use super::port::Kind;
use super::requests::LONGEST_PAUSE;
use super::requests::Mechanism;
use super::requests::Requester;
use super::silences::Silence;
use super::tenure::EndedBy;
use super::tenure::Tenure;
use super::views::Views;
use crate::observations::Place;
use crate::observations::Transport;
use crate::observations::Watched;
use crate::observations::Way;
use crate::ptp::Note;
use crate::statistics::Distribution;
use crate::tables::Slots;
use crate::units::CaptureTime;

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
    pub counts: KindCounts,
    /// Transport of the latest message.
    pub(super) transport: Option<Transport>,
    /// Transports it was seen on.
    pub transports: BTreeSet<Transport>,
    /// Ports that sent in it.
    pub ports: Slots<PortId, ClockPort>,
    /// Its election.
    pub election: Election,
    /// Ports that asked for delay or were answered.
    pub requesters: Slots<(PortId, Mechanism), Requester>,
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
    pub(super) untold: u64,
    /// Who gives the time; known once the reading has ended.
    pub(super) leading: Leading,
}

impl Domain {
    pub(super) fn new(key: DomainKey, place: Place) -> Self {
        Self {
            key,
            watched: Watched::default(),
            way: Way::default(),
            counts: KindCounts::default(),
            transport: None,
            transports: BTreeSet::new(),
            ports: Slots::default(),
            election: Election::default(),
            requesters: Slots::default(),
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
        Worth::new(self.counts.sum(), self.heard)
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
        self.counts.of(kind)
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

    /// Ends the reading at the capture's last instant.
    pub(super) fn finish(&mut self, end: CaptureTime, place: Place, views: &Views) {
        self.election.finish(Moment { time: end, place, watched: self.watched, way: self.way }, views);
        let watched = self.watched.since(&Watched::default(), LONGEST_PAUSE);
        for requester in self.requesters.values_mut() {
            requester.finish(watched);
        }
        for port in self.ports.values_mut() {
            port.finish();
            if let Some(samples) = &mut port.samples {
                self.journal.relate(port.port, samples.finish(end));
            }
        }
        self.election.note_syncs(|tenure| sync_went_on(&self.ports, tenure));
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

/// Whether Syncs of a port that offered the clock went on for longer after its last Announce than that is waited for.
fn sync_went_on(ports: &Slots<PortId, ClockPort>, tenure: &Tenure) -> bool {
    let (EndedBy::AnnounceTimeout, Some(until)) = (tenure.ended_by, tenure.until) else { return false };
    ports.values().filter(|port| port.offers(tenure.clock)).any(|port| {
        let last = port.series(Kind::Sync).and_then(|syncs| syncs.last()?.time);
        let interval =
            port.series(Kind::Announce).and_then(|series| series.declared_interval().or(series.pace()));
        let Some((last, interval)) = last.zip(interval) else { return false };
        let waited = until.plus(interval.saturating_mul(ANNOUNCE_RECEIPT_TIMEOUT));
        let falls_in = |pause: &Silence| {
            pause.before.time.is_none_or(|before| before < waited)
                && pause.after.time.is_none_or(|after| after > until)
        };
        last > waited && !port.silences(Kind::Sync).iter().any(falls_in)
    })
}
