//! Who gives a domain its time and how it is asked for, worked out once when the reading ends: many ask.

use std::collections::BTreeSet;

use super::domain::Domain;
use super::key::ClockId;
use super::key::PortId;
use super::port::ClockPort;
use super::port::Kind;
use super::requests::Mechanism;
use crate::units::MacAddress;

/// More missing than one in so many is much (chosen: 5 %).
const MUCH: u64 = 20;

/// Syncs from which the share that is missing is known (chosen).
const FEW_SYNCS: u64 = 20;

/// Messages in a row that are lost by chance no more often than once in so many times show something (chosen).
const ONCE_IN: u128 = 100_000;

/// Whether `in_a_row` messages that did not come were lost by chance no more often than once in 10⁵, where `missing` of
/// `all` others are.
#[must_use]
pub fn is_beyond_chance(in_a_row: u64, (missing, all): (u64, u64)) -> bool {
    const ONE: u128 = 1 << 60;
    let mut chance = ONE;
    for _ in 0..in_a_row {
        chance = (chance * u128::from(missing)).checked_div(u128::from(all)).unwrap_or(0);
        if chance <= ONE / ONCE_IN {
            return true;
        }
        if missing >= all {
            return false;
        }
    }
    false
}

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
                let offers = port.offers(leader);
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

    /// How many of the numbers of a clock's Syncs are missing, and how many there were; of its Announces where it sent few
    /// Syncs.
    #[must_use]
    pub fn missing_of(&self, clock: ClockId) -> (u64, u64) {
        let of_kind = |kind: Kind| {
            let offering = self.ports.values().filter(|port| port.offers(clock));
            let series = offering.filter_map(|port| port.series(kind));
            series.fold((0, 0), |(missing, all), series| {
                (missing + series.missed(), all + series.missed() + series.count())
            })
        };
        let syncs = of_kind(Kind::Sync);
        if syncs.1 >= FEW_SYNCS { syncs } else { of_kind(Kind::Announce) }
    }

    /// Whether the leader's numbers show that the capture, or the way to it, lost more than one message in so many.
    #[must_use]
    pub fn loses_much(&self) -> bool {
        let missing = self.election.leader().map(|leader| self.missing_of(leader));
        missing.is_some_and(|(missing, all)| missing.saturating_mul(MUCH) > all)
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_beyond_chance_takes_more_where_more_is_missing() {
        let first = |missing: u64| (0..200).find(|n| is_beyond_chance(*n, (missing, 100)));
        assert_eq!([first(0), first(1), first(10), first(50)], [Some(1), Some(3), Some(5), Some(17)]);
        assert_eq!((first(100), is_beyond_chance(9, (0, 0))), (None, true));
    }
}
