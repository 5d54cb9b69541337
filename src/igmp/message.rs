//! Octets of an IP payload to a message.

use std::fmt;
use std::net::Ipv4Addr;

use crate::bytes::Cursor;
use crate::bytes::DecodeError;
use crate::bytes::ones_complement_sum;
use crate::record_type::RecordType;
use crate::units::Nanos;

/// A message and what was odd about it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Message {
    /// What it says.
    pub body: Body,
    /// What was odd.
    pub notes: Vec<Note>,
}

/// The kinds of messages.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Body {
    /// 0x11 Membership Query of any version.
    Query(Query),
    /// 0x12 Version 1 Membership Report.
    ReportV1 {
        /// `Group Address`.
        group: Ipv4Addr,
    },
    /// 0x16 Version 2 Membership Report.
    ReportV2 {
        /// `Group Address`.
        group: Ipv4Addr,
    },
    /// 0x17 Leave Group.
    Leave {
        /// `Group Address`.
        group: Ipv4Addr,
    },
    /// 0x22 Version 3 Membership Report.
    ReportV3 {
        /// The group records.
        records: Vec<GroupRecord>,
    },
    /// Another type: nothing is decoded.
    Other {
        /// `Type`.
        message_type: u8,
    },
}

/// A Membership Query.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Query {
    /// 1, 2 or 3, from the length and the second octet (RFC 3376 section 7.1).
    pub version: u8,
    /// `Max Resp Code` (v2: `Max Response Time`), as on the wire.
    pub max_resp_code: u8,
    /// `Group Address`; `None` for a general query.
    pub group: Option<Ipv4Addr>,
    /// What version 3 adds.
    pub v3: Option<QueryV3>,
}

/// What a version 3 query adds (RFC 3376 section 4.1).
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct QueryV3 {
    /// `S`: routers are not to renew their timers.
    pub suppress_router_processing: bool,
    /// `QRV`, the robustness variable; 0 = not told.
    pub qrv: u8,
    /// `QQIC` as on the wire.
    pub qqic: u8,
    /// `Source Address` list.
    pub sources: Vec<Ipv4Addr>,
}

impl Query {
    /// How long hosts may wait with their answer: v1 10 s always (RFC 2236 section 4), else tenths of a second.
    #[must_use]
    pub fn max_response_time(&self) -> Nanos {
        let tenths = match self.version {
            1 => 100,
            2 => u32::from(self.max_resp_code),
            _ => float_code(self.max_resp_code),
        };
        Nanos(i64::from(tenths).saturating_mul(100_000_000))
    }

    /// `QQIC`: the querier's interval; versions 1 and 2 do not tell.
    #[must_use]
    pub fn query_interval(&self) -> Option<Nanos> {
        self.v3.as_ref().map(|v3| Nanos::from_seconds(i64::from(float_code(v3.qqic))))
    }
}

/// A group record of a version 3 report (RFC 3376 section 4.2.4).
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct GroupRecord {
    /// `Record Type`.
    pub record_type: RecordType,
    /// `Multicast Address`.
    pub group: Ipv4Addr,
    /// `Source Address` list.
    pub sources: Vec<Ipv4Addr>,
    /// `Auxiliary Data`, octets.
    pub auxiliary_octets: usize,
}

impl GroupRecord {
    /// Whether the host asks for the group from any source or some after this record; `None` where the record
    /// alone does not tell.
    #[must_use]
    pub fn wants(&self) -> Option<bool> {
        self.record_type.wants(self.sources.is_empty())
    }
}

/// Something odd about a message that could still be decoded.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[non_exhaustive]
pub enum Note {
    /// The checksum over the whole IP payload is wrong.
    ChecksumWrong,
    /// Octets after the message.
    Suffix {
        /// How many.
        octets: usize,
    },
    /// The `Record Type` of a group record is not defined.
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

/// The value of `Max Resp Code` and `QQIC` (RFC 3376 sections 4.1.1 and 4.1.7): below 128 as it is, else a
/// mantissa and an exponent.
#[must_use]
pub fn float_code(code: u8) -> u32 {
    let code = u32::from(code);
    if code < 128 { code } else { (code & 0x0F | 0x10) << ((code >> 4 & 0x07) + 3) }
}

/// Decodes the payload of an IPv4 packet of protocol 2. `whole` says whether the capture kept all of it: the
/// checksum is tested only then, and a query's version shows only then.
///
/// # Errors
/// Where the octets end inside the message, or a query has a length that no version has.
pub fn decode(octets: &[u8], whole: bool) -> Result<Message, DecodeError> {
    let mut notes = Vec::new();
    let mut cursor = Cursor::new(octets);
    let message_type = cursor.u8("Type")?;
    let code = cursor.u8("Max Resp Code")?;
    cursor.skip("Checksum", 2)?;
    let body = match message_type {
        0x11 => Body::Query(query(&mut cursor, code, whole)?),
        0x12 => Body::ReportV1 { group: address(&mut cursor, "Group Address")? },
        0x16 => Body::ReportV2 { group: address(&mut cursor, "Group Address")? },
        0x17 => Body::Leave { group: address(&mut cursor, "Group Address")? },
        0x22 => Body::ReportV3 { records: records(&mut cursor, &mut notes)? },
        message_type => Body::Other { message_type },
    };
    if whole && ones_complement_sum(&[octets]) != 0xFFFF {
        notes.push(Note::ChecksumWrong);
    }
    let suffix = cursor.rest().len();
    if suffix > 0 && !matches!(body, Body::Other { .. }) {
        notes.push(Note::Suffix { octets: suffix });
    }
    Ok(Message { body, notes })
}

fn address(cursor: &mut Cursor<'_>, field: &'static str) -> Result<Ipv4Addr, DecodeError> {
    cursor.take::<4>(field).map(Ipv4Addr::from)
}

fn query(cursor: &mut Cursor<'_>, max_resp_code: u8, whole: bool) -> Result<Query, DecodeError> {
    let group = Some(address(cursor, "Group Address")?).filter(|group| !group.is_unspecified());
    if cursor.rest().is_empty() && whole {
        let version = if max_resp_code == 0 { 1 } else { 2 };
        return Ok(Query { version, max_resp_code, group, v3: None });
    }
    let flags = cursor.u8("S and QRV")?;
    let qqic = cursor.u8("QQIC")?;
    let count = cursor.u16("Number of Sources")?;
    let sources = addresses(cursor, count)?;
    let v3 = QueryV3 { suppress_router_processing: flags & 0x08 != 0, qrv: flags & 0x07, qqic, sources };
    Ok(Query { version: 3, max_resp_code, group, v3: Some(v3) })
}

fn addresses(cursor: &mut Cursor<'_>, count: u16) -> Result<Vec<Ipv4Addr>, DecodeError> {
    let octets = cursor.slice("Source Address", usize::from(count) * 4)?;
    Ok(octets.as_chunks::<4>().0.iter().map(|octets| Ipv4Addr::from(*octets)).collect())
}

fn records(cursor: &mut Cursor<'_>, notes: &mut Vec<Note>) -> Result<Vec<GroupRecord>, DecodeError> {
    cursor.skip("Reserved", 2)?;
    let count = cursor.u16("Number of Group Records")?;
    let mut records = Vec::new();
    for _ in 0..count {
        let record_type = RecordType::from_wire(cursor.u8("Record Type")?);
        if let RecordType::Unknown(value) = record_type {
            notes.push(Note::UnknownRecordType { value });
        }
        let auxiliary_octets = usize::from(cursor.u8("Aux Data Len")?) * 4;
        let sources = cursor.u16("Number of Sources")?;
        let group = address(cursor, "Multicast Address")?;
        let sources = addresses(cursor, sources)?;
        cursor.skip("Auxiliary Data", auxiliary_octets)?;
        records.push(GroupRecord { record_type, group, sources, auxiliary_octets });
    }
    Ok(records)
}
