//! ORGANIZATION_EXTENSION and its two 2019 kin (1588-2008 14.3, 1588-2019 14.3, from memory; layout checked against
//! an open-source implementation).

use super::gptp;
use super::gptp::FollowUpInformation;
use super::gptp::GptpCapable;
use super::gptp::MessageIntervalRequest;
use super::interface_rate;
use super::interface_rate::InterfaceRate;
use super::power_profile;
use super::power_profile::PowerProfile2011;
use super::power_profile::PowerProfile2017;
use super::synchronization_metadata;
use super::synchronization_metadata::SynchronizationMetadata;
use super::types;
use crate::bytes::Cursor;
use crate::bytes::DecodeError;

/// A TLV whose layout an organization defines.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct OrganizationExtension {
    /// Which of the three types carries it.
    pub propagation: Propagation,
    /// `organizationId`.
    pub organization_id: [u8; 3],
    /// `organizationSubType`.
    pub organization_sub_type: [u8; 3],
    /// What follows.
    pub content: OrganizationContent,
}

/// The three `tlvType`s of organization extensions.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Propagation {
    /// ORGANIZATION_EXTENSION: nothing said.
    Unspecified,
    /// ORGANIZATION_EXTENSION_PROPAGATE.
    Propagate,
    /// ORGANIZATION_EXTENSION_DO_NOT_PROPAGATE.
    DoNotPropagate,
}

/// The extensions known here.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OrganizationContent {
    /// 802.1AS Follow_Up information.
    FollowUpInformation(FollowUpInformation),
    /// 802.1AS message interval request.
    MessageIntervalRequest(MessageIntervalRequest),
    /// 802.1AS gPTP-capable.
    GptpCapable(GptpCapable),
    /// ST 2059-2 synchronization metadata.
    SynchronizationMetadata(SynchronizationMetadata),
    /// C37.238-2011.
    PowerProfile2011(PowerProfile2011),
    /// C37.238-2017.
    PowerProfile2017(PowerProfile2017),
    /// ITU-T interface rate.
    InterfaceRate(InterfaceRate),
    /// Not known here, or too short for what it should be.
    Unknown {
        /// Octets after `organizationSubType`.
        octets: usize,
    },
}

impl Propagation {
    /// `tlvType`.
    #[must_use]
    pub const fn tlv_type(self) -> u16 {
        match self {
            Self::Unspecified => types::ORGANIZATION_EXTENSION,
            Self::Propagate => types::ORGANIZATION_EXTENSION_PROPAGATE,
            Self::DoNotPropagate => types::ORGANIZATION_EXTENSION_DO_NOT_PROPAGATE,
        }
    }
}

/// An extension, and whether its content was too short for its sub-type.
pub(super) struct Decoded {
    pub(super) extension: OrganizationExtension,
    pub(super) is_too_short: bool,
}

impl OrganizationExtension {
    /// Offset 0 `organizationId`, 3 `organizationSubType`, 6 content.
    pub(super) fn decode(cursor: &mut Cursor<'_>, propagation: Propagation) -> Result<Decoded, DecodeError> {
        let organization_id = cursor.take("organizationId")?;
        let organization_sub_type = cursor.take("organizationSubType")?;
        let octets = cursor.rest().len();
        let content = OrganizationContent::decode(cursor, organization_id, organization_sub_type);
        let is_too_short = content.is_err();
        if is_too_short {
            cursor.skip("dataField", cursor.rest().len())?;
        }
        let content = content.unwrap_or(OrganizationContent::Unknown { octets });
        let extension = Self { propagation, organization_id, organization_sub_type, content };
        Ok(Decoded { extension, is_too_short })
    }
}

impl OrganizationContent {
    fn decode(cursor: &mut Cursor<'_>, id: [u8; 3], sub_type: [u8; 3]) -> Result<Self, DecodeError> {
        match (id, sub_type) {
            (gptp::ORGANIZATION_ID, gptp::FOLLOW_UP_INFORMATION) => {
                FollowUpInformation::decode(cursor).map(Self::FollowUpInformation)
            }
            (gptp::ORGANIZATION_ID, gptp::MESSAGE_INTERVAL_REQUEST) => {
                MessageIntervalRequest::decode(cursor).map(Self::MessageIntervalRequest)
            }
            (gptp::ORGANIZATION_ID, gptp::GPTP_CAPABLE) => GptpCapable::decode(cursor).map(Self::GptpCapable),
            (
                synchronization_metadata::ORGANIZATION_ID,
                synchronization_metadata::SYNCHRONIZATION_METADATA,
            ) => SynchronizationMetadata::decode(cursor).map(Self::SynchronizationMetadata),
            (power_profile::ORGANIZATION_ID, power_profile::EDITION_2011) => {
                PowerProfile2011::decode(cursor).map(Self::PowerProfile2011)
            }
            (power_profile::ORGANIZATION_ID, power_profile::EDITION_2017) => {
                PowerProfile2017::decode(cursor).map(Self::PowerProfile2017)
            }
            (interface_rate::ORGANIZATION_ID, interface_rate::INTERFACE_RATE) => {
                InterfaceRate::decode(cursor).map(Self::InterfaceRate)
            }
            _ => {
                let octets = cursor.rest().len();
                cursor.skip("dataField", octets)?;
                Ok(Self::Unknown { octets })
            }
        }
    }
}
