//! PTP's two ways to write a duration: scaled nanoseconds and powers of two of a second.

use super::time::{NANOS_PER_SECOND, Nanos};

/// A PTP `TimeInterval` in units of 2⁻¹⁶ ns (1588-2008 5.3.2, from memory).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct TimeInterval(pub i64);

impl TimeInterval {
    /// The wire value for "too big to represent" (1588-2008 13.3.2.7, from memory).
    pub const TOO_BIG: Self = Self(i64::MAX);

    /// The wire value, or `None` where it is [`TimeInterval::TOO_BIG`].
    #[must_use]
    pub const fn known(self) -> Option<Self> {
        if self.0 == i64::MAX { None } else { Some(self) }
    }

    /// Whole nanoseconds, rounded towards minus infinity.
    #[must_use]
    pub const fn floor_ns(self) -> Nanos {
        Nanos(self.0 >> 16)
    }
}

/// A power of two of a second, `log2(interval in s)`, as `logMessageInterval` carries it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct LogInterval(pub i8);

impl LogInterval {
    /// The wire value for "not given" (1588-2008 Table 24, from memory; seen in real captures).
    pub const NOT_GIVEN: Self = Self(0x7F);

    /// The interval, exact for −9 to 33; finer ones are rounded down to whole nanoseconds.
    ///
    /// `None` for "not given" and for values whose interval is below 1 ns or beyond [`Nanos`].
    #[must_use]
    pub fn nanos(self) -> Option<Nanos> {
        let magnitude = u32::from(self.0.unsigned_abs());
        if self.0 >= 0 {
            let seconds = 1_i64.checked_shl(magnitude).filter(|_| magnitude < 34)?;
            seconds.checked_mul(NANOS_PER_SECOND).map(Nanos)
        } else {
            NANOS_PER_SECOND.checked_shr(magnitude).filter(|ns| *ns > 0).map(Nanos)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn log_interval_covers_the_standards_range_and_refuses_the_rest() {
        assert_eq!(LogInterval(0).nanos(), Some(Nanos(1_000_000_000)));
        assert_eq!(LogInterval(-3).nanos(), Some(Nanos(125_000_000)));
        assert_eq!(LogInterval(4).nanos(), Some(Nanos(16_000_000_000)));
        assert_eq!(LogInterval::NOT_GIVEN.nanos(), None);
        assert_eq!(LogInterval(-128).nanos(), None);
        assert_eq!(LogInterval(34).nanos(), None);
    }

    #[test]
    fn a_scaled_interval_rounds_down_and_knows_its_sentinel() {
        assert_eq!(TimeInterval(-1).floor_ns(), Nanos(-1));
        assert_eq!(TimeInterval(65536 * 3 + 1).floor_ns(), Nanos(3));
        assert_eq!(TimeInterval::TOO_BIG.known(), None);
    }
}
