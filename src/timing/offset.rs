//! One-way and two-way: what a Sync and a Delay_Req with its Delay_Resp say at one capture point.

use super::scaled::ScaledNanos;
use crate::units::CaptureTime;
use crate::units::TimeInterval;
use crate::units::Timestamp;

/// Path delay at and below which the capture point cannot be told from the leader, besides the stamps' resolution
/// (reference: about 0.3 µs).
const AT_LEADER_LIMIT: ScaledNanos = ScaledNanos(300 << 16);

/// x = t2 − t1 − cS − cF = θ + delay from the leader to the capture point.
///
/// `corrections` are the `correctionField`s of Sync and, with two steps, Follow_Up. Offset and delay cannot be told
/// apart here; the change of x over time is the rate of C against G. `None` where a correction is saturated.
/// Source: IEEE 1588-2008 11.3 (from memory), for a clock that listens.
#[must_use]
pub fn delay_to_capture(t1: Timestamp, t2: CaptureTime, corrections: &[TimeInterval]) -> Option<ScaledNanos> {
    Some(ScaledNanos::between(t1, t2).minus(ScaledNanos::total(corrections)?))
}

/// t4 − t3 − (cR − cD) = delay from the capture point to the leader − θ.
///
/// The Delay_Resp repeats the correction the Delay_Req had on its arrival (1588-2008 11.3.2, from memory). What the
/// request had gathered before the capture point, cD, belongs to the path before t3 and is given back. `None` where
/// a correction is saturated.
#[must_use]
pub fn delay_from_request(
    t3: CaptureTime,
    t4: Timestamp,
    response_correction: TimeInterval,
    request_correction: TimeInterval,
) -> Option<ScaledNanos> {
    let (response, request) =
        (ScaledNanos::total(&[response_correction])?, ScaledNanos::total(&[request_correction])?);
    let apart = ScaledNanos::ZERO.minus(ScaledNanos::between(t4, t3));
    Some(apart.minus(response.minus(request)))
}

/// Both directions of the path between leader and capture point.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TwoWay {
    /// From [`delay_to_capture`].
    pub to_capture: ScaledNanos,
    /// From [`delay_from_request`], of a Delay_Req near in time.
    pub from_request: ScaledNanos,
}

impl TwoWay {
    /// θ = C − G, off by the path's asymmetry (half the difference of the two delays), rounded down to 2⁻¹⁶ ns.
    #[must_use]
    pub const fn offset(self) -> ScaledNanos {
        self.to_capture.minus(self.from_request).half()
    }

    /// `meanPathDelay` between leader and capture point, free of asymmetry, rounded down to 2⁻¹⁶ ns.
    #[must_use]
    pub const fn mean_path_delay(self) -> ScaledNanos {
        self.to_capture.plus(self.from_request).half()
    }

    /// Whether the path is too short, or below 0, to be told from none with stamps of `resolution`: the capture was
    /// taken at the leader.
    #[must_use]
    pub fn is_at_leader(self, resolution: ScaledNanos) -> bool {
        self.mean_path_delay() <= AT_LEADER_LIMIT.plus(resolution)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn at(ns: u64) -> Timestamp {
        Timestamp { seconds: ns / 1_000_000_000, nanoseconds: u32::try_from(ns % 1_000_000_000).unwrap() }
    }

    #[test]
    fn a_saturated_correction_discards_the_sample() {
        let too_big = TimeInterval::TOO_BIG;
        let none = TimeInterval(0);
        assert_eq!(delay_to_capture(at(1), CaptureTime(2), &[none, too_big]), None);
        assert_eq!(delay_from_request(CaptureTime(2), at(1), too_big, none), None);
        assert_eq!(delay_from_request(CaptureTime(2), at(1), none, too_big), None);
    }

    proptest! {
        /// A made path: the request gathers `before` in a transparent clock ahead of the capture point and `after`
        /// behind it, and neither moves offset or delay.
        #[test]
        fn offset_and_delay_come_back_exactly(
            theta in -40_000_000_000_i64..40_000_000_000, delay in 0_i64..10_000_000,
            before in 0_i64..1_000_000, after in 0_i64..1_000_000, sync_residence in 0_i64..1_000_000
        ) {
            let start = 1_700_000_000_000_000_000_i64;
            let stamp = |ns: i64| at(u64::try_from(ns).unwrap());
            let correction = |ns: i64| TimeInterval(ns << 16);
            let t2 = CaptureTime(start + delay + sync_residence + theta);
            let to_capture = delay_to_capture(stamp(start), t2, &[correction(sync_residence)]).unwrap();
            let t3 = start + 500_000_000;
            let t4 = stamp(t3 + delay + after);
            let from_request =
                delay_from_request(CaptureTime(t3 + theta), t4, correction(before + after), correction(before));
            let both = TwoWay { to_capture, from_request: from_request.unwrap() };
            prop_assert_eq!(both.offset(), ScaledNanos(i128::from(theta) << 16));
            prop_assert_eq!(both.mean_path_delay(), ScaledNanos(i128::from(delay) << 16));
        }

        #[test]
        fn nothing_makes_it_panic(
            seconds in any::<u64>(), nanoseconds in any::<u32>(), capture in any::<i64>(), raw in any::<i64>()
        ) {
            let (stamp, capture) = (Timestamp { seconds, nanoseconds }, CaptureTime(capture));
            let one = delay_to_capture(stamp, capture, &[TimeInterval(raw), TimeInterval(raw)]);
            let other = delay_from_request(capture, stamp, TimeInterval(raw), TimeInterval(raw));
            prop_assert_eq!(one.is_some(), raw != i64::MAX);
            if let (Some(to_capture), Some(from_request)) = (one, other) {
                let both = TwoWay { to_capture, from_request };
                let _ = (both.offset(), both.mean_path_delay(), both.is_at_leader(ScaledNanos(1)));
            }
        }
    }
}
