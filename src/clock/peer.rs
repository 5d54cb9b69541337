//! Peer delay for the report: turnaround, link delay and rate of each responder.

use super::path::Rate;
use crate::domains::Domain;
use crate::domains::PortId;
use crate::statistics::OrderStatistics;
use crate::units::Nanos;

/// A port that answers peer-delay requests, as the capture point sees it.
#[derive(Debug, Clone, PartialEq)]
pub struct Peer {
    /// The port.
    pub port: PortId,
    /// Answered requests.
    pub exchanges: u64,
    /// How long it held an exchange, by its own clock, 2⁻¹⁶ ns.
    pub turnaround: Option<OrderStatistics<i128>>,
    /// Delay between the capture point and it, 2⁻¹⁶ ns.
    pub link_delay: Option<OrderStatistics<i128>>,
    /// Its clock's rate against the capture's.
    pub rate: Option<Rate>,
}

impl Peer {
    /// The responders of a domain, by port.
    #[must_use]
    pub fn all(domain: &Domain, resolution: Nanos) -> Vec<Self> {
        let peers = domain.ports.values().filter_map(|port| {
            let samples = port.peer.as_deref()?;
            Some(Self {
                port: port.port,
                exchanges: samples.exchanges(),
                turnaround: samples.turnaround().order_statistics(),
                link_delay: samples.link_delay().order_statistics(),
                rate: Rate::of(samples.origin().points(), resolution),
            })
        });
        peers.collect()
    }
}
