//! UDP payload to an announcement.

use std::fmt;
use std::io::Read;
use std::net::IpAddr;
use std::net::Ipv4Addr;
use std::net::Ipv6Addr;

use flate2::read::ZlibDecoder;

use crate::bytes::Cursor;
use crate::bytes::DecodeError;

/// The UDP port (RFC 2974 section 3).
pub const SAP_PORT: u16 = 9875;

/// Octets that a compressed payload may unfold to (chosen: the most that UDP carries without compression).
const MOST_INFLATED: u64 = 65_536;
/// Octets of a payload type that are searched for its NUL (chosen).
const LONGEST_TYPE: usize = 255;
/// The payload type of a session description.
const SDP: &str = "application/sdp";

/// An announcement or its deletion.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Message {
    /// `T`: the session is deleted.
    pub is_deletion: bool,
    /// `E`: the payload is encrypted and kept as it is.
    pub is_encrypted: bool,
    /// `C`: the payload was compressed.
    pub is_compressed: bool,
    /// `message identifier hash`: names, with the origin, one version of one announcement.
    pub message_identifier_hash: u16,
    /// `originating source`.
    pub origin: IpAddr,
    /// `authentication data`, octets; they are not tested.
    pub authentication_octets: usize,
    /// `payload type`; `None` where it is left out, which means SDP.
    pub payload_type: Option<String>,
    /// `payload`, inflated; empty where that failed.
    pub payload: Vec<u8>,
    /// What was odd.
    pub notes: Vec<Note>,
}

impl Message {
    /// The session description; `None` where the payload is something else or encrypted.
    #[must_use]
    pub fn sdp(&self) -> Option<&[u8]> {
        let is_sdp = self.payload_type.as_ref().is_none_or(|name| name.eq_ignore_ascii_case(SDP));
        (is_sdp && !self.is_encrypted && !self.payload.is_empty()).then_some(self.payload.as_slice())
    }
}

/// Something odd about a message that could still be decoded.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[non_exhaustive]
pub enum Note {
    /// The compressed payload is broken, so it is left out.
    CompressionBroken,
    /// The compressed payload unfolds to more than 64 KiB, so it is left out.
    InflatesTooFar,
    /// `message identifier hash` is 0, so the announcement cannot be told from others (RFC 2974 section 6).
    NoHash,
    /// The `payload type` has no NUL at its end, so all of it is taken for the payload.
    PayloadTypeNotEnded,
}

impl fmt::Display for Note {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::CompressionBroken => "the compressed payload is broken",
            Self::InflatesTooFar => "the compressed payload unfolds to more than 64 KiB",
            Self::NoHash => "the message identifier hash is 0",
            Self::PayloadTypeNotEnded => "the payload type has no NUL at its end",
        })
    }
}

/// Decodes a UDP payload of port 9875.
///
/// # Errors
/// Where the version is not 1 or the octets end inside the header.
pub fn decode(octets: &[u8]) -> Result<Message, DecodeError> {
    let mut notes = Vec::new();
    let mut cursor = Cursor::new(octets);
    let flags = cursor.u8("V, A, R, T, E and C")?;
    if flags >> 5 != 1 {
        let (value, rule) = (u64::from(flags >> 5), "SAP is version 1");
        return Err(DecodeError::Value { field: "V", offset: 0, value, rule });
    }
    let authentication_octets = usize::from(cursor.u8("authentication length")?) * 4;
    let message_identifier_hash = cursor.u16("message identifier hash")?;
    if message_identifier_hash == 0 {
        notes.push(Note::NoHash);
    }
    let origin = if flags & 0x10 == 0 {
        IpAddr::V4(Ipv4Addr::from(cursor.take::<4>("originating source")?))
    } else {
        IpAddr::V6(Ipv6Addr::from(cursor.take::<16>("originating source")?))
    };
    cursor.skip("authentication data", authentication_octets)?;
    let is_encrypted = flags & 0x02 != 0;
    let is_compressed = flags & 0x01 != 0;
    let body = cursor.rest();
    let (payload_type, payload) = match (is_encrypted, is_compressed) {
        (true, _) => (None, body.to_vec()),
        (false, true) => inflated(body, &mut notes),
        (false, false) => split_type(body.to_vec(), &mut notes),
    };
    Ok(Message {
        is_deletion: flags & 0x04 != 0,
        is_encrypted,
        is_compressed,
        message_identifier_hash,
        origin,
        authentication_octets,
        payload_type,
        payload,
        notes,
    })
}

/// A compressed payload: the type is inside as a rule; where the octets do not inflate it may stand before them
/// in clear, as the RFC's wording allows both.
fn inflated(body: &[u8], notes: &mut Vec<Note>) -> (Option<String>, Vec<u8>) {
    let note = match inflate(body) {
        Ok(inflated) => return split_type(inflated, notes),
        Err(note) => note,
    };
    if note == Note::CompressionBroken
        && let Some((name, rest)) = split_at_nul(body)
        && let Ok(inflated) = inflate(rest)
    {
        return (Some(name), inflated);
    }
    notes.push(note);
    (None, Vec::new())
}

fn inflate(octets: &[u8]) -> Result<Vec<u8>, Note> {
    let mut inflated = Vec::new();
    match ZlibDecoder::new(octets).take(MOST_INFLATED + 1).read_to_end(&mut inflated) {
        Ok(count) if u64::try_from(count).is_ok_and(|count| count <= MOST_INFLATED) => Ok(inflated),
        Ok(_) => Err(Note::InflatesTooFar),
        Err(_) => Err(Note::CompressionBroken),
    }
}

fn split_at_nul(body: &[u8]) -> Option<(String, &[u8])> {
    let end = body.iter().take(LONGEST_TYPE + 1).position(|octet| *octet == 0)?;
    let (name, rest) = (body.get(..end)?, body.get(end.checked_add(1)?..)?);
    Some((String::from_utf8_lossy(name).into_owned(), rest))
}

/// The type up to its NUL and what follows. An SDP payload without a type begins with its version line; that of
/// a deletion with the origin line.
fn split_type(body: Vec<u8>, notes: &mut Vec<Note>) -> (Option<String>, Vec<u8>) {
    if body.is_empty() || body.starts_with(b"v=0") || body.starts_with(b"o=") {
        return (None, body);
    }
    match split_at_nul(&body) {
        Some((name, payload)) => (Some(name), payload.to_vec()),
        None => {
            notes.push(Note::PayloadTypeNotEnded);
            (None, body)
        }
    }
}
