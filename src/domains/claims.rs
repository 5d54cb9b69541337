//! What clocks say of themselves in management answers. A claim is no measurement.

use super::candidate::Candidate;
use super::candidate::DataSet;
use super::candidate::DataSetV2;
use super::key::ClockId;
use super::key::PortId;
use crate::observations::Place;
use crate::ptp::v2;
use crate::ptp::v2::management::CurrentDataSet;
use crate::ptp::v2::management::ManagementData;
use crate::ptp::v2::management::PortState;

/// The latest claims of one port.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Claims {
    /// Its clock as a candidate, from DEFAULT_DATA_SET; `None` where it is follower-only.
    pub candidate: Option<Candidate>,
    /// `portState` from PORT_DATA_SET, and the frame of it.
    pub port_state: Option<(PortState, Place)>,
    /// CURRENT_DATA_SET, and the frame of it.
    pub current: Option<(CurrentDataSet, Place)>,
}

impl Claims {
    /// Takes in what a RESPONSE of `sender` carries.
    pub(super) fn hear(&mut self, sender: PortId, place: Place, message: &v2::Message) {
        for tlv in &message.tlvs {
            let v2::Tlv::Management(management) = tlv else { continue };
            match &management.data {
                ManagementData::DefaultDataSet(set) => {
                    let data = DataSet::V2(DataSetV2 {
                        priority1: set.priority1,
                        clock_class: set.clock_quality.clock_class,
                        clock_accuracy: set.clock_quality.clock_accuracy,
                        variance: set.clock_quality.offset_scaled_log_variance,
                        priority2: set.priority2,
                    });
                    let grandmaster = ClockId::V2(set.clock_identity);
                    let candidate = Candidate { grandmaster, data, steps_removed: 0, sender };
                    self.candidate = (!set.slave_only).then_some(candidate);
                }
                ManagementData::PortDataSet(set) => self.port_state = Some((set.port_state, place)),
                ManagementData::CurrentDataSet(set) => self.current = Some((*set, place)),
                _ => {}
            }
        }
    }
}
