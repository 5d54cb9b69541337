//! The noise of one clock's Syncs beside another's at the same place: what is common to both is the capture's own.

use crate::analysis::Analysis;
use crate::domains::ClockPort;
use crate::domains::DomainKey;
use crate::domains::PortId;
use crate::statistics::Summary;
use crate::units::Nanos;

/// Syncs of each before their noise is compared (reference: 200).
const SYNCS: u64 = 200;

/// How many times the steadier one's noise the other's must be (chosen).
const BEYOND: i64 = 4;

/// How much the one-way delay changes from Sync to Sync, for a port and for the steadiest other.
#[derive(Debug, Clone, Copy)]
pub(in crate::findings) struct Noise {
    /// The port's.
    pub(in crate::findings) own: Summary,
    /// That of the steadiest port of another clock, if one is in view.
    pub(in crate::findings) steadiest: Option<(PortId, Summary)>,
}

impl Noise {
    /// Whether one value is beyond the other by far.
    pub(in crate::findings) const fn is_beyond(&self, own: Nanos, theirs: Nanos) -> bool {
        own.0 > theirs.0.saturating_mul(BEYOND)
    }
}

/// The noise of a port; `None` for too few Syncs.
pub(in crate::findings) fn noise(analysis: &Analysis, key: DomainKey, port: PortId) -> Option<Noise> {
    let own = jitter(analysis.domains.get(&key)?.ports.get(&port)?)?;
    let others = analysis.domains.iter().flat_map(|domain| domain.ports.values());
    let others = others.filter(|other| {
        let same_mac = other.port.clock.mac().is_some() && other.port.clock.mac() == port.clock.mac();
        other.port.clock != port.clock && !same_mac
    });
    let steadiest = others
        .filter_map(|other| Some((other.port, jitter(other)?)))
        .min_by_key(|(other, summary)| (summary.median, summary.p95, *other));
    Some(Noise { own, steadiest })
}

fn jitter(port: &ClockPort) -> Option<Summary> {
    let samples = port.samples.as_deref()?;
    samples.jitter().summary().filter(|summary| summary.count >= SYNCS)
}
