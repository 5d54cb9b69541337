//! The three clocks' words: [`CaptureTime`] is when the capture saw something, [`Timestamp`] is what
//! PTP says, and [`Nanos`] is a difference of two instants of one clock.

use std::fmt;
use std::ops::Neg;

/// Nanoseconds in a second.
pub const NANOS_PER_SECOND: i64 = 1_000_000_000;

/// A signed duration in nanoseconds, ±292 years.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Nanos(pub i64);

impl Nanos {
    /// No time at all.
    pub const ZERO: Self = Self(0);

    /// `seconds` as nanoseconds, saturating at the range's ends.
    #[must_use]
    pub const fn from_seconds(seconds: i64) -> Self {
        Self(seconds.saturating_mul(NANOS_PER_SECOND))
    }

    /// The sum, saturating at the range's ends.
    #[must_use]
    pub const fn saturating_add(self, other: Self) -> Self {
        Self(self.0.saturating_add(other.0))
    }

    /// Seconds rounded to three decimals, as reasons and findings write an instant: `31.250 s`, and `-0.500 s` below 0.
    #[must_use]
    pub fn as_seconds_text(self) -> String {
        let ms = self.0.unsigned_abs().saturating_add(500_000) / 1_000_000;
        let sign = if self.0 < 0 && ms > 0 { "-" } else { "" };
        format!("{sign}{}.{:03} s", ms / 1000, ms % 1000)
    }

    /// This duration `factor` times, saturating at the range's ends.
    #[must_use]
    pub const fn saturating_mul(self, factor: i64) -> Self {
        Self(self.0.saturating_mul(factor))
    }
}

impl Neg for Nanos {
    type Output = Self;
    fn neg(self) -> Self {
        Self(self.0.saturating_neg())
    }
}

/// An instant of the capture's clock: nanoseconds since 1970-01-01T00:00:00 UTC as that clock counts.
///
/// Stamps finer than a nanosecond are rounded down; the capture's own resolution is kept beside it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct CaptureTime(pub i64);

impl CaptureTime {
    /// `self - earlier`, saturating at ±292 years.
    #[inline]
    #[must_use]
    pub const fn since(self, earlier: Self) -> Nanos {
        Nanos(self.0.saturating_sub(earlier.0))
    }

    /// This instant moved by `by`, saturating at the range's ends.
    #[must_use]
    pub const fn plus(self, by: Nanos) -> Self {
        Self(self.0.saturating_add(by.0))
    }
}

/// A PTP `Timestamp`: 48 bits of seconds and 32 of nanoseconds (1588-2008 5.3.3, from memory).
///
/// `nanoseconds` holds what the wire says, also where that is 10⁹ or more and so not legal.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Timestamp {
    /// `secondsField`, 48 bits on the wire (v1: 32 bits).
    pub seconds: u64,
    /// `nanosecondsField`, legal below 10⁹.
    pub nanoseconds: u32,
}

impl Timestamp {
    /// `self - earlier`, or `None` beyond what [`Nanos`] holds.
    #[must_use]
    pub fn since(self, earlier: Self) -> Option<Nanos> {
        i64::try_from(self.total_ns() - earlier.total_ns()).ok().map(Nanos)
    }

    /// All of it in nanoseconds; 48 bits of seconds do not fit in an `i64`.
    #[must_use]
    pub fn total_ns(self) -> i128 {
        i128::from(self.seconds) * i128::from(NANOS_PER_SECOND) + i128::from(self.nanoseconds)
    }

    /// Whether both fields are 0, which senders use for "not filled".
    #[must_use]
    pub const fn is_zero(self) -> bool {
        self.seconds == 0 && self.nanoseconds == 0
    }
}

impl fmt::Display for Timestamp {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}.{:09}", self.seconds, self.nanoseconds)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn seconds_are_written_rounded_and_at_the_ends_of_the_range() {
        for (ns, text) in [
            (0, "0.000 s"),
            (31_250_499_999, "31.250 s"),
            (31_250_500_000, "31.251 s"),
            (-1, "0.000 s"),
            (-499_999, "0.000 s"),
            (-500_000, "-0.001 s"),
            (-12_345_678_900, "-12.346 s"),
            (i64::MAX, "9223372036.855 s"),
            (i64::MIN, "-9223372036.855 s"),
        ] {
            assert_eq!(Nanos(ns).as_seconds_text(), text);
        }
    }
}
