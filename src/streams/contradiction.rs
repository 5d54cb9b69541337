//! Where a stream's packets are not what its description says.

use std::fmt;

use super::describe::KnownBy;
use super::describe::Nature;
use super::sessions::Described;
use super::stream::Packets;
use crate::units::NANOS_PER_SECOND;
use crate::units::Nanos;

/// Packets of a stream before their rate and size count (chosen: enough for a steady rate).
const PACKETS: u64 = 100;

/// Something that a description says and the packets do not bear out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Contradiction {
    /// The packets' payload type is none of those on the `m=` line.
    PayloadType {
        /// Those on the line.
        described: Vec<u8>,
        /// That of the packets.
        seen: u8,
    },
    /// The timestamps run at another rate than that of `a=rtpmap`.
    ClockRate {
        /// Hz of the description.
        described: u32,
        /// Hz of the timestamps.
        measured: u32,
    },
    /// The samples of a packet take another number of octets (linear audio: RFC 3551 section 4.5.11, RFC 3190, from
    /// memory).
    Octets {
        /// Encoding of the description.
        encoding: String,
        /// Its channels.
        channels: i64,
        /// Samples of a packet by its timestamps.
        samples: i64,
        /// Octets that those would take.
        due: i64,
        /// Octets that there are.
        seen: u16,
    },
    /// The timestamps run at another rate than that of the payload type, and nothing describes another meaning of it
    /// (RFC 3551 section 6).
    TypeRate {
        /// The payload type.
        payload_type: u8,
        /// Hz of the payload type.
        registered: u32,
        /// Hz of the timestamps.
        measured: u32,
    },
    /// Packets hold another time than `a=ptime` says.
    PacketTime {
        /// That of the description.
        described: Nanos,
        /// That of the packets.
        measured: Nanos,
    },
}

impl Contradiction {
    /// Whether the encoding itself is in doubt: what the description says of it is then no fact.
    #[must_use]
    pub const fn is_of_format(&self) -> bool {
        !matches!(self, Self::PacketTime { .. } | Self::TypeRate { .. })
    }
}

impl fmt::Display for Contradiction {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::PayloadType { described, seen } => {
                let described: Vec<String> = described.iter().map(ToString::to_string).collect();
                write!(f, "described with payload type {}, its packets have {seen}", described.join(" or "))
            }
            Self::ClockRate { described, measured } => {
                write!(f, "described with {described} Hz, its timestamps run at {measured} Hz")
            }
            Self::TypeRate { payload_type, registered, measured } => write!(
                f,
                "payload type {payload_type} means {registered} Hz, its timestamps run at {measured} Hz"
            ),
            Self::Octets { encoding, channels, samples, due, seen } => write!(
                f,
                "described as {encoding} with {channels} channels, {samples} samples take {due} octets; its packets have \
                 {seen}"
            ),
            Self::PacketTime { described, measured } => write!(
                f,
                "described with {} ms a packet, its packets hold {} ms",
                milliseconds(*described),
                milliseconds(*measured)
            ),
        }
    }
}

/// Milliseconds with three decimals at the most.
fn milliseconds(time: Nanos) -> String {
    let micros = time.0.saturating_add(500) / 1000;
    let text = format!("{}.{:03}", micros / 1000, micros % 1000);
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// Octets of a sample by the encoding's name.
fn sample_octets(encoding: &str) -> Option<i64> {
    match encoding.to_ascii_uppercase().as_str() {
        "L8" => Some(1),
        "L16" => Some(2),
        "L24" => Some(3),
        "AM824" => Some(4),
        _ => None,
    }
}

/// Whether the timestamps speak against the payload type by which a stream is known.
pub(super) fn of_type(
    nature: &Nature,
    payload_type: Option<u8>,
    packets: &Packets,
    count: u64,
) -> Option<Contradiction> {
    let (registered, measured) = nature.clock_rate.zip(packets.clock_rate)?;
    let is_other = nature.known_by == KnownBy::PayloadType && registered != measured && count >= PACKETS;
    let payload_type = payload_type.filter(|_| is_other)?;
    Some(Contradiction::TypeRate { payload_type, registered, measured })
}

/// What of a description the packets, `count` in number, speak against. Rates and sizes of audio only: those of
/// pictures vary by design.
pub(super) fn of(
    described: &Described,
    payload_type: Option<u8>,
    packets: &Packets,
    count: u64,
) -> Vec<Contradiction> {
    let mut found = Vec::new();
    let types = &described.payload_types;
    if let Some(seen) = payload_type.filter(|seen| !types.is_empty() && !types.contains(seen)) {
        found.push(Contradiction::PayloadType { described: types.clone(), seen });
    }
    if described.kind != "audio" || count < PACKETS {
        return found;
    }
    let steady = packets.step.filter(|step| *step > 0).map(i64::from);
    if let Some(map) = &described.map {
        if let Some(measured) = packets.clock_rate.filter(|measured| *measured != map.clock_rate) {
            found.push(Contradiction::ClockRate { described: map.clock_rate, measured });
        }
        let (low, seen) = packets.octets;
        if let (Some(samples), Some(width), true) = (steady, sample_octets(&map.encoding), low == seen) {
            let channels = i64::from(map.channels.unwrap_or(1));
            let due = samples.saturating_mul(width).saturating_mul(channels);
            if due != i64::from(seen) {
                let encoding = map.encoding.clone();
                found.push(Contradiction::Octets { encoding, channels, samples, due, seen });
            }
        }
    }
    if let (Some(described), Some(samples), Some(rate)) =
        (described.packet_time.filter(|time| time.0 > 0), steady, packets.clock_rate)
    {
        let measured = samples.saturating_mul(NANOS_PER_SECOND).checked_div(i64::from(rate)).map(Nanos);
        // Descriptions round: 0.12 for 0.125 ms, 1 for 1.088 ms. An eighth is left for that (chosen).
        let off = measured.map_or(0, |measured| measured.0.saturating_sub(described.0).saturating_abs());
        if let Some(measured) = measured.filter(|_| off > described.0 / 8) {
            found.push(Contradiction::PacketTime { described, measured });
        }
    }
    found
}
