//! What IGMPv3 and MLDv2 have in common: all but the width of their addresses (RFC 3376, RFC 3810; from memory).

use std::fmt;
use std::net::Ipv4Addr;
use std::net::Ipv6Addr;

use crate::bytes::Cursor;
use crate::bytes::DecodeError;
use crate::units::Nanos;

/// An address as the messages of one of the two have it.
pub(crate) trait Address: Sized {
    /// Takes the next one.
    fn take(cursor: &mut Cursor<'_>, field: &'static str) -> Result<Self, DecodeError>;

    /// Takes so many.
    fn take_all(cursor: &mut Cursor<'_>, count: u16) -> Result<Vec<Self>, DecodeError>;
}

impl Address for Ipv4Addr {
    fn take(cursor: &mut Cursor<'_>, field: &'static str) -> Result<Self, DecodeError> {
        cursor.take::<4>(field).map(Self::from)
    }

    fn take_all(cursor: &mut Cursor<'_>, count: u16) -> Result<Vec<Self>, DecodeError> {
        let octets = cursor.slice(SOURCES, usize::from(count) * 4)?;
        Ok(octets.as_chunks::<4>().0.iter().map(|octets| Self::from(*octets)).collect())
    }
}

impl Address for Ipv6Addr {
    fn take(cursor: &mut Cursor<'_>, field: &'static str) -> Result<Self, DecodeError> {
        cursor.take::<16>(field).map(Self::from)
    }

    fn take_all(cursor: &mut Cursor<'_>, count: u16) -> Result<Vec<Self>, DecodeError> {
        let octets = cursor.slice(SOURCES, usize::from(count) * 16)?;
        Ok(octets.as_chunks::<16>().0.iter().map(|octets| Self::from(*octets)).collect())
    }
}

/// What the list of sources is called in errors.
const SOURCES: &str = "Source Address";

/// What a query of the latest version adds (RFC 3376 section 4.1, RFC 3810 section 5.1).
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SourceQuery<A> {
    /// `S`: routers are not to renew their timers.
    pub suppress_router_processing: bool,
    /// `QRV`, the robustness variable; 0 = not told.
    pub qrv: u8,
    /// `QQIC` as on the wire.
    pub qqic: u8,
    /// `Source Address` list.
    pub sources: Vec<A>,
}

impl<A> SourceQuery<A> {
    /// `QQIC`: the querier's interval.
    #[must_use]
    pub fn query_interval(&self) -> Nanos {
        Nanos::from_seconds(i64::from(float_code(self.qqic)))
    }
}

/// Takes what a query of the latest version adds.
pub(crate) fn source_query<A: Address>(cursor: &mut Cursor<'_>) -> Result<SourceQuery<A>, DecodeError> {
    let flags = cursor.u8("S and QRV")?;
    let qqic = cursor.u8("QQIC")?;
    let count = cursor.u16("Number of Sources")?;
    let sources = A::take_all(cursor, count)?;
    Ok(SourceQuery { suppress_router_processing: flags & 0x08 != 0, qrv: flags & 0x07, qqic, sources })
}

/// The value of an octet that is a number or a float, as `QQIC` and IGMP's `Max Resp Code` (RFC 3376 sections 4.1.1 and
/// 4.1.7, RFC 3810 section 5.1.9): below 128 as it is, else a mantissa of 4 bits and an exponent.
#[must_use]
pub fn float_code(code: u8) -> u32 {
    let code = u32::from(code);
    if code < 128 { code } else { (code & 0x0F | 0x10) << ((code >> 4 & 0x07) + 3) }
}

/// A record of a report of the latest version (RFC 3376 section 4.2.4, RFC 3810 section 5.2).
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Record<A> {
    /// `Record Type`.
    pub record_type: RecordType,
    /// `Multicast Address`.
    pub group: A,
    /// `Source Address` list.
    pub sources: Vec<A>,
    /// `Auxiliary Data`, octets.
    pub auxiliary_octets: usize,
}

impl<A> Record<A> {
    /// Whether the host asks for the group from any source or some after this record; `None` where the record
    /// alone does not tell.
    #[must_use]
    pub fn wants(&self) -> Option<bool> {
        self.record_type.wants(self.sources.is_empty())
    }
}

/// Takes all records of a report; `count` is what their number is called in errors.
pub(crate) fn records<A: Address>(
    cursor: &mut Cursor<'_>,
    count: &'static str,
    notes: &mut Vec<Note>,
) -> Result<Vec<Record<A>>, DecodeError> {
    cursor.skip("Reserved", 2)?;
    let count = cursor.u16(count)?;
    let mut records = Vec::new();
    for _ in 0..count {
        let record_type = RecordType::from_wire(cursor.u8("Record Type")?);
        if let RecordType::Unknown(value) = record_type {
            notes.push(Note::UnknownRecordType { value });
        }
        let auxiliary_octets = usize::from(cursor.u8("Aux Data Len")?) * 4;
        let sources = cursor.u16("Number of Sources")?;
        let group = A::take(cursor, "Multicast Address")?;
        let sources = A::take_all(cursor, sources)?;
        cursor.skip("Auxiliary Data", auxiliary_octets)?;
        records.push(Record { record_type, group, sources, auxiliary_octets });
    }
    Ok(records)
}

/// Something odd about a message that could still be decoded.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[non_exhaustive]
pub enum Note {
    /// The checksum is wrong: over the whole IP payload (IGMP), or over the message and the IPv6 pseudo-header (MLD).
    ChecksumWrong,
    /// Octets after the message.
    Suffix {
        /// How many.
        octets: usize,
    },
    /// The `Record Type` of a record is not defined.
    UnknownRecordType {
        /// What it holds.
        value: u8,
    },
}

impl fmt::Display for Note {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::ChecksumWrong => write!(f, "the checksum is wrong"),
            Self::Suffix { octets } => write!(f, "{octets} octets follow the message"),
            Self::UnknownRecordType { value } => write!(f, "Record Type {value} is not defined"),
        }
    }
}

/// `Record Type` (RFC 3376 section 4.2.12, RFC 3810 section 5.2.12).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum RecordType {
    /// 1 `MODE_IS_INCLUDE`.
    ModeIsInclude,
    /// 2 `MODE_IS_EXCLUDE`.
    ModeIsExclude,
    /// 3 `CHANGE_TO_INCLUDE_MODE`; without sources the host leaves.
    ChangeToIncludeMode,
    /// 4 `CHANGE_TO_EXCLUDE_MODE`; without sources the host joins for any source.
    ChangeToExcludeMode,
    /// 5 `ALLOW_NEW_SOURCES`.
    AllowNewSources,
    /// 6 `BLOCK_OLD_SOURCES`.
    BlockOldSources,
    /// Any other value.
    Unknown(u8),
}

impl RecordType {
    pub(crate) const fn from_wire(value: u8) -> Self {
        match value {
            1 => Self::ModeIsInclude,
            2 => Self::ModeIsExclude,
            3 => Self::ChangeToIncludeMode,
            4 => Self::ChangeToExcludeMode,
            5 => Self::AllowNewSources,
            6 => Self::BlockOldSources,
            other => Self::Unknown(other),
        }
    }

    pub(crate) const fn wants(self, no_sources: bool) -> Option<bool> {
        match self {
            Self::ModeIsInclude | Self::ChangeToIncludeMode => Some(!no_sources),
            Self::ModeIsExclude | Self::ChangeToExcludeMode => Some(true),
            Self::AllowNewSources if !no_sources => Some(true),
            Self::AllowNewSources | Self::BlockOldSources | Self::Unknown(_) => None,
        }
    }

    /// The RFC's name.
    #[must_use]
    pub const fn name(self) -> Option<&'static str> {
        Some(match self {
            Self::ModeIsInclude => "MODE_IS_INCLUDE",
            Self::ModeIsExclude => "MODE_IS_EXCLUDE",
            Self::ChangeToIncludeMode => "CHANGE_TO_INCLUDE_MODE",
            Self::ChangeToExcludeMode => "CHANGE_TO_EXCLUDE_MODE",
            Self::AllowNewSources => "ALLOW_NEW_SOURCES",
            Self::BlockOldSources => "BLOCK_OLD_SOURCES",
            Self::Unknown(_) => return None,
        })
    }
}
