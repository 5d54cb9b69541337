//! All domains of a capture.

use std::collections::BTreeMap;

use super::domain::Domain;
use super::domain::kind_v2;
use super::journal::JournalEntry;
use super::key::DomainKey;
use super::key::DomainName;
use super::sightings::Sightings;
use crate::observations::Observation;
use crate::observations::Place;
use crate::observations::Transport;
use crate::observations::Watched;
use crate::observations::What;
use crate::ptp;
use crate::units::CaptureTime;

/// Domains by key, fed in capture order.
#[derive(Debug, Clone, Default)]
pub struct Domains {
    domains: BTreeMap<DomainKey, Domain>,
    sightings: Sightings,
    keeps_journal: bool,
    journal: Vec<JournalEntry>,
}

impl Domains {
    /// Takes in an observation; one that is not a decoded PTP message changes nothing.
    ///
    /// `watched` is how long the network had been watched by then.
    pub fn push(&mut self, observation: &Observation, watched: &Watched) {
        let What::Ptp(message) = &observation.what else { return };
        let name = match message.as_ref() {
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
        let domain = self.domains.entry(key).or_insert_with(|| Domain::new(key, observation.place));
        domain.watched = *watched;
        domain.journal.is_kept = self.keeps_journal;
        match message.as_ref() {
            ptp::Message::V1(message) => domain.push_v1(observation, message),
            ptp::Message::V2(message) => {
                domain.push_v2(observation, message);
                let header = &message.header;
                let port = header.source_port_identity.into();
                let series = (name, port, kind_v2(header.message_type));
                self.sightings.record(series, message, observation.place, &observation.path);
            }
        }
        let noted = domain.journal.entries.drain(..);
        self.journal.extend(noted.map(|noted| JournalEntry { domain: key, noted }));
    }

    /// Keeps every message, sample and exchange from here on, until they are taken.
    pub const fn keep_journal(&mut self) {
        self.keeps_journal = true;
    }

    /// What was taken in since this was asked before, in order.
    pub fn take_journal(&mut self) -> Vec<JournalEntry> {
        std::mem::take(&mut self.journal)
    }

    /// Ends the reading at the capture's last instant, that of the frame at `place`.
    pub fn finish(&mut self, end: CaptureTime, place: Place, watched: &Watched) {
        for domain in self.domains.values_mut() {
            domain.watched = *watched;
            domain.finish(end, place);
            let (domain, noted) = (domain.key, domain.journal.entries.drain(..));
            self.journal.extend(noted.map(|noted| JournalEntry { domain, noted }));
        }
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
