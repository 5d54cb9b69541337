//! The unit of all timing arithmetic.

use crate::units::CaptureTime;
use crate::units::Nanos;
use crate::units::TimeInterval;
use crate::units::Timestamp;

/// 2⁻¹⁶ ns in a nanosecond.
const PER_NANOSECOND: i128 = 1 << 16;

/// A signed time in units of 2⁻¹⁶ ns, wide enough for any difference of two stamps; sums saturate.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct ScaledNanos(pub i128);

impl ScaledNanos {
    /// No time at all.
    pub const ZERO: Self = Self(0);

    /// `capture − timestamp`: both count from 1970-01-01, each on its own clock and timescale.
    #[must_use]
    pub fn between(timestamp: Timestamp, capture: CaptureTime) -> Self {
        Self((i128::from(capture.0) - timestamp.total_ns()) * PER_NANOSECOND)
    }

    /// `later − earlier` on the leader's clock.
    #[must_use]
    pub fn between_timestamps(earlier: Timestamp, later: Timestamp) -> Self {
        Self((later.total_ns() - earlier.total_ns()) * PER_NANOSECOND)
    }

    /// `later − earlier` on the capture's clock.
    #[must_use]
    pub fn between_captures(earlier: CaptureTime, later: CaptureTime) -> Self {
        Self((i128::from(later.0) - i128::from(earlier.0)) * PER_NANOSECOND)
    }

    /// The sum of `correctionField`s, or `None` where one says "too big to represent".
    #[must_use]
    pub fn total(corrections: &[TimeInterval]) -> Option<Self> {
        corrections.iter().try_fold(Self::ZERO, |sum, correction| {
            let known = correction.known()?;
            Some(sum.plus(Self(i128::from(known.0))))
        })
    }

    /// The sum.
    #[must_use]
    pub const fn plus(self, other: Self) -> Self {
        Self(self.0.saturating_add(other.0))
    }

    /// The difference.
    #[must_use]
    pub const fn minus(self, other: Self) -> Self {
        Self(self.0.saturating_sub(other.0))
    }

    /// Half of it, rounded towards minus infinity.
    #[must_use]
    pub const fn half(self) -> Self {
        Self(self.0 >> 1)
    }

    /// Its size.
    #[must_use]
    pub const fn abs(self) -> Self {
        Self(self.0.saturating_abs())
    }

    /// The nearest whole nanosecond, halves upwards; `None` beyond ±292 years.
    #[must_use]
    pub fn nanos(self) -> Option<Nanos> {
        let half = PER_NANOSECOND / 2;
        i64::try_from(self.0.checked_add(half)?.div_euclid(PER_NANOSECOND)).ok().map(Nanos)
    }

    /// As nanoseconds, for the report.
    #[must_use]
    #[allow(clippy::as_conversions, reason = "a report's number, rounded to 53 bits")]
    pub fn as_ns_f64(self) -> f64 {
        self.0 as f64 / 65536.0
    }
}

impl From<Nanos> for ScaledNanos {
    fn from(nanos: Nanos) -> Self {
        Self(i128::from(nanos.0) * PER_NANOSECOND)
    }
}

impl From<TimeInterval> for ScaledNanos {
    fn from(interval: TimeInterval) -> Self {
        Self(i128::from(interval.0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn the_ends_of_both_clocks_are_still_apart_exactly() {
        let last = Timestamp { seconds: u64::MAX, nanoseconds: u32::MAX };
        let apart = ScaledNanos::between(last, CaptureTime(i64::MIN));
        assert_eq!(apart.0, (i128::from(i64::MIN) - last.total_ns()) * 65536);
        assert_eq!(apart.nanos(), None);
    }

    #[test]
    fn a_saturated_correction_spoils_the_sum() {
        assert_eq!(ScaledNanos::total(&[TimeInterval(5), TimeInterval(-7)]), Some(ScaledNanos(-2)));
        assert_eq!(ScaledNanos::total(&[TimeInterval(5), TimeInterval::TOO_BIG]), None);
        assert_eq!(ScaledNanos::total(&[]), Some(ScaledNanos::ZERO));
    }

    #[test]
    fn rounding_goes_to_the_nearest_nanosecond() {
        let rounded = |scaled| ScaledNanos(scaled).nanos().unwrap().0;
        assert_eq!([rounded(32767), rounded(32768), rounded(-32768), rounded(-32769)], [0, 1, 0, -1]);
    }

    proptest! {
        #[test]
        fn nothing_makes_it_panic(one in any::<i128>(), other in any::<i128>()) {
            let (one, other) = (ScaledNanos(one), ScaledNanos(other));
            let _ = (one.plus(other), one.minus(other), one.abs(), one.half(), one.nanos(), one.as_ns_f64());
        }
    }
}
