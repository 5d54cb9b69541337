//! How far a follower is off, from the time it writes into its own requests.
//!
//! The stamp is taken before the frame leaves: the wire time is later, so the offset reads too negative by that
//! latency. It serves to tell a clock that is grossly off, and its slope is the clock's rate without that bias.

use super::scaled::ScaledNanos;
use crate::units::CaptureTime;
use crate::units::Nanos;
use crate::units::TimeInterval;
use crate::units::Timestamp;

/// Uncertainty of a stamp made in software (chosen in the reference: latency of 10 to 500 µs and more, common
/// practice, no source).
pub const SOFTWARE_UNCERTAINTY: Nanos = Nanos(1_000_000);

/// Uncertainty of stamps so steady that no software makes them (chosen in the reference).
pub const HARDWARE_UNCERTAINTY: Nanos = Nanos(50_000);

/// Spread (p95 − p5) of the offsets below which they are taken as steady (chosen in the reference).
pub const HARDWARE_SPREAD_LIMIT: Nanos = Nanos(20_000);

/// o = `originTimestamp` − (t3 − θ̂), an offset F − G less the follower's latency and its path to the capture point.
///
/// `None` where the stamp is not filled (0).
#[must_use]
pub fn follower_offset_from_request(
    origin: Timestamp,
    t3: CaptureTime,
    theta: ScaledNanos,
) -> Option<ScaledNanos> {
    let ahead = ScaledNanos::ZERO.minus(ScaledNanos::between(origin, t3));
    (!origin.is_zero()).then(|| ahead.plus(theta))
}

/// o′ = `originTimestamp` − (t4 − cR) + delay from the follower to the leader: the same without the capture's clock,
/// to be preferred.
///
/// `None` where the stamp is not filled (0) or the correction is saturated.
#[must_use]
pub fn follower_offset_from_response(
    origin: Timestamp,
    t4: Timestamp,
    response_correction: TimeInterval,
    delay_to_leader: ScaledNanos,
) -> Option<ScaledNanos> {
    let correction = ScaledNanos::total(&[response_correction])?;
    let ahead = ScaledNanos::between_timestamps(t4, origin);
    (!origin.is_zero()).then(|| ahead.plus(correction).plus(delay_to_leader))
}

/// The uncertainty of the stamps themselves, by the spread (p95 − p5) of the offsets if enough are known.
#[must_use]
pub fn stamping_uncertainty(spread: Option<ScaledNanos>) -> Nanos {
    let steady = spread.is_some_and(|spread| spread < ScaledNanos::from(HARDWARE_SPREAD_LIMIT));
    if steady { HARDWARE_UNCERTAINTY } else { SOFTWARE_UNCERTAINTY }
}

/// A follower's apparent offset with what it proves.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct FollowerOffset {
    /// The apparent offset F − G, as a rule the median of many.
    pub apparent: ScaledNanos,
    /// Sum of all uncertainties: stamping, path, and that of θ̂ with its asymmetry.
    pub uncertainty: ScaledNanos,
}

impl FollowerOffset {
    /// "At least this far off": |o| − u, or `None` where the uncertainty could explain all of it.
    #[must_use]
    pub fn at_least(self) -> Option<ScaledNanos> {
        let certain = self.apparent.abs().minus(self.uncertainty.abs());
        (certain > ScaledNanos::ZERO).then_some(certain)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const START: i64 = 1_700_000_000_000_000_000;

    fn stamp(ns: i64) -> Timestamp {
        let second = 1_000_000_000;
        let nanoseconds = u32::try_from(ns.rem_euclid(second)).unwrap();
        Timestamp { seconds: u64::try_from(ns.div_euclid(second)).unwrap(), nanoseconds }
    }

    fn ns(ns: i64) -> ScaledNanos {
        ScaledNanos::from(Nanos(ns))
    }

    #[test]
    fn an_empty_stamp_says_nothing() {
        assert_eq!(
            follower_offset_from_request(Timestamp::default(), CaptureTime(START), ScaledNanos::ZERO),
            None
        );
        assert_eq!(
            follower_offset_from_response(
                Timestamp::default(),
                stamp(START),
                TimeInterval(0),
                ScaledNanos::ZERO
            ),
            None
        );
        assert_eq!(
            follower_offset_from_response(
                stamp(START),
                stamp(START),
                TimeInterval::TOO_BIG,
                ScaledNanos::ZERO
            ),
            None
        );
    }

    #[test]
    fn only_what_the_uncertainty_leaves_is_claimed() {
        let offset =
            |apparent, uncertainty| FollowerOffset { apparent: ns(apparent), uncertainty: ns(uncertainty) };
        assert_eq!(offset(-5_000_000, 1_000_000).at_least(), Some(ns(4_000_000)));
        assert_eq!(offset(-300_000, 1_000_000).at_least(), None);
        assert_eq!(stamping_uncertainty(Some(ns(5_000))), HARDWARE_UNCERTAINTY);
        assert_eq!(stamping_uncertainty(Some(ns(20_000))), SOFTWARE_UNCERTAINTY);
        assert_eq!(stamping_uncertainty(None), SOFTWARE_UNCERTAINTY);
        let widest = FollowerOffset { apparent: ScaledNanos(i128::MIN), uncertainty: ScaledNanos(i128::MIN) };
        assert_eq!(widest.at_least(), None);
    }

    proptest! {
        /// A made follower: `off` from the leader, its frame leaves `latency` after the stamp.
        #[test]
        fn both_ways_find_the_offset_less_the_latency(
            off in -2_000_000_000_i64..2_000_000_000, latency in 0_i64..500_000, path in 0_i64..50_000,
            residence in 0_i64..50_000, theta in -40_000_000_000_i64..40_000_000_000
        ) {
            let origin = stamp(START + off);
            // Captured at the follower's port, so t3 is the wire time.
            let t3 = CaptureTime(START + latency + theta);
            let one = follower_offset_from_request(origin, t3, ns(theta)).unwrap();
            prop_assert_eq!(one, ns(off - latency));
            let t4 = stamp(START + latency + path + residence);
            let other = follower_offset_from_response(origin, t4, TimeInterval(residence << 16), ns(path)).unwrap();
            prop_assert_eq!(other, one);
            let bound = FollowerOffset { apparent: one, uncertainty: ScaledNanos::from(SOFTWARE_UNCERTAINTY) };
            prop_assert!(bound.at_least().is_none_or(|least| least <= ns(off.abs())));
        }
    }
}
