//! A stamp's ticks to nanoseconds, in integers.

use crate::units::CaptureTime;
use crate::units::NANOS_PER_SECOND;
use crate::units::Nanos;

/// Nanoseconds in a second, wide enough that no 64-bit count of ticks overflows.
const NANOS: u128 = 1_000_000_000;

/// How long one tick of an interface's clock is: pcapng's `if_tsresol`.
///
/// draft-ietf-opsawg-pcapng, Interface Description Block options: top bit clear, 10⁻ⁿ s; top bit set, 2⁻ⁿ s,
/// n being the other seven bits; 10⁻⁶ s where the option is absent.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum TickLength {
    /// This many nanoseconds.
    Nanos(u32),
    /// So many ticks to a nanosecond, a power of ten; `None` is more than 2¹²⁸, no tick counts.
    PerNano(Option<u128>),
    /// 2⁻ⁿ s.
    PowerOfTwo(u8),
}

impl TickLength {
    pub(super) const MICROSECOND: Self = Self::Nanos(1_000);

    /// Reads the option's octet.
    pub(super) fn from_if_tsresol(raw: u8) -> Self {
        let exponent = raw & 0x7F;
        if raw & 0x80 != 0 {
            return Self::PowerOfTwo(exponent);
        }
        match 9_u8.checked_sub(exponent) {
            Some(rest) => Self::Nanos(10_u32.saturating_pow(u32::from(rest))),
            None => Self::PerNano(10_u128.checked_pow(u32::from(exponent.saturating_sub(9)))),
        }
    }

    /// One tick in nanoseconds, rounded up, so at least 1.
    pub(super) fn resolution(self) -> Nanos {
        match self {
            Self::Nanos(nanos) => Nanos(i64::from(nanos)),
            Self::PerNano(_) => Nanos(1),
            Self::PowerOfTwo(exponent) => {
                let step = NANOS.div_ceil(1_u128 << (exponent & 0x7F));
                Nanos(i64::try_from(step).unwrap_or(NANOS_PER_SECOND))
            }
        }
    }

    /// The instant `ticks` after `offset_seconds` (`if_tsoffset`), rounded down to whole nanoseconds.
    ///
    /// `None` outside what [`CaptureTime`] holds, years 1677 to 2262.
    #[inline]
    pub(super) fn time(self, ticks: u64, offset_seconds: i64) -> Option<CaptureTime> {
        if let (Self::Nanos(length), 0) = (self, offset_seconds) {
            // Nearly every file: the same in 64 bits.
            let nanos = ticks.checked_mul(u64::from(length))?;
            return i64::try_from(nanos).ok().map(CaptureTime);
        }
        let ticks = u128::from(ticks);
        // At most 2⁶⁴ · 10⁹ < 2⁹⁴: neither the product nor the sum below leaves its type.
        let nanos = match self {
            Self::Nanos(length) => ticks * u128::from(length),
            Self::PerNano(per_nano) => per_nano.and_then(|n| ticks.checked_div(n)).unwrap_or(0),
            Self::PowerOfTwo(exponent) => (ticks * NANOS) >> (exponent & 0x7F),
        };
        let offset = i128::from(offset_seconds) * i128::from(NANOS_PER_SECOND);
        let total = i128::try_from(nanos).ok()?.checked_add(offset)?;
        i64::try_from(total).ok().map(CaptureTime)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Expected values worked out with Python's exact integers: floor(ticks * 10**9 / steps per second).
    #[test]
    fn every_kind_of_resolution_is_exact_and_rounds_down() {
        let at = |raw, ticks| TickLength::from_if_tsresol(raw).time(ticks, 0).map(|t| t.0);
        assert_eq!(at(0, 1_700_000_000), Some(1_700_000_000_000_000_000));
        assert_eq!(at(3, 1_700_000_000_123), Some(1_700_000_000_123_000_000));
        assert_eq!(at(6, 1_700_000_000_123_456), Some(1_700_000_000_123_456_000));
        assert_eq!(at(9, 1_700_000_000_123_456_789), Some(1_700_000_000_123_456_789));
        assert_eq!(at(12, 1_700_000_123_456_789_987), Some(1_700_000_123_456_789));
        assert_eq!(at(0x8A, 1024 + 1), Some(1_000_976_562));
        assert_eq!(at(0x94, 3 * (1 << 20) + 1), Some(3_000_000_953));
        assert_eq!(at(0x9E, (5 << 30) + 1), Some(5_000_000_000));
        assert_eq!(at(0x9E, (5 << 30) + 2), Some(5_000_000_001));
        assert_eq!(at(0xBF, u64::MAX), Some(1_999_999_999));
        assert_eq!(at(0xFF, u64::MAX), Some(0));
        assert_eq!(at(0x7F, u64::MAX), Some(0));
        assert_eq!(at(0x1C, u64::MAX), Some(1));
    }

    #[test]
    fn a_stamp_beyond_the_range_is_none_not_a_wrapped_number() {
        assert_eq!(TickLength::from_if_tsresol(0).time(u64::MAX, 0), None);
        assert_eq!(TickLength::from_if_tsresol(9).time(u64::MAX, 0), None);
        assert_eq!(TickLength::from_if_tsresol(9).time(1, i64::MIN), None);
        assert_eq!(TickLength::from_if_tsresol(6).time(5, -1), Some(CaptureTime(-999_995_000)));
    }

    #[test]
    fn resolution_is_the_tick_rounded_up_and_never_nothing() {
        let of = |raw| TickLength::from_if_tsresol(raw).resolution().0;
        assert_eq!(of(0), 1_000_000_000);
        assert_eq!(of(6), 1_000);
        assert_eq!(of(9), 1);
        assert_eq!(of(12), 1);
        assert_eq!(of(0x80), 1_000_000_000);
        assert_eq!(of(0x8A), 976_563);
        assert_eq!(of(0x94), 954);
        assert_eq!(of(0x9E), 1);
        assert_eq!(of(0xBF), 1);
        assert_eq!(of(0xFF), 1);
    }
}
