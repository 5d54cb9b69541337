//! Octets of an IP payload to a message.

use std::net::Ipv6Addr;

use crate::bytes::Cursor;
use crate::bytes::DecodeError;
use crate::bytes::ones_complement_sum;
use crate::membership::Address as _;
use crate::membership::Note;
use crate::membership::Record;
use crate::membership::SourceQuery;
use crate::membership::records;
use crate::membership::source_query;
use crate::units::Nanos;

/// What a version 2 query adds.
pub type QueryV2 = SourceQuery<Ipv6Addr>;

/// A record of a version 2 report.
pub type AddressRecord = Record<Ipv6Addr>;

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
    /// 130 Multicast Listener Query of any version.
    Query(Query),
    /// 131 Multicast Listener Report of version 1.
    ReportV1 {
        /// `Multicast Address`.
        group: Ipv6Addr,
    },
    /// 132 Multicast Listener Done.
    Done {
        /// `Multicast Address`.
        group: Ipv6Addr,
    },
    /// 143 Multicast Listener Report of version 2.
    ReportV2 {
        /// The multicast address records.
        records: Vec<AddressRecord>,
    },
}

/// A Multicast Listener Query.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Query {
    /// 1 or 2, from the length (RFC 3810 section 8.1).
    pub version: u8,
    /// `Maximum Response Code` (v1: `Maximum Response Delay`), as on the wire.
    pub max_resp_code: u16,
    /// `Multicast Address`; `None` for a general query.
    pub group: Option<Ipv6Addr>,
    /// What version 2 adds.
    pub v2: Option<QueryV2>,
}

impl Query {
    /// How long hosts may wait with their answer.
    #[must_use]
    pub fn max_response_time(&self) -> Nanos {
        let milliseconds = match self.version {
            1 => u32::from(self.max_resp_code),
            _ => response_code(self.max_resp_code),
        };
        Nanos(i64::from(milliseconds).saturating_mul(1_000_000))
    }

    /// `QQIC`: the querier's interval; version 1 does not tell.
    #[must_use]
    pub fn query_interval(&self) -> Option<Nanos> {
        self.v2.as_ref().map(QueryV2::query_interval)
    }
}

/// The value of `Maximum Response Code` (RFC 3810 section 5.1.3), ms: below 32768 as it is, else a mantissa of 12
/// bits and an exponent.
#[must_use]
pub fn response_code(code: u16) -> u32 {
    let code = u32::from(code);
    if code < 32_768 { code } else { (code & 0x0FFF | 0x1000) << ((code >> 12 & 0x07) + 3) }
}

/// The IPv6 packet around a message, where the capture kept all of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Envelope {
    /// Source address.
    pub source: Ipv6Addr,
    /// Destination address.
    pub destination: Ipv6Addr,
}

/// Decodes the payload of an IPv6 packet of protocol 58; `None` where it is ICMPv6 of another type than MLD's.
/// Without an envelope (the capture cut the packet) the checksum is not tested and a query must be of version 2.
///
/// # Errors
/// Where the octets end inside the message, or a query has a length that no version has.
pub fn decode(octets: &[u8], envelope: Option<Envelope>) -> Result<Option<Message>, DecodeError> {
    let mut notes = Vec::new();
    let mut cursor = Cursor::new(octets);
    let message_type = cursor.u8("Type")?;
    if !matches!(message_type, 130..=132 | 143) {
        return Ok(None);
    }
    cursor.skip("Code and Checksum", 3)?;
    let body = match message_type {
        130 => Body::Query(query(&mut cursor, envelope.is_some())?),
        143 => Body::ReportV2 { records: records(&mut cursor, "Nr of Mcast Address Records", &mut notes)? },
        other => {
            cursor.skip("Maximum Response Delay and Reserved", 4)?;
            let group = Ipv6Addr::take(&mut cursor, "Multicast Address")?;
            if other == 131 { Body::ReportV1 { group } } else { Body::Done { group } }
        }
    };
    if envelope.is_some_and(|envelope| !checksum_is_right(octets, envelope)) {
        notes.push(Note::ChecksumWrong);
    }
    let suffix = cursor.rest().len();
    if suffix > 0 {
        notes.push(Note::Suffix { octets: suffix });
    }
    Ok(Some(Message { body, notes }))
}

/// RFC 8200 section 8.1.
fn checksum_is_right(octets: &[u8], envelope: Envelope) -> bool {
    let length = u32::try_from(octets.len()).unwrap_or(u32::MAX).to_be_bytes();
    let (source, destination) = (envelope.source.octets(), envelope.destination.octets());
    ones_complement_sum(&[&source, &destination, &length, &[0, 0, 0, 58], octets]) == 0xFFFF
}

fn query(cursor: &mut Cursor<'_>, whole: bool) -> Result<Query, DecodeError> {
    let max_resp_code = cursor.u16("Maximum Response Code")?;
    cursor.skip("Reserved", 2)?;
    let group = Some(Ipv6Addr::take(cursor, "Multicast Address")?).filter(|group| !group.is_unspecified());
    if cursor.rest().is_empty() && whole {
        return Ok(Query { version: 1, max_resp_code, group, v2: None });
    }
    let v2 = source_query(cursor)?;
    Ok(Query { version: 2, max_resp_code, group, v2: Some(v2) })
}
