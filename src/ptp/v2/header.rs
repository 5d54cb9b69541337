//! The common header, 34 octets (1588-2008 13.3, 1588-2019 13.3, from memory; layout checked on real captures).

use std::fmt;

use super::fields;
use crate::bytes::Cursor;
use crate::bytes::DecodeError;
use crate::ptp::ClockIdentity;
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

impl MessageType {
    /// The type that the low four bits of `nibble` name (1588-2008 Table 19, from memory; values seen in real
    /// captures but for the reserved ones and Pdelay_Resp, Pdelay_Resp_Follow_Up and Signaling).
    #[must_use]
    pub const fn from_nibble(nibble: u8) -> Self {
        match nibble & 0x0F {
            0x0 => Self::Sync,
            0x1 => Self::DelayReq,
            0x2 => Self::PdelayReq,
            0x3 => Self::PdelayResp,
            0x8 => Self::FollowUp,
            0x9 => Self::DelayResp,
            0xA => Self::PdelayRespFollowUp,
            0xB => Self::Announce,
            0xC => Self::Signaling,
            0xD => Self::Management,
            other => Self::Reserved(other),
        }
    }

    /// The value on the wire, 0 to 15.
    #[must_use]
    pub const fn nibble(self) -> u8 {
        match self {
            Self::Sync => 0x0,
            Self::DelayReq => 0x1,
            Self::PdelayReq => 0x2,
            Self::PdelayResp => 0x3,
            Self::FollowUp => 0x8,
            Self::DelayResp => 0x9,
            Self::PdelayRespFollowUp => 0xA,
            Self::Announce => 0xB,
            Self::Signaling => 0xC,
            Self::Management => 0xD,
            Self::Reserved(nibble) => nibble & 0x0F,
        }
    }

    /// A name for machines: the standard's, in lower case with underscores; every reserved type is `reserved`.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Sync => "sync",
            Self::DelayReq => "delay_req",
            Self::PdelayReq => "pdelay_req",
            Self::PdelayResp => "pdelay_resp",
            Self::FollowUp => "follow_up",
            Self::DelayResp => "delay_resp",
            Self::PdelayRespFollowUp => "pdelay_resp_follow_up",
            Self::Announce => "announce",
            Self::Signaling => "signaling",
            Self::Management => "management",
            Self::Reserved(_) => "reserved",
        }
    }
}

impl fmt::Display for MessageType {
    /// The standard's spelling, such as `Delay_Req`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Sync => "Sync",
            Self::DelayReq => "Delay_Req",
            Self::PdelayReq => "Pdelay_Req",
            Self::PdelayResp => "Pdelay_Resp",
            Self::FollowUp => "Follow_Up",
            Self::DelayResp => "Delay_Resp",
            Self::PdelayRespFollowUp => "Pdelay_Resp_Follow_Up",
            Self::Announce => "Announce",
            Self::Signaling => "Signaling",
            Self::Management => "Management",
            Self::Reserved(nibble) => return write!(f, "reserved 0x{nibble:x}"),
        })
    }
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
    /// Octets of every v2 header.
    pub const OCTETS: usize = 34;

    /// Reads the 34 octets; says nothing of whether `messageLength` fits.
    ///
    /// | offset | octets | field |
    /// |---|---|---|
    /// | 0 | 1 | `majorSdoId` high nibble, `messageType` low |
    /// | 1 | 1 | `minorVersionPTP` high nibble, `versionPTP` low |
    /// | 2 | 2 | `messageLength` |
    /// | 4 | 1 | `domainNumber` |
    /// | 5 | 1 | `minorSdoId` |
    /// | 6 | 2 | `flagField` |
    /// | 8 | 8 | `correctionField` |
    /// | 16 | 4 | `messageTypeSpecific` |
    /// | 20 | 10 | `sourcePortIdentity` |
    /// | 30 | 2 | `sequenceId` |
    /// | 32 | 1 | `controlField` |
    /// | 33 | 1 | `logMessageInterval` |
    pub(super) fn decode(cursor: &mut Cursor<'_>) -> Result<Self, DecodeError> {
        if let Some(octets) = cursor.rest().first_chunk() {
            cursor.skip("header", Self::OCTETS)?;
            return Ok(Self::of(octets));
        }
        // Which field is missing.
        let first = cursor.u8("messageType")?;
        let second = cursor.u8("versionPTP")?;
        Ok(Self {
            major_sdo_id: first >> 4,
            message_type: MessageType::from_nibble(first),
            minor_version_ptp: second >> 4,
            message_length: cursor.u16("messageLength")?,
            domain_number: cursor.u8("domainNumber")?,
            minor_sdo_id: cursor.u8("minorSdoId")?,
            flags: Flags(cursor.u16("flagField")?),
            correction_field: fields::time_interval(cursor, "correctionField")?,
            message_type_specific: cursor.u32("messageTypeSpecific")?,
            source_port_identity: fields::port_identity(cursor, "sourcePortIdentity")?,
            sequence_id: cursor.u16("sequenceId")?,
            control_field: cursor.u8("controlField")?,
            log_message_interval: LogInterval(cursor.i8("logMessageInterval")?),
        })
    }

    /// Reads the header from its octets, all of which are there.
    pub(super) fn of(octets: &[u8; Self::OCTETS]) -> Self {
        #[rustfmt::skip] // One line holds what one row of the table above does.
        let [
            first, second,
            length_0, length_1,
            domain_number,
            minor_sdo_id,
            flags_0, flags_1,
            c0, c1, c2, c3, c4, c5, c6, c7,
            s0, s1, s2, s3,
            i0, i1, i2, i3, i4, i5, i6, i7, port_0, port_1,
            sequence_0, sequence_1,
            control_field,
            interval,
        ] = *octets;
        Self {
            major_sdo_id: first >> 4,
            message_type: MessageType::from_nibble(first),
            minor_version_ptp: second >> 4,
            message_length: u16::from_be_bytes([length_0, length_1]),
            domain_number,
            minor_sdo_id,
            flags: Flags(u16::from_be_bytes([flags_0, flags_1])),
            correction_field: TimeInterval(i64::from_be_bytes([c0, c1, c2, c3, c4, c5, c6, c7])),
            message_type_specific: u32::from_be_bytes([s0, s1, s2, s3]),
            source_port_identity: PortIdentity {
                clock_identity: ClockIdentity([i0, i1, i2, i3, i4, i5, i6, i7]),
                port_number: u16::from_be_bytes([port_0, port_1]),
            },
            sequence_id: u16::from_be_bytes([sequence_0, sequence_1]),
            control_field,
            log_message_interval: LogInterval(i8::from_be_bytes([interval])),
        }
    }

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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_nibble_goes_to_a_type_and_back() {
        for nibble in 0..16 {
            assert_eq!(MessageType::from_nibble(nibble).nibble(), nibble);
            assert_eq!(MessageType::from_nibble(nibble | 0xF0).nibble(), nibble);
        }
        assert_eq!(MessageType::from_nibble(0x4), MessageType::Reserved(4));
        assert_eq!(MessageType::from_nibble(0xF), MessageType::Reserved(15));
    }

    #[test]
    fn a_type_has_one_name_for_machines_and_one_for_people() {
        assert_eq!(MessageType::PdelayRespFollowUp.name(), "pdelay_resp_follow_up");
        assert_eq!(MessageType::PdelayRespFollowUp.to_string(), "Pdelay_Resp_Follow_Up");
        assert_eq!(MessageType::DelayReq.name(), "delay_req");
        assert_eq!(MessageType::DelayReq.to_string(), "Delay_Req");
        assert_eq!(MessageType::Reserved(7).name(), "reserved");
        assert_eq!(MessageType::Reserved(7).to_string(), "reserved 0x7");
    }
}
