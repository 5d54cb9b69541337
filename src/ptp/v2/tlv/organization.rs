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

#[cfg(test)]
mod tests {
    use super::super::Tlv;
    use super::super::gptp::ScaledNs;
    use super::super::testing;
    use super::*;
    use crate::ptp::Note;

    const TYPE: u16 = types::ORGANIZATION_EXTENSION;

    /// Decodes `hex` and checks what must hold for every known content: it is decoded without a note, is kept as
    /// unknown where it is cut, and may be longer.
    fn known(hex: &str) -> OrganizationContent {
        let value = testing::octets(hex);
        let (tlv, notes) = testing::decode(TYPE, &value);
        assert_eq!(notes, []);
        let Tlv::Organization(extension) = tlv else { panic!("{tlv:?}") };
        assert_eq!(extension.propagation, Propagation::Unspecified);
        assert_eq!(extension.organization_id, value[..3]);
        assert_eq!(extension.organization_sub_type, value[3..6]);
        testing::assert_a_longer_value_is_noted(TYPE, &value);
        testing::assert_every_shorter_value_is_kept_as_type_and_length(TYPE, &value[..6]);
        for length in (6..value.len()).step_by(2) {
            let (tlv, notes) = testing::decode(TYPE, &value[..length]);
            let content = OrganizationContent::Unknown { octets: length - 6 };
            assert_eq!(tlv, Tlv::Organization(OrganizationExtension { content, ..extension }));
            let length = u16::try_from(length).unwrap();
            assert_eq!(notes, [Note::TlvTooShort { tlv_type: TYPE, length }]);
        }
        extension.content
    }

    #[test]
    fn follow_up_information_keeps_signs_and_all_96_bits() {
        let hex = "0080c2 000001 fffffffe 0102 ffffffff fffffffffffe8000 7fffffff";
        let expected = FollowUpInformation {
            cumulative_scaled_rate_offset: -2,
            gm_time_base_indicator: 0x0102,
            last_gm_phase_change: ScaledNs(-0x1_8000),
            scaled_last_gm_freq_change: i32::MAX,
        };
        assert_eq!(known(hex), OrganizationContent::FollowUpInformation(expected));
        let hex = "0080c2 000001 00000000 0000 00000001 0000000000000003 80000000";
        let OrganizationContent::FollowUpInformation(information) = known(hex) else { panic!() };
        assert_eq!(information.last_gm_phase_change, ScaledNs((1 << 64) + 3));
        assert_eq!(information.scaled_last_gm_freq_change, i32::MIN);
    }

    #[test]
    fn a_message_interval_request_keeps_its_special_values() {
        let expected = MessageIntervalRequest {
            link_delay_interval_log2_s: 127,
            time_sync_interval_log2_s: -128,
            announce_interval_log2_s: 126,
            flags: 0x05,
        };
        let hex = "0080c2 000002 7f 80 7e 05";
        assert_eq!(known(&format!("{hex} 0000")), OrganizationContent::MessageIntervalRequest(expected));
        assert_eq!(known(&format!("{hex} ffff")), OrganizationContent::MessageIntervalRequest(expected));
    }

    #[test]
    fn a_gptp_capable_tlv_tells_its_interval() {
        let expected = GptpCapable { log_gptp_capable_message_interval_log2_s: -3, flags: 1 };
        assert_eq!(known("0080c2 000004 fd 01 00000000"), OrganizationContent::GptpCapable(expected));
        assert_eq!(known("0080c2 000004 fd 01 ffffffff"), OrganizationContent::GptpCapable(expected));
    }

    #[test]
    fn synchronization_metadata_is_read_field_by_field() {
        let hex = "6897e8 000001 00000019 00000001 03 02 ffffffff 00000e10
                   000000000001 000000000002 010000000003 fffff1f0 05 01";
        let expected = SynchronizationMetadata {
            default_system_frame_rate_numerator: 25,
            default_system_frame_rate_denominator: 1,
            master_locking_status: 3,
            time_address_flags: 2,
            current_local_offset_s: -1,
            jump_seconds: 3600,
            time_of_next_jump_s: 1,
            time_of_next_jam_s: 2,
            time_of_previous_jam_s: 0x0100_0000_0003,
            previous_jam_local_offset_s: -3600,
            daylight_saving: 5,
            leap_second_jump: 1,
        };
        assert_eq!(known(hex), OrganizationContent::SynchronizationMetadata(expected));
    }

    #[test]
    fn both_power_profiles_are_told_apart() {
        let expected = PowerProfile2011 {
            grandmaster_id: 3,
            grandmaster_time_inaccuracy_ns: 50,
            network_time_inaccuracy_ns: 200,
        };
        for reserved in ["0000", "ffff"] {
            let hex = format!("1c129d 000001 0003 00000032 000000c8 {reserved}");
            assert_eq!(known(&hex), OrganizationContent::PowerProfile2011(expected));
        }
        let expected = PowerProfile2017 { grandmaster_id: 3, total_time_inaccuracy_ns: 250 };
        for reserved in ["00", "ff"] {
            let (four, two) = (reserved.repeat(4), reserved.repeat(2));
            let hex = format!("1c129d 000002 0003 {four} 000000fa {two}");
            assert_eq!(known(&hex), OrganizationContent::PowerProfile2017(expected));
        }
    }

    #[test]
    fn an_interface_rate_is_kept_raw() {
        let expected = InterfaceRate {
            interface_bit_period: 0x0102_0304_0506_0708,
            bits_before_timestamp: 64,
            bits_after_timestamp: 720,
        };
        let hex = "0019a7 000002 0102030405060708 0040 02d0";
        assert_eq!(known(hex), OrganizationContent::InterfaceRate(expected));
    }

    #[test]
    fn an_unknown_organization_is_kept_with_its_size_whatever_type_carries_it() {
        let value = testing::octets("02005e 00000a 01020304");
        for (tlv_type, propagation) in [
            (types::ORGANIZATION_EXTENSION, Propagation::Unspecified),
            (types::ORGANIZATION_EXTENSION_PROPAGATE, Propagation::Propagate),
            (types::ORGANIZATION_EXTENSION_DO_NOT_PROPAGATE, Propagation::DoNotPropagate),
        ] {
            let (tlv, notes) = testing::decode(tlv_type, &value);
            assert_eq!(tlv.tlv_type(), tlv_type);
            let expected = OrganizationExtension {
                propagation,
                organization_id: [0x02, 0x00, 0x5E],
                organization_sub_type: [0, 0, 0x0A],
                content: OrganizationContent::Unknown { octets: 4 },
            };
            assert_eq!(tlv, Tlv::Organization(expected));
            assert_eq!(notes, []);
        }
    }
}
