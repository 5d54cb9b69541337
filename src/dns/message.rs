//! UDP payload to the records that name hosts and services.

use std::fmt;
use std::net::IpAddr;
use std::net::Ipv4Addr;
use std::net::Ipv6Addr;

use simple_dns::Packet;
use simple_dns::PacketFlag;
use simple_dns::ResourceRecord;
use simple_dns::rdata::RData;

/// The UDP port of multicast DNS (RFC 6762 section 3).
pub const MDNS_PORT: u16 = 5353;

/// Records that are kept of a message (chosen).
pub const MOST_RECORDS: usize = 256;
/// Strings that are kept of a TXT record (chosen).
const MOST_STRINGS: usize = 64;
/// Questions and records that a message may announce: a name that points back takes 2 octets and decodes to up to
/// 255, so an unbounded count would cost much memory for few octets (chosen).
const MOST_ANNOUNCED: u32 = 1024;
/// Octets that are read: the most that UDP carries.
const MOST_OCTETS: usize = 65_535;

/// A DNS message, as far as it names something.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Message {
    /// `QR`: whether it is a response.
    pub is_response: bool,
    /// Names that are asked for.
    pub questions: Vec<String>,
    /// A, AAAA, PTR, SRV and TXT records of the answers and additional records, in order, at most [`MOST_RECORDS`].
    pub records: Vec<Record>,
    /// Whether there were more.
    pub is_cut: bool,
}

/// A resource record.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Record {
    /// The name it is about, without a dot at the end.
    pub name: String,
    /// `TTL`, s; 0 = gone (RFC 6762 section 10.1).
    pub time_to_live: u32,
    /// What it says.
    pub data: RecordData,
}

/// What a record says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum RecordData {
    /// A or AAAA: the host's address.
    Address(IpAddr),
    /// PTR: another name; for a service type an instance of it.
    Pointer(String),
    /// SRV: where a service instance runs.
    Service {
        /// `Port`.
        port: u16,
        /// `Target`, the host's name.
        target: String,
    },
    /// TXT: the strings, as `key=value` or `key`; octets that are not UTF-8 are replaced.
    Text(Vec<String>),
}

/// Why a payload is not a DNS message.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Error {
    reason: String,
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "not a DNS message: {}", self.reason)
    }
}

impl std::error::Error for Error {}

/// Decodes a UDP payload of port 5353 (or 53).
///
/// # Errors
/// Where the grammar is broken anywhere, or more questions and records are announced than are read.
pub fn decode(octets: &[u8]) -> Result<Message, Error> {
    let octets = octets.get(..MOST_OCTETS).unwrap_or(octets);
    let announced: u32 = octets
        .get(4..12)
        .unwrap_or_default()
        .as_chunks::<2>()
        .0
        .iter()
        .map(|count| u32::from(u16::from_be_bytes(*count)))
        .sum();
    if announced > MOST_ANNOUNCED {
        return Err(Error { reason: format!("{announced} questions and records") });
    }
    let packet = Packet::parse(octets).map_err(|error| Error { reason: error.to_string() })?;
    let questions =
        packet.questions.iter().take(MOST_RECORDS).map(|question| question.qname.to_string()).collect();
    let mut known = packet.answers.iter().chain(&packet.additional_records).filter_map(record);
    let records = known.by_ref().take(MOST_RECORDS).collect();
    let is_cut = known.next().is_some();
    Ok(Message { is_response: packet.has_flags(PacketFlag::RESPONSE), questions, records, is_cut })
}

fn record(record: &ResourceRecord<'_>) -> Option<Record> {
    let data = match &record.rdata {
        RData::A(a) => RecordData::Address(IpAddr::V4(Ipv4Addr::from(a.address))),
        RData::AAAA(aaaa) => RecordData::Address(IpAddr::V6(Ipv6Addr::from(aaaa.address))),
        RData::PTR(pointer) => RecordData::Pointer(pointer.0.to_string()),
        RData::SRV(service) => RecordData::Service { port: service.port, target: service.target.to_string() },
        RData::TXT(text) => {
            let strings = text.iter_raw().take(MOST_STRINGS).map(|(key, value)| {
                let key = String::from_utf8_lossy(key);
                match value {
                    Some(value) => format!("{key}={}", String::from_utf8_lossy(value)),
                    None => key.into_owned(),
                }
            });
            RecordData::Text(strings.collect())
        }
        _ => return None,
    };
    Some(Record { name: record.name.to_string(), time_to_live: record.ttl, data })
}
