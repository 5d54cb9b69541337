//! Peer delay for the report: turnaround, link delay and rate of each responder.

use super::path::Rate;
use crate::domains::Domain;
use crate::domains::PeerSamples;
use crate::domains::PortId;
use crate::statistics::OrderStatistics;
use crate::statistics::Point;
use crate::statistics::order_statistics;
use crate::statistics::without_slope;
use crate::timing::ScaledNanos;
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
    /// Delay between the capture point and it, 2⁻¹⁶ ns; its rate against the capture's clock is taken into account where
    /// it is seen.
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
            let rate = Rate::of(samples.origin().points(), resolution);
            Some(Self {
                port: port.port,
                exchanges: samples.exchanges(),
                turnaround: samples.turnaround().order_statistics(),
                link_delay: match rate.filter(Rate::is_significant) {
                    Some(rate) => stretched(samples, rate),
                    None => samples.link_delay().order_statistics(),
                },
                rate,
            })
        });
        peers.collect()
    }
}

/// The link delays with the round trip stretched to the responder's clock, as ((t4 − t1) · r − turnaround) / 2 wants it
/// (IEEE 802.1AS, from memory): what was taken with r = 1 lacks half the rate's share of the round trip. At 20 ppm and a
/// turnaround of 3 ms that is 30 ns.
fn stretched(samples: &PeerSamples, rate: Rate) -> Option<OrderStatistics<i128>> {
    // Both series took in the same exchanges in the same order, so they are thinned alike.
    let pairs = samples.link_delay().points().iter().zip(samples.turnaround().points());
    let by_round_trip = pairs.filter_map(|(delay, turnaround)| {
        let twice = delay.value_scaled_ns.saturating_mul(2);
        let round_trip = ScaledNanos(twice.saturating_add(turnaround.value_scaled_ns)).nanos()?;
        Some(Point { time_ns: round_trip.0, value_scaled_ns: delay.value_scaled_ns })
    });
    // Taking a slope out of delays over round trips, from a round trip of nothing on, is just that.
    let nothing = Point { time_ns: 0, value_scaled_ns: 0 };
    let points: Vec<Point> = std::iter::once(nothing).chain(by_round_trip).collect();
    let flat = without_slope(&points, -rate.ppm / 2.0);
    order_statistics(&flat.iter().skip(1).map(|point| point.value_scaled_ns).collect::<Vec<_>>())
}
