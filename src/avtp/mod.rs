//! AVTP, the transport of IEEE 1722 (clause 4.4, from memory: no text and no capture was at hand).

use crate::bytes::Cursor;
use crate::bytes::DecodeError;

/// The Ethertype.
pub const ETHERTYPE: u16 = 0x22F0;

/// The common header, as far as it names a stream.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Header {
    /// `subtype`; see [`subtype_name`].
    pub subtype: u8,
    /// `version`, 0 to 7.
    pub version: u8,
    /// `stream_id`, where the subtype is followed by one and `sv` says that it is valid.
    pub stream_id: Option<u64>,
    /// What stream data carry.
    pub stream: Option<Stream>,
}

/// The rest of a stream data header.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stream {
    /// `mr`: toggles when the media clock restarts.
    pub media_clock_restart: bool,
    /// `sequence_num`.
    pub sequence_num: u8,
    /// `tu`: the sender's clock is uncertain.
    pub timestamp_uncertain: bool,
    /// `avtp_timestamp`, ns of gPTP modulo 2³²; `None` where `tv` says that it is not valid.
    pub avtp_timestamp: Option<u32>,
    /// `stream_data_length`, octets.
    pub stream_data_length: u16,
}

/// The subtype's name, or `None` where it is not known here.
#[must_use]
pub const fn subtype_name(subtype: u8) -> Option<&'static str> {
    Some(match subtype {
        0x00 => "61883_IIDC",
        0x01 => "MMA_STREAM",
        0x02 => "AAF",
        0x03 => "CVF",
        0x04 => "CRF",
        0x05 => "TSCF",
        0x06 => "SVF",
        0x07 => "RVF",
        0x6E => "AEF_CONTINUOUS",
        0x6F => "VSF_STREAM",
        0x7F => "EF_STREAM",
        0x82 => "NTSCF",
        0xEC => "ESCF",
        0xED => "EECF",
        0xEE => "AEF_DISCRETE",
        0xFA => "ADP",
        0xFB => "AECP",
        0xFC => "ACMP",
        0xFE => "MAAP",
        0xFF => "EF_CONTROL",
        _ => return None,
    })
}

/// Whether the subtype has the header of stream data: those below 0x80 but for the clock reference (0x04), whose
/// header is its own.
const fn has_stream_header(subtype: u8) -> bool {
    subtype < 0x80 && subtype != 0x04
}

/// The subtype of clock references.
pub const CLOCK_REFERENCE: u8 = 0x04;

/// What the first octets say of a packet of a stream, also where the capture kept no more.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Lead {
    /// `subtype`.
    pub subtype: u8,
    /// `sequence_num`, of subtypes that count there.
    pub sequence_num: Option<u8>,
    /// `stream_id`.
    pub stream_id: u64,
    /// `stream_data_length`, of a clock reference `crf_data_length`; `None` where it was cut off.
    pub data_length: Option<u16>,
}

/// Reads what of a stream's packet is there: of subtypes with a stream header, and of clock references, whose number and
/// `stream_id` stand in the same places (clauses 4.4.4 and 10, from memory). `None` for all others, where the id is not valid
/// or was cut off.
#[must_use]
pub fn lead(octets: &[u8]) -> Option<Lead> {
    let [subtype, flags, sequence_num, _, id @ ..] = *octets.first_chunk::<12>()?;
    let is_reference = subtype == CLOCK_REFERENCE;
    if flags & 0x80 == 0 || !(is_reference || has_stream_header(subtype)) {
        return None;
    }
    let at = if is_reference { 16 } else { 20 };
    let length = octets.get(at..).and_then(|rest| rest.first_chunk::<2>());
    Some(Lead {
        subtype,
        sequence_num: counts(subtype).then_some(sequence_num),
        stream_id: u64::from_be_bytes(id),
        data_length: length.map(|length| u16::from_be_bytes(*length)),
    })
}

/// Whether the subtype counts its packets in `sequence_num`: the formats of IEEE 1722-2016 below 0x08 do (clauses 5 to 12,
/// from memory), of the others it is not known here.
const fn counts(subtype: u8) -> bool {
    matches!(subtype, 0x00 | 0x02..=0x07)
}

/// Decodes what follows the Ethertype.
///
/// # Errors
/// Where the octets end inside the header.
pub fn decode(octets: &[u8]) -> Result<Header, DecodeError> {
    let mut cursor = Cursor::new(octets);
    let subtype = cursor.u8("subtype")?;
    let flags = cursor.u8("sv, version, mr and tv")?;
    let sequence_num = cursor.u8("sequence_num")?;
    let uncertain = cursor.u8("tu")?;
    let id = cursor.u64("stream_id")?;
    let stream = if has_stream_header(subtype) {
        let avtp_timestamp = cursor.u32("avtp_timestamp")?;
        cursor.skip("format_info", 4)?;
        Some(Stream {
            media_clock_restart: flags & 0x08 != 0,
            sequence_num,
            timestamp_uncertain: uncertain & 0x01 != 0,
            avtp_timestamp: (flags & 0x01 != 0).then_some(avtp_timestamp),
            stream_data_length: cursor.u16("stream_data_length")?,
        })
    } else {
        None
    };
    let stream_id = (flags & 0x80 != 0).then_some(id);
    Ok(Header { subtype, version: flags >> 4 & 0x07, stream_id, stream })
}
