//! TLVs: what follows the fixed body (1588-2008 clause 14, 1588-2019 clause 14, from memory).
//!
//! Each is `tlvType`, `lengthField` and that many octets. The walk goes by `lengthField` alone; a value longer
//! than its known layout is decoded as far as that goes, a shorter one is kept as type and length, and either is noted.

mod alternate_time_offset;
mod authentication;
mod enhanced_accuracy;
pub mod gptp;
pub mod interface_rate;
mod organization;
mod path_trace;
pub mod power_profile;
mod slave_event_monitoring;
pub mod synchronization_metadata;
#[cfg(test)]
mod testing;
mod text;
pub mod types;
mod unicast;
mod walk;

pub use alternate_time_offset::AlternateTimeOffset;
pub use authentication::Authentication;
pub use enhanced_accuracy::{EnhancedAccuracyMetrics, Float64, Inaccuracy};
pub use organization::{OrganizationContent, OrganizationExtension, Propagation};
pub use path_trace::PathTrace;
pub use slave_event_monitoring::{
    SlaveRxSyncComputedData, SlaveRxSyncTimingData, SyncComputedRecord, SyncTimingRecord,
};
pub use synchronization_metadata::SynchronizationMetadata;
pub use types::tlv_name;
pub use unicast::{UnicastCancel, UnicastGrant, UnicastRequest};

pub(super) use walk::decode_all;

use super::body::Action;
use super::management;
use super::management::ErrorStatus;
use super::management::ManagementTlv;
use crate::bytes::Cursor;
use crate::bytes::DecodeError;
use crate::ptp::Note;

/// One TLV.
#[derive(Debug, Clone, PartialEq)]
pub enum Tlv {
    /// MANAGEMENT, in a Management message.
    Management(ManagementTlv),
    /// MANAGEMENT_ERROR_STATUS, in a Management message.
    ManagementErrorStatus(ErrorStatus),
    /// ORGANIZATION_EXTENSION and its two kin.
    Organization(OrganizationExtension),
    /// REQUEST_UNICAST_TRANSMISSION.
    RequestUnicastTransmission(UnicastRequest),
    /// GRANT_UNICAST_TRANSMISSION.
    GrantUnicastTransmission(UnicastGrant),
    /// CANCEL_UNICAST_TRANSMISSION.
    CancelUnicastTransmission(UnicastCancel),
    /// ACKNOWLEDGE_CANCEL_UNICAST_TRANSMISSION.
    AcknowledgeCancelUnicastTransmission(UnicastCancel),
    /// PATH_TRACE.
    PathTrace(PathTrace),
    /// ALTERNATE_TIME_OFFSET_INDICATOR.
    AlternateTimeOffsetIndicator(AlternateTimeOffset),
    /// ENHANCED_ACCURACY_METRICS.
    EnhancedAccuracyMetrics(EnhancedAccuracyMetrics),
    /// SLAVE_RX_SYNC_TIMING_DATA.
    SlaveRxSyncTimingData(SlaveRxSyncTimingData),
    /// SLAVE_RX_SYNC_COMPUTED_DATA.
    SlaveRxSyncComputedData(SlaveRxSyncComputedData),
    /// PAD: octets to ignore.
    Pad {
        /// `lengthField`.
        length: u16,
    },
    /// AUTHENTICATION of 2019.
    Authentication(Authentication),
    /// A type without a layout here, or with too few octets for it.
    Other {
        /// `tlvType`.
        tlv_type: u16,
        /// `lengthField`.
        length: u16,
    },
}

impl Tlv {
    /// The SMPTE ST 2059-2 synchronization metadata, if this is that.
    #[must_use]
    pub const fn synchronization_metadata(&self) -> Option<SynchronizationMetadata> {
        match self {
            Self::Organization(OrganizationExtension {
                content: OrganizationContent::SynchronizationMetadata(metadata),
                ..
            }) => Some(*metadata),
            _ => None,
        }
    }

    /// `tlvType`.
    #[must_use]
    pub const fn tlv_type(&self) -> u16 {
        match self {
            Self::Management(_) => types::MANAGEMENT,
            Self::ManagementErrorStatus(_) => types::MANAGEMENT_ERROR_STATUS,
            Self::Organization(extension) => extension.propagation.tlv_type(),
            Self::RequestUnicastTransmission(_) => types::REQUEST_UNICAST_TRANSMISSION,
            Self::GrantUnicastTransmission(_) => types::GRANT_UNICAST_TRANSMISSION,
            Self::CancelUnicastTransmission(_) => types::CANCEL_UNICAST_TRANSMISSION,
            Self::AcknowledgeCancelUnicastTransmission(_) => types::ACKNOWLEDGE_CANCEL_UNICAST_TRANSMISSION,
            Self::PathTrace(_) => types::PATH_TRACE,
            Self::AlternateTimeOffsetIndicator(_) => types::ALTERNATE_TIME_OFFSET_INDICATOR,
            Self::EnhancedAccuracyMetrics(_) => types::ENHANCED_ACCURACY_METRICS,
            Self::SlaveRxSyncTimingData(_) => types::SLAVE_RX_SYNC_TIMING_DATA,
            Self::SlaveRxSyncComputedData(_) => types::SLAVE_RX_SYNC_COMPUTED_DATA,
            Self::Pad { .. } => types::PAD,
            Self::Authentication(_) => types::AUTHENTICATION,
            Self::Other { tlv_type, .. } => *tlv_type,
        }
    }

    /// Decodes one value; `action` is that of the Management message it is in, if it is in one.
    fn decode(
        tlv_type: u16,
        length: u16,
        value: &[u8],
        action: Option<Action>,
        notes: &mut Vec<Note>,
    ) -> Self {
        let other = Self::Other { tlv_type, length };
        match (tlv_type, action) {
            (types::MANAGEMENT, Some(action)) => {
                return Self::Management(management::decode(action.nibble(), value, notes));
            }
            (types::MANAGEMENT_ERROR_STATUS, Some(_)) => {
                return management::decode_error_status(value, notes)
                    .map_or(other, Self::ManagementErrorStatus);
            }
            _ => {}
        }
        let mut cursor = Cursor::new(value);
        match Self::decode_value(tlv_type, length, &mut cursor, notes) {
            Ok(tlv) => {
                let extra_octets = cursor.rest().len();
                if extra_octets > 0 {
                    notes.push(Note::TlvExtended { tlv_type, extra_octets });
                }
                tlv
            }
            Err(_) => {
                notes.push(Note::TlvTooShort { tlv_type, length });
                other
            }
        }
    }

    fn decode_value(
        tlv_type: u16,
        length: u16,
        cursor: &mut Cursor<'_>,
        notes: &mut Vec<Note>,
    ) -> Result<Self, DecodeError> {
        Ok(match tlv_type {
            types::ORGANIZATION_EXTENSION => {
                Self::organization(cursor, Propagation::Unspecified, length, notes)?
            }
            types::ORGANIZATION_EXTENSION_PROPAGATE => {
                Self::organization(cursor, Propagation::Propagate, length, notes)?
            }
            types::ORGANIZATION_EXTENSION_DO_NOT_PROPAGATE => {
                Self::organization(cursor, Propagation::DoNotPropagate, length, notes)?
            }
            types::REQUEST_UNICAST_TRANSMISSION => {
                Self::RequestUnicastTransmission(UnicastRequest::decode(cursor)?)
            }
            types::GRANT_UNICAST_TRANSMISSION => {
                Self::GrantUnicastTransmission(UnicastGrant::decode(cursor)?)
            }
            types::CANCEL_UNICAST_TRANSMISSION => {
                Self::CancelUnicastTransmission(UnicastCancel::decode(cursor)?)
            }
            types::ACKNOWLEDGE_CANCEL_UNICAST_TRANSMISSION => {
                Self::AcknowledgeCancelUnicastTransmission(UnicastCancel::decode(cursor)?)
            }
            types::PATH_TRACE => Self::PathTrace(PathTrace::decode(cursor)?),
            types::ALTERNATE_TIME_OFFSET_INDICATOR => {
                Self::AlternateTimeOffsetIndicator(AlternateTimeOffset::decode(cursor)?)
            }
            types::ENHANCED_ACCURACY_METRICS => {
                Self::EnhancedAccuracyMetrics(EnhancedAccuracyMetrics::decode(cursor)?)
            }
            types::SLAVE_RX_SYNC_TIMING_DATA => {
                Self::SlaveRxSyncTimingData(SlaveRxSyncTimingData::decode(cursor, notes)?)
            }
            types::SLAVE_RX_SYNC_COMPUTED_DATA => {
                Self::SlaveRxSyncComputedData(SlaveRxSyncComputedData::decode(cursor)?)
            }
            types::AUTHENTICATION => Self::Authentication(Authentication::decode(cursor)?),
            types::PAD => {
                cursor.skip("pad", cursor.rest().len())?;
                Self::Pad { length }
            }
            _ => {
                cursor.skip("value", cursor.rest().len())?;
                Self::Other { tlv_type, length }
            }
        })
    }

    fn organization(
        cursor: &mut Cursor<'_>,
        propagation: Propagation,
        length: u16,
        notes: &mut Vec<Note>,
    ) -> Result<Self, DecodeError> {
        let decoded = OrganizationExtension::decode(cursor, propagation)?;
        if decoded.is_too_short {
            notes.push(Note::TlvTooShort { tlv_type: propagation.tlv_type(), length });
        }
        Ok(Self::Organization(decoded.extension))
    }
}
