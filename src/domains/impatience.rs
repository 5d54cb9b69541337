//! Clocks that give the leader up between its Announces, because they expect them oftener.

use super::announcer::Announcer;
use super::cadence::Cadence;
use super::domain::Domain;
use super::key::PortId;
use super::port::ClockPort;
use super::port::Kind;

/// Times that a clock must have begun and stopped (reference: 5 cycles; 5 spells have 4 pauses between them).
const PAUSES: u64 = 4;

/// A clock that waits for less than the leader's interval, with what shows it.
#[derive(Debug, Clone, Copy)]
pub struct Impatience<'a> {
    /// The clock that leads in between.
    pub announcer: &'a Announcer,
    /// Its Announces.
    pub own: &'a Cadence,
    /// The leader's port.
    pub leader: &'a ClockPort,
    /// The leader's Announces.
    pub theirs: &'a Cadence,
}

impl Domain {
    /// Whether `port` announces in spells, its receipt timeout being shorter than the interval that the leader
    /// declares. Never where numbers of either are missing: loss breaks up a series as well.
    #[must_use]
    pub fn impatience(&self, port: PortId) -> Option<Impatience<'_>> {
        let announcer =
            self.election.announcers().get(&port).filter(|announcer| announcer.pauses >= PAUSES)?;
        let leader = self.leading_port().filter(|leader| leader.port != port)?;
        let own = self.ports.get(&port)?.series(Kind::Announce)?;
        let theirs = leader.series(Kind::Announce)?;
        let whole = own.missed() == 0 && theirs.missed() == 0;
        let interval = theirs.declared_interval()?;
        let impatient = announcer.timeout() < interval;
        (whole && impatient).then_some(Impatience { announcer, own, leader, theirs })
    }
}
