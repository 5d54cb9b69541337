//! Ratios of clock rates, as exact fractions.

use super::scaled::ScaledNanos;

/// The rate of one clock to another, `numerator / denominator`, both above 0.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct RateRatio {
    numerator: i128,
    denominator: i128,
}

impl RateRatio {
    /// Both clocks run alike.
    pub const ONE: Self = Self { numerator: 1, denominator: 1 };

    /// The ratio of two intervals of the same span, as `neighborRateRatio` is measured:
    /// (t3 last − t3 first) on the responder's clock to (t4 last − t4 first) on the requester's, usually over seven
    /// responses (IEEE 802.1AS, from memory). `None` unless both are above 0.
    #[must_use]
    pub const fn of_intervals(responder: ScaledNanos, requester: ScaledNanos) -> Option<Self> {
        Self::new(responder.0, requester.0)
    }

    /// `numerator / denominator`; `None` unless both are above 0.
    #[must_use]
    pub const fn new(numerator: i128, denominator: i128) -> Option<Self> {
        if numerator > 0 && denominator > 0 { Some(Self { numerator, denominator }) } else { None }
    }

    /// 1 + `cumulativeScaledRateOffset` / 2⁴¹: the rate of the grandmaster to the sender, as the Follow_Up
    /// information TLV gives it (IEEE 802.1AS 11.4.4.3.6, from memory).
    #[must_use]
    pub fn from_cumulative_scaled_rate_offset(scaled: i32) -> Self {
        Self { numerator: (1 << 41) + i128::from(scaled), denominator: 1 << 41 }
    }

    /// An interval times this ratio, as an exact fraction `(numerator, denominator)` of 2⁻¹⁶ ns; `None` beyond 127
    /// bits.
    pub(super) fn stretch(self, interval: ScaledNanos) -> Option<(i128, i128)> {
        Some((interval.0.checked_mul(self.numerator)?, self.denominator))
    }

    /// (ratio − 1) · 10⁶, for the report.
    #[must_use]
    #[allow(clippy::as_conversions, reason = "a report's number, rounded to 53 bits")]
    pub fn offset_ppm(self) -> f64 {
        (self.numerator - self.denominator) as f64 / self.denominator as f64 * 1e6
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_scaled_offset_of_gptp_is_parts_of_two_to_the_41() {
        assert_eq!(RateRatio::from_cumulative_scaled_rate_offset(0).offset_ppm(), 0.0);
        let ppm = RateRatio::from_cumulative_scaled_rate_offset(2_199_023).offset_ppm();
        assert!((ppm - 1.0).abs() < 1e-6, "{ppm}");
        assert!(RateRatio::from_cumulative_scaled_rate_offset(i32::MIN).offset_ppm() < -976.0);
    }

    #[test]
    fn intervals_that_do_not_go_on_have_no_ratio() {
        assert_eq!(RateRatio::of_intervals(ScaledNanos(0), ScaledNanos(1)), None);
        assert_eq!(RateRatio::of_intervals(ScaledNanos(1), ScaledNanos(-1)), None);
        assert_eq!(
            RateRatio::of_intervals(ScaledNanos(i128::MAX), ScaledNanos(2)).unwrap().stretch(ScaledNanos(2)),
            None
        );
    }
}
