//! Octets of an IP payload to a message.

use std::net::Ipv4Addr;

use crate::bytes::Cursor;
use crate::bytes::DecodeError;
use crate::bytes::ones_complement_sum;
use crate::membership::Address as _;
use crate::membership::Note;
use crate::membership::Record;
use crate::membership::SourceQuery;
use crate::membership::float_code;
use crate::membership::records;
use crate::membership::source_query;
use crate::units::Nanos;

/// What a version 3 query adds.
pub type QueryV3 = SourceQuery<Ipv4Addr>;

/// A group record of a version 3 report.
pub type GroupRecord = Record<Ipv4Addr>;

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
        self.v3.as_ref().map(QueryV3::query_interval)
    }
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
        0x12 => Body::ReportV1 { group: Ipv4Addr::take(&mut cursor, "Group Address")? },
        0x16 => Body::ReportV2 { group: Ipv4Addr::take(&mut cursor, "Group Address")? },
        0x17 => Body::Leave { group: Ipv4Addr::take(&mut cursor, "Group Address")? },
        0x22 => Body::ReportV3 { records: records(&mut cursor, "Number of Group Records", &mut notes)? },
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

fn query(cursor: &mut Cursor<'_>, max_resp_code: u8, whole: bool) -> Result<Query, DecodeError> {
    let group = Some(Ipv4Addr::take(cursor, "Group Address")?).filter(|group| !group.is_unspecified());
    if cursor.rest().is_empty() && whole {
        let version = if max_resp_code == 0 { 1 } else { 2 };
        return Ok(Query { version, max_resp_code, group, v3: None });
    }
    let v3 = source_query(cursor)?;
    Ok(Query { version: 3, max_resp_code, group, v3: Some(v3) })
}
