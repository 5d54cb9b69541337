//! Data rates, and how many octets a frame takes on the wire.

use super::time::{NANOS_PER_SECOND, Nanos};

/// A data rate in bit/s.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct BitsPerSecond(pub u64);

impl BitsPerSecond {
    /// The rate of `octets` over a duration, rounded down; `None` where no time passed. Saturates.
    #[must_use]
    pub fn from_octets(octets: u64, over: Nanos) -> Option<Self> {
        let over = u128::try_from(over.0).ok().filter(|ns| *ns > 0)?;
        let second = u128::from(NANOS_PER_SECOND.unsigned_abs());
        let rate = u128::from(octets).saturating_mul(8).saturating_mul(second) / over;
        Some(Self(u64::try_from(rate).unwrap_or(u64::MAX)))
    }

    /// The sum, saturating at the range's end.
    #[must_use]
    pub const fn saturating_add(self, other: Self) -> Self {
        Self(self.0.saturating_add(other.0))
    }
}

/// Preamble and start delimiter (8) and the gap between frames (12), octets (IEEE 802.3 clause 4.4.2 and
/// clause 3, from memory).
const PREAMBLE_AND_GAP: u64 = 20;
/// Frame check sequence, octets (IEEE 802.3 clause 3, from memory).
const FRAME_CHECK: u64 = 4;
/// Shortest frame without its frame check sequence, octets (IEEE 802.3 clause 4.4.2, from memory).
const SHORTEST_FRAME: u64 = 60;

/// Octets that an Ethernet frame takes on the wire: its original length, the frame check sequence where the
/// capture left it out, preamble and gap. Frames that were captured before padding count as padded.
#[must_use]
#[inline]
pub fn wire_octets(original_len: u32, fcs_included: bool) -> u64 {
    let check_in_capture = if fcs_included { FRAME_CHECK } else { 0 };
    let frame = u64::from(original_len).saturating_sub(check_in_capture).max(SHORTEST_FRAME);
    frame + FRAME_CHECK + PREAMBLE_AND_GAP
}

/// [`wire_octets`] in bits.
#[must_use]
pub fn wire_bits(original_len: u32, fcs_included: bool) -> u64 {
    wire_octets(original_len, fcs_included) * 8
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_wire_takes_24_octets_more_or_20_where_the_check_sequence_was_captured() {
        assert_eq!(wire_octets(342, false), 366);
        assert_eq!(wire_octets(346, true), 366);
        assert_eq!(wire_bits(60, false), 84 * 8);
        assert_eq!((wire_octets(42, false), wire_octets(0, true)), (84, 84));
    }

    #[test]
    fn a_rate_needs_time_and_never_overflows() {
        assert_eq!(BitsPerSecond::from_octets(125, Nanos(1_000_000)), Some(BitsPerSecond(1_000_000)));
        assert_eq!(BitsPerSecond::from_octets(1, Nanos::ZERO), None);
        assert_eq!(BitsPerSecond::from_octets(1, Nanos(-1)), None);
        assert_eq!(BitsPerSecond::from_octets(u64::MAX, Nanos(1)), Some(BitsPerSecond(u64::MAX)));
    }
}
