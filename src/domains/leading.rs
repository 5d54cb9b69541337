//! Who gives a domain its time and how it is asked for, worked out once when the reading ends: many ask.

use std::collections::BTreeSet;

use super::domain::Domain;
use super::key::ClockId;
use super::key::PortId;
use super::port::ClockPort;
use super::requests::Mechanism;
use crate::units::MacAddress;

/// How many ports ask a group for delay, and how many one receiver.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Asks {
    /// A group.
    pub groups: usize,
    /// One receiver, or nobody knows whom, as only the answers are in view.
    pub alone: usize,
}

/// What is known of the leader's ports, and of those that ask.
#[derive(Debug, Clone, Default)]
pub(super) struct Leading {
    /// The ports that offer the leader, by port.
    offering: Vec<PortId>,
    /// The addresses of those, and of the leader's own ports.
    macs: BTreeSet<MacAddress>,
    asks: Asks,
    /// Whether one of those addresses asks for peer delay.
    asks_peers: bool,
    /// The clocks that ask, or are answered.
    askers: BTreeSet<ClockId>,
    asker_macs: BTreeSet<MacAddress>,
}

impl Leading {
    pub(super) fn of(domain: &Domain) -> Self {
        let mut leading = Self::default();
        if let Some(leader) = domain.election.leader() {
            for (id, port) in &domain.ports {
                let offers = port.offer.is_some_and(|offer| offer.grandmaster == leader);
                if offers {
                    leading.offering.push(*id);
                }
                if offers || id.clock == leader {
                    leading.macs.extend(port.addresses.keys().filter_map(|address| address.mac));
                }
            }
        }
        for ((port, mechanism), requester) in &domain.requesters {
            leading.askers.insert(port.clock);
            leading.asker_macs.extend(port.clock.mac());
            if *mechanism == Mechanism::PeerToPeer {
                let asks = requester.seen() > 0;
                leading.asks_peers |= asks && domain.macs_of(*port).any(|mac| leading.macs.contains(&mac));
                continue;
            }
            let is_alone = if requester.seen() > 0 {
                !requester.asks_a_group()
            } else {
                requester.unseen_requests() > 0
            };
            leading.asks.alone += usize::from(is_alone);
            leading.asks.groups += usize::from(!is_alone && requester.seen() > 0);
        }
        leading
    }
}

impl Domain {
    /// The ports that offer the elected leader, by port; none until the reading has ended.
    pub fn leading_ports(&self) -> impl Iterator<Item = &ClockPort> {
        self.leading.offering.iter().filter_map(|port| self.ports.get(port))
    }

    /// The port that offers the leader with the fewest steps.
    #[must_use]
    pub fn leading_port(&self) -> Option<&ClockPort> {
        let offers = self.leading_ports().filter_map(|port| Some((port.offer?.steps_removed, port)));
        offers.min_by_key(|(steps, port)| (*steps, port.port)).map(|(_, port)| port)
    }

    /// The MAC addresses of the ports that offer the leader, and of its own; none until the reading has ended.
    #[must_use]
    pub const fn leader_macs(&self) -> &BTreeSet<MacAddress> {
        &self.leading.macs
    }

    /// How those ask that ask for delay from end to end; nobody until the reading has ended.
    #[must_use]
    pub const fn asks(&self) -> Asks {
        self.leading.asks
    }

    /// Whether one of the leader's addresses asks its neighbour for delay.
    #[must_use]
    pub const fn leader_asks_peers(&self) -> bool {
        self.leading.asks_peers
    }

    /// Whether `clock`, or another of the same MAC address, asks here or is answered.
    #[must_use]
    pub fn is_asked_by(&self, clock: ClockId) -> bool {
        let Leading { askers, asker_macs, .. } = &self.leading;
        askers.contains(&clock) || clock.mac().is_some_and(|mac| asker_macs.contains(&mac))
    }

    /// The MAC addresses that a port sent from.
    pub fn macs_of(&self, port: PortId) -> impl Iterator<Item = MacAddress> {
        let sent = self.ports.get(&port).into_iter().flat_map(|sent| sent.addresses.keys());
        sent.filter_map(|address| address.mac)
    }
}
