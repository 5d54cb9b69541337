//! What several rules ask of the clock that leads.

use crate::analysis::Analysis;
use crate::devices::State;
use crate::domains::Candidate;
use crate::domains::ClockPort;
use crate::domains::DataSet;
use crate::domains::DataSetV2;
use crate::domains::Domain;
use crate::domains::Kind;
use crate::domains::TimeProperties;
use crate::observations::Place;
use crate::ptp::v2;

/// Announces from which what they say is no stray message (reference: 3).
pub(in crate::findings) const ANNOUNCES: u64 = 3;

/// `clockClass` from which a clock has no reference, not even one lost a while ago (1588-2008 Table 5, from memory).
pub(in crate::findings) const WITHOUT_REFERENCE: u8 = 187;

/// The leading v2 port, its data, its time properties and their flags, where enough Announces were seen and the leader
/// is no stray in a domain of its own (which is another rule's matter).
pub(in crate::findings) fn leading_data<'a>(
    analysis: &Analysis,
    domain: &'a Domain,
) -> Option<(&'a ClockPort, DataSetV2, TimeProperties, v2::Flags)> {
    let port = domain.leading_port()?;
    let data = v2_data(&port.offer?)?;
    let properties = port.time_properties?;
    let stray = analysis.device_of(port.port.clock).is_some_and(|device| device.state == State::Astray);
    if stray || port.count(Kind::Announce) < ANNOUNCES {
        return None;
    }
    Some((port, data, properties, properties.flags?))
}

/// The v2 data of an offer.
pub(in crate::findings) const fn v2_data(candidate: &Candidate) -> Option<DataSetV2> {
    match candidate.data {
        DataSet::V2(data) => Some(data),
        DataSet::V1(_) => None,
    }
}

/// The latest Announce of a port.
pub(in crate::findings) fn last_announce(port: &ClockPort) -> Option<Place> {
    port.series(Kind::Announce).and_then(crate::domains::Cadence::last)
}

/// `clockClass` of a clock on a reference, or within its holdover specification (1588-2008 Table 5, from memory).
pub(in crate::findings) const fn has_reference(clock_class: u8) -> bool {
    matches!(clock_class, 6 | 7 | 13 | 14)
}
