//! What a stream is, and how that is known.

use super::flow::Measured;
use super::media::Media;
use super::media::VIDEO_RATE;
use super::media::clock_rate;
use super::sessions::Described;
use super::signs::Format;
use crate::avtp;
use crate::rtp;
use crate::rtp::Neighbours;
use crate::rtp::payload::linear_audio_candidates;
use crate::rtp::static_payload_type;

/// Octets of an MPEG-2 transport stream packet, and its first octet (ISO/IEC 13818-1, from memory).
const TS_PACKET: u16 = 188;
const TS_SYNC: u8 = 0x47;

/// What kind of media.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    /// Audio.
    Audio,
    /// Video.
    Video,
    /// Ancillary data (RFC 8331).
    Ancillary,
    /// No media: UDP that is no RTP and no transport stream.
    Other,
    /// RTP of which no more is known.
    Unknown,
}

impl Kind {
    /// The name in the JSON report.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Audio => "audio",
            Self::Video => "video",
            Self::Ancillary => "ancillary",
            Self::Other => "other",
            Self::Unknown => "unknown",
        }
    }
}

/// How it is known what a stream is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum KnownBy {
    /// Its description.
    Sdp,
    /// Its static payload type (RFC 3551).
    PayloadType,
    /// The headers of its payloads go on as one format's RFC has it.
    PayloadHeader,
    /// Its timestamps, sizes and markers fit it.
    Inferred,
    /// It is not known.
    Unknown,
}

impl KnownBy {
    /// The name in the JSON report.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Sdp => "sdp",
            Self::PayloadType => "payload-type",
            Self::PayloadHeader => "payload-header",
            Self::Inferred => "inferred",
            Self::Unknown => "unknown",
        }
    }
}

/// What a stream is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Nature {
    /// The kind.
    pub kind: Kind,
    /// Encoding name, with channels where they are known; several where the packets fit several.
    pub codec: Option<String>,
    /// Hz of the RTP timestamp.
    pub clock_rate: Option<u32>,
    /// How that is known.
    pub known_by: KnownBy,
    /// Frames a second times 1000, of video with one marker a frame.
    pub frames_per_1000_s: Option<u64>,
}

impl Nature {
    const fn new(kind: Kind, codec: Option<String>, clock_rate: Option<u32>, known_by: KnownBy) -> Self {
        Self { kind, codec, clock_rate, known_by, frames_per_1000_s: None }
    }
}

/// What a flow that is no RTP is.
pub(super) fn plain(measured: &Measured, payload: &[u8], is_avtp: bool) -> Nature {
    let (low, high) = measured.media_sizes;
    let cells = low == high && low > 0 && low.is_multiple_of(TS_PACKET);
    if !is_avtp && cells && payload.first() == Some(&TS_SYNC) {
        return Nature::new(Kind::Video, Some("MP2T".to_owned()), None, KnownBy::Inferred);
    }
    if is_avtp {
        let subtype = payload.first().copied();
        let name = subtype.and_then(avtp::subtype_name);
        // Audio, compressed video and clock references have formats of their own (IEEE 1722-2016, from memory).
        let (kind, known_by) = match name {
            Some("AAF") => (Kind::Audio, KnownBy::PayloadHeader),
            Some("CVF") => (Kind::Video, KnownBy::PayloadHeader),
            Some("CRF") => (Kind::Other, KnownBy::PayloadHeader),
            _ => (Kind::Unknown, KnownBy::Unknown),
        };
        let codec = match name {
            Some("CRF") => "AVTP CRF, a clock reference".to_owned(),
            Some(name) => format!("AVTP {name}"),
            None => "AVTP".to_owned(),
        };
        return Nature::new(kind, Some(codec), None, known_by);
    }
    Nature::new(Kind::Other, None, None, KnownBy::Unknown)
}

/// What an RTP flow is: by its description, its payload type, or its packets, in that order.
pub(super) fn rtp(
    measured: &Measured,
    media: &Media,
    neighbours: &Neighbours,
    format: Option<Format>,
    described: Option<&Described>,
) -> Nature {
    let mut nature = described
        .and_then(by_description)
        .or_else(|| by_payload_type(media))
        .or_else(|| format.map(by_payload_header))
        .unwrap_or_else(|| inferred(measured, media, neighbours));
    if nature.kind == Kind::Video && media.markers > 1 && neighbours.still() > 0 {
        nature.frames_per_1000_s = frames(measured, media);
    }
    nature
}

/// Markers less the first over the time they span; off by the ends' share.
fn frames(measured: &Measured, media: &Media) -> Option<u64> {
    let span = u128::try_from(measured.span().0).ok()?;
    let markers = u128::from(media.markers.saturating_sub(1));
    u64::try_from((markers * 1_000_000_000_000).checked_div(span)?).ok()
}

fn by_description(described: &Described) -> Option<Nature> {
    let map = described.map.as_ref()?;
    let kind = match (described.kind.as_str(), map.encoding.to_ascii_lowercase().as_str()) {
        (_, "smpte291") => Kind::Ancillary,
        ("audio", _) => Kind::Audio,
        ("video", _) => Kind::Video,
        _ => Kind::Unknown,
    };
    let codec = match (kind, map.channels) {
        (Kind::Audio, channels) => format!("{} x{}", map.encoding, channels.unwrap_or(1)),
        _ => map.encoding.clone(),
    };
    Some(Nature::new(kind, Some(codec), Some(map.clock_rate), KnownBy::Sdp))
}

fn by_payload_type(media: &Media) -> Option<Nature> {
    let known = static_payload_type(media.payload_type()?)?;
    let kind = match known.media {
        rtp::Media::Audio => Kind::Audio,
        rtp::Media::Video | rtp::Media::AudioAndVideo => Kind::Video,
    };
    let codec = match known.channels {
        Some(channels) => format!("{} x{channels}", known.encoding),
        None => known.encoding.to_owned(),
    };
    Some(Nature::new(kind, Some(codec), Some(known.clock_rate), KnownBy::PayloadType))
}

fn by_payload_header(format: Format) -> Nature {
    let kind = if format == Format::Ancillary { Kind::Ancillary } else { Kind::Video };
    // The clock rate of each of these formats (RFC 6184 section 8.2.1, RFC 7798 section 7.1, RFC 9134, RFC 5371 section
    // 6, RFC 4175 section 6.1; ST 2110-40; from memory).
    Nature::new(kind, Some(format.name().to_owned()), Some(VIDEO_RATE), KnownBy::PayloadHeader)
}

fn inferred(measured: &Measured, media: &Media, neighbours: &Neighbours) -> Nature {
    let unknown = Nature::new(Kind::Unknown, None, None, KnownBy::Unknown);
    let Some(clock_rate) = clock_rate(neighbours) else { return unknown };
    let (low, high) = measured.media_sizes;
    // Each packet has its own time and all are alike, whatever jumps between: linear audio.
    let steady = neighbours.step().and_then(|step| u32::try_from(step).ok()).filter(|step| *step > 0);
    if let Some(samples) =
        steady.filter(|_| neighbours.still() == 0 && low == high && clock_rate != VIDEO_RATE)
    {
        let candidates = linear_audio_candidates(usize::from(low), samples);
        let names: Vec<String> = candidates
            .iter()
            .map(|format| {
                let name = match format.sample_octets {
                    2 => "L16",
                    3 => "L24",
                    _ => "AM824",
                };
                format!("{name} x{}", format.channels)
            })
            .collect();
        let codec = (!names.is_empty()).then(|| names.join(" or "));
        return Nature::new(Kind::Audio, codec, Some(clock_rate), KnownBy::Inferred);
    }
    if clock_rate != VIDEO_RATE {
        return Nature::new(Kind::Unknown, None, Some(clock_rate), KnownBy::Inferred);
    }
    // Several packets share an instant and the last of them is marked: pictures.
    if neighbours.still() > 0 && media.markers > 0 {
        return Nature::new(Kind::Video, None, Some(clock_rate), KnownBy::Inferred);
    }
    Nature::new(Kind::Unknown, None, Some(clock_rate), KnownBy::Inferred)
}
