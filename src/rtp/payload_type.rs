//! The static payload types (RFC 3551 section 6, tables 4 and 5; RFC 2250 and RFC 3555 among their sources).

/// What kind of media a payload type carries.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Media {
    /// Audio.
    Audio,
    /// Video.
    Video,
    /// Audio and video in one stream.
    AudioAndVideo,
}

/// A payload type with a fixed meaning.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct StaticPayloadType {
    /// `encoding name`.
    pub encoding: &'static str,
    /// What it carries.
    pub media: Media,
    /// `clock rate`, Hz.
    pub clock_rate: u32,
    /// Channels, for audio.
    pub channels: Option<u8>,
}

const fn audio(encoding: &'static str, clock_rate: u32, channels: u8) -> Option<StaticPayloadType> {
    Some(StaticPayloadType { encoding, media: Media::Audio, clock_rate, channels: Some(channels) })
}

const fn picture(encoding: &'static str, media: Media) -> Option<StaticPayloadType> {
    Some(StaticPayloadType { encoding, media, clock_rate: 90_000, channels: None })
}

/// What a payload type below 96 means, or `None` where it is dynamic, reserved or not assigned.
#[must_use]
pub const fn static_payload_type(payload_type: u8) -> Option<StaticPayloadType> {
    match payload_type {
        0 => audio("PCMU", 8000, 1),
        3 => audio("GSM", 8000, 1),
        4 => audio("G723", 8000, 1),
        5 => audio("DVI4", 8000, 1),
        6 => audio("DVI4", 16_000, 1),
        7 => audio("LPC", 8000, 1),
        8 => audio("PCMA", 8000, 1),
        // G.722 samples at 16 kHz; its RTP clock is 8 kHz by an old mistake (RFC 3551 section 4.5.2).
        9 => audio("G722", 8000, 1),
        10 => audio("L16", 44_100, 2),
        11 => audio("L16", 44_100, 1),
        12 => audio("QCELP", 8000, 1),
        13 => audio("CN", 8000, 1),
        // Channels are told in the payload.
        14 => Some(StaticPayloadType {
            encoding: "MPA",
            media: Media::Audio,
            clock_rate: 90_000,
            channels: None,
        }),
        15 => audio("G728", 8000, 1),
        16 => audio("DVI4", 11_025, 1),
        17 => audio("DVI4", 22_050, 1),
        18 => audio("G729", 8000, 1),
        25 => picture("CelB", Media::Video),
        26 => picture("JPEG", Media::Video),
        28 => picture("nv", Media::Video),
        31 => picture("H261", Media::Video),
        32 => picture("MPV", Media::Video),
        33 => picture("MP2T", Media::AudioAndVideo),
        34 => picture("H263", Media::Video),
        _ => None,
    }
}
