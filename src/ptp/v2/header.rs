//! The common header, 34 octets (1588-2008 13.3, 1588-2019 13.3, from memory; layout checked on real captures).

use crate::ptp::PortIdentity;
use crate::units::LogInterval;
use crate::units::TimeInterval;

/// `messageType`, 4 bits.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum MessageType {
    /// 0x0.
    Sync,
    /// 0x1.
    DelayReq,
    /// 0x2.
    PdelayReq,
    /// 0x3.
    PdelayResp,
    /// 0x8.
    FollowUp,
    /// 0x9.
    DelayResp,
    /// 0xA.
    PdelayRespFollowUp,
    /// 0xB.
    Announce,
    /// 0xC.
    Signaling,
    /// 0xD.
    Management,
    /// 0x4 to 0x7, 0xE, 0xF: counted, not decoded.
    Reserved(u8),
}

/// The header of every v2 message.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Header {
    /// `majorSdoId` (2008 `transportSpecific`), 4 bits.
    pub major_sdo_id: u8,
    /// `messageType`.
    pub message_type: MessageType,
    /// `minorVersionPTP`, 0 = 2008, 1 = 2019.
    pub minor_version_ptp: u8,
    /// `messageLength`, octets of the whole message.
    pub message_length: u16,
    /// `domainNumber`.
    pub domain_number: u8,
    /// `minorSdoId` (2008 reserved).
    pub minor_sdo_id: u8,
    /// `flagField`.
    pub flags: Flags,
    /// `correctionField`.
    pub correction_field: TimeInterval,
    /// `messageTypeSpecific` (2008 reserved).
    pub message_type_specific: u32,
    /// `sourcePortIdentity`.
    pub source_port_identity: PortIdentity,
    /// `sequenceId`.
    pub sequence_id: u16,
    /// `controlField`, obsolete; the type is in [`Header::message_type`].
    pub control_field: u8,
    /// `logMessageInterval`.
    pub log_message_interval: LogInterval,
}

impl Header {
    /// `sdoId`, 12 bits: `majorSdoId` and `minorSdoId` together (1588-2019 7.1.4, from memory).
    #[must_use]
    pub fn sdo_id(&self) -> u16 {
        (u16::from(self.major_sdo_id) << 8) | u16::from(self.minor_sdo_id)
    }
}

/// `flagField` as its two octets, first octet high.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Flags(pub u16);

impl Flags {
    const NAMES: [(u16, &'static str); 12] = [
        (0x0100, "alternate_master"),
        (0x0200, "two_step"),
        (0x0400, "unicast"),
        (0x2000, "profile_specific_1"),
        (0x4000, "profile_specific_2"),
        (0x0001, "leap61"),
        (0x0002, "leap59"),
        (0x0004, "current_utc_offset_valid"),
        (0x0008, "ptp_timescale"),
        (0x0010, "time_traceable"),
        (0x0020, "frequency_traceable"),
        (0x0040, "synchronization_uncertain"),
    ];

    /// Names of the flags that are set, in wire order of the octets.
    pub fn names(self) -> impl Iterator<Item = &'static str> {
        Self::NAMES.into_iter().filter(move |(mask, _)| self.0 & mask != 0).map(|(_, name)| name)
    }

    /// `alternateMasterFlag`.
    #[must_use]
    pub const fn alternate_master(self) -> bool {
        self.0 & 0x0100 != 0
    }

    /// `twoStepFlag`.
    #[must_use]
    pub const fn two_step(self) -> bool {
        self.0 & 0x0200 != 0
    }

    /// `unicastFlag`.
    #[must_use]
    pub const fn unicast(self) -> bool {
        self.0 & 0x0400 != 0
    }

    /// `leap61`.
    #[must_use]
    pub const fn leap61(self) -> bool {
        self.0 & 0x0001 != 0
    }

    /// `leap59`.
    #[must_use]
    pub const fn leap59(self) -> bool {
        self.0 & 0x0002 != 0
    }

    /// `currentUtcOffsetValid`.
    #[must_use]
    pub const fn current_utc_offset_valid(self) -> bool {
        self.0 & 0x0004 != 0
    }

    /// `ptpTimescale`.
    #[must_use]
    pub const fn ptp_timescale(self) -> bool {
        self.0 & 0x0008 != 0
    }

    /// `timeTraceable`.
    #[must_use]
    pub const fn time_traceable(self) -> bool {
        self.0 & 0x0010 != 0
    }

    /// `frequencyTraceable`.
    #[must_use]
    pub const fn frequency_traceable(self) -> bool {
        self.0 & 0x0020 != 0
    }
}
