//! All domains of a capture.

use std::collections::BTreeMap;

use super::domain::Domain;
use super::domain::Size;
use super::folding::DOMAINS_KEPT;
use super::folding::EVENTS_KEPT;
use super::folding::LeftOut;
use super::folding::PART;
use super::folding::PORTS_KEPT;
use super::folding::REQUESTERS_KEPT;
use super::folding::TENURES_KEPT;
use super::folding::cheapest;
use super::folding::number;
use super::journal::JournalEntry;
use super::key::DomainKey;
use super::key::DomainName;
use super::sightings::Sightings;
use super::views::Views;
use crate::observations::Observation;
use crate::observations::Place;
use crate::observations::Transport;
use crate::observations::Watched;
use crate::observations::What;
use crate::ptp;
use crate::tables::Slots;
use crate::units::CaptureTime;

/// Domains by key, fed in capture order. Memory: as many entries as the limits of folding let there be.
#[derive(Debug, Clone, Default)]
pub struct Domains {
    domains: Slots<DomainKey, Domain>,
    /// That of the latest message, and its number.
    latest: Option<(DomainKey, u32)>,
    sightings: Sightings,
    /// Messages so far.
    heard: u64,
    /// Of all domains together.
    size: Size,
    left_out: LeftOut,
    keeps_journal: bool,
    journal: Vec<JournalEntry>,
}

impl Domains {
    /// Takes in an observation; one that is not a decoded PTP message changes nothing.
    ///
    /// `watched` is how long the network had been watched by then.
    pub fn push(&mut self, observation: &Observation, watched: &Watched) {
        let What::Ptp(message) = &observation.what else { return };
        let name = match message {
            ptp::Message::V1(message) => DomainName::Subdomain(message.header.subdomain),
            ptp::Message::V2(message) => {
                let sdo_id = message.header.sdo_id();
                // Bit 0 of majorSdoId over UDP asks for 124-octet events for old hardware and is not gPTP
                // (1588-2008 D.4, from memory).
                let over_ip = observation.path.transport != Transport::Ethernet;
                let sdo_id = if over_ip { sdo_id & !0x100 } else { sdo_id };
                DomainName::Number { sdo_id, number: message.header.domain_number }
            }
        };
        let key = DomainKey { name, vlan: observation.path.vlan };
        let number = self.number(key, observation.place);
        self.heard += 1;
        let Some(domain) = self.domains.at_mut(number) else { return };
        let before = domain.size();
        domain.watched = *watched;
        domain.heard = self.heard;
        domain.journal.is_kept = self.keeps_journal;
        match message {
            ptp::Message::V1(message) => domain.push_v1(observation, message),
            ptp::Message::V2(message) => {
                let at = domain.push_v2(observation, message);
                if let Some(sender) = domain.ports.at_mut(at) {
                    self.sightings.record(name, sender, message, observation.place, &observation.path);
                }
            }
        }
        if self.keeps_journal {
            let noted = domain.journal.entries.drain(..);
            self.journal.extend(noted.map(|noted| JournalEntry { domain: key, noted }));
        }
        let after = domain.size();
        if after != before {
            self.size = self.size.with(after).without(before);
        }
        self.make_room(key);
    }

    /// The number of a domain, made where there is none.
    fn number(&mut self, key: DomainKey, place: Place) -> u32 {
        if let Some((_, number)) = self.latest.filter(|(latest, _)| *latest == key) {
            return number;
        }
        if self.domains.len() >= DOMAINS_KEPT && !self.domains.contains_key(&key) {
            self.fold_domains();
        }
        let number = self.domains.number(key, || Domain::new(key, place));
        self.latest = Some((key, number));
        number
    }

    /// Sums up what is too much after a message in the domain `key`.
    fn make_room(&mut self, key: DomainKey) {
        if self.size.ports > PORTS_KEPT {
            self.fold_ports();
        }
        if self.size.requesters > REQUESTERS_KEPT {
            self.fold_requesters();
        }
        if self.size.tenures > TENURES_KEPT {
            self.forget_tenures();
        }
        if self.size.events > EVENTS_KEPT
            && let Some(domain) = self.domains.get_mut(&key)
        {
            let events = domain.forget_latest_event();
            self.size.events = self.size.events.saturating_sub(events);
            self.left_out.events += number(events);
        }
    }

    fn fold_domains(&mut self) {
        let entries = self.domains.values().map(|domain| (domain.worth(), domain.key));
        for key in cheapest(entries, DOMAINS_KEPT / PART) {
            let Some(domain) = self.domains.remove(&key) else { continue };
            let Size { ports, requesters, tenures, events } = domain.size();
            self.size = self.size.without(domain.size());
            self.left_out.domains += 1;
            self.left_out.ports += number(ports);
            self.left_out.requesters += number(requesters);
            self.left_out.events += number(tenures) + number(events) + domain.untold();
            self.left_out.offers += domain.election.offers_left_out();
            let messages = domain.ports.values().map(super::ClockPort::messages);
            self.left_out.messages += messages.sum::<u64>();
        }
    }

    fn fold_ports(&mut self) {
        let entries = self
            .domains
            .values()
            .flat_map(|domain| domain.ports.iter().map(|(port, sent)| (sent.worth(), (domain.key, *port))));
        for (key, port) in cheapest(entries, PORTS_KEPT / PART) {
            let gone = self.domains.get_mut(&key).and_then(|domain| domain.ports.remove(&port));
            if let Some(gone) = gone {
                self.size.ports = self.size.ports.saturating_sub(1);
                self.left_out.ports += 1;
                self.left_out.messages += gone.messages();
            }
        }
    }

    fn fold_requesters(&mut self) {
        let entries = self.domains.values().flat_map(|domain| {
            domain.requesters.iter().map(|(asker, asked)| (asked.worth(), (domain.key, *asker)))
        });
        for (key, asker) in cheapest(entries, REQUESTERS_KEPT / PART) {
            let gone = self.domains.get_mut(&key).and_then(|domain| domain.requesters.remove(&asker));
            if let Some(gone) = gone {
                self.size.requesters = self.size.requesters.saturating_sub(1);
                self.left_out.requesters += 1;
                self.left_out.events += gone.untold() + number(gone.outages().len());
            }
        }
        self.forget_asks();
    }

    /// Lets no port know any more where its requests are kept.
    fn forget_asks(&mut self) {
        for domain in self.domains.values_mut() {
            for port in domain.ports.values_mut() {
                port.asks = [None; 2];
            }
        }
    }

    /// Forgets the older half of the ended leads of the domain that has most of them.
    fn forget_tenures(&mut self) {
        let most = self.domains.values_mut().max_by_key(|domain| domain.election.ended());
        let forgotten = most.map_or(0, |domain| domain.election.forget_older_half());
        self.size.tenures = self.size.tenures.saturating_sub(forgotten);
        self.left_out.events += number(forgotten);
    }

    /// Keeps every message, sample and exchange from here on, until they are taken.
    pub const fn keep_journal(&mut self) {
        self.keeps_journal = true;
    }

    /// What was taken in since this was asked before, in order.
    pub fn take_journal(&mut self) -> Vec<JournalEntry> {
        std::mem::take(&mut self.journal)
    }

    /// Ends the reading at the capture's last instant, that of the frame at `place`; `views` say when each file ends.
    pub fn finish(&mut self, end: CaptureTime, place: Place, watched: &Watched, views: &Views) {
        for domain in self.domains.values_mut() {
            domain.watched = *watched;
            domain.finish(end, place, views);
            let (domain, noted) = (domain.key, domain.journal.entries.drain(..));
            self.journal.extend(noted.map(|noted| JournalEntry { domain, noted }));
        }
        self.forget_last_events();
    }

    /// Keeps the first events of all domains, once what tenures, rivalries and outages amount to is among them.
    fn forget_last_events(&mut self) {
        let all: usize = self.domains.values().map(|domain| domain.events.len()).sum();
        if all <= EVENTS_KEPT {
            return;
        }
        let mut times: Vec<(CaptureTime, DomainKey)> = self
            .domains
            .values()
            .flat_map(|domain| domain.events.iter().map(|event| (event.time, domain.key)))
            .collect();
        times.sort_unstable();
        times.truncate(EVENTS_KEPT);
        let mut kept: BTreeMap<DomainKey, usize> = BTreeMap::new();
        for (_, key) in times {
            *kept.entry(key).or_default() += 1;
        }
        for domain in self.domains.values_mut() {
            domain.events.truncate(kept.get(&domain.key).copied().unwrap_or_default());
        }
        self.left_out.events += number(all.saturating_sub(EVENTS_KEPT));
    }

    /// What found no room.
    #[must_use]
    pub fn left_out(&self) -> LeftOut {
        let mut left_out = self.left_out;
        for domain in self.domains.values() {
            left_out.offers += domain.election.offers_left_out();
            left_out.events += domain.untold();
        }
        left_out
    }

    /// What was captured twice with other marks.
    #[must_use]
    pub const fn sightings(&self) -> &Sightings {
        &self.sightings
    }

    /// The domains in key order.
    pub fn iter(&self) -> impl Iterator<Item = &Domain> {
        self.domains.values()
    }

    /// One domain.
    #[must_use]
    pub fn get(&self, key: &DomainKey) -> Option<&Domain> {
        self.domains.get(key)
    }

    /// Whether there is none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.domains.is_empty()
    }
}
