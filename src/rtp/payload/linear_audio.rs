//! Linear audio: L16 (RFC 3551 section 4.5.11), L24 (RFC 3190 section 4) and AES3 subframes (ST 2110-31, from memory)
//! have no payload header, so all there is to know is the size.

/// Channels and octets of a sample that give a payload's size.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct LinearAudio {
    /// Octets of one sample of one channel: 2 (L16), 3 (L24) or 4 (AES3 subframes).
    pub sample_octets: u8,
    /// Number of channels.
    pub channels: u16,
}

/// Sample sizes in the order in which they are likely (common practice, no source).
const SAMPLE_OCTETS: [u8; 3] = [3, 2, 4];

/// Octets of payload for `samples` of each channel.
#[must_use]
pub fn linear_audio_octets(samples: u32, format: LinearAudio) -> u64 {
    u64::from(samples) * u64::from(format.sample_octets) * u64::from(format.channels)
}

/// Every format whose samples fill a payload exactly, the likeliest first: where three octets divide the
/// samples of one instant, L24 is named before L16. Empty where nothing divides or `samples` is 0.
#[must_use]
pub fn linear_audio_candidates(payload_octets: usize, samples: u32) -> Vec<LinearAudio> {
    let Ok(octets) = u32::try_from(payload_octets) else { return Vec::new() };
    let Some(instant) = octets.checked_div(samples).filter(|each| *each > 0 && octets % samples == 0) else {
        return Vec::new();
    };
    SAMPLE_OCTETS
        .into_iter()
        .filter(|sample_octets| instant % u32::from(*sample_octets) == 0)
        .filter_map(|sample_octets| {
            let channels = u16::try_from(instant / u32::from(sample_octets)).ok()?;
            Some(LinearAudio { sample_octets, channels })
        })
        .collect()
}
