//! Peer delay: the delay of one link, measured by its two ends.

use super::rate::RateRatio;
use super::scaled::ScaledNanos;
use crate::units::CaptureTime;
use crate::units::TimeInterval;
use crate::units::Timestamp;

/// How long the responder held the exchange: t3 − t2 on its clock, corrections included.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Turnaround(pub ScaledNanos);

impl Turnaround {
    /// Two steps: `responseOriginTimestamp` − `requestReceiptTimestamp`, and the `correctionField`s of Pdelay_Resp
    /// and Pdelay_Resp_Follow_Up. A responder may leave both stamps 0 and put all into the corrections (1588-2008
    /// 11.4.3, from memory); the sum is the same. `None` where a correction is saturated.
    #[must_use]
    pub fn two_step(
        request_receipt: Timestamp,
        response_origin: Timestamp,
        corrections: &[TimeInterval],
    ) -> Option<Self> {
        let held = ScaledNanos::between_timestamps(request_receipt, response_origin);
        Some(Self(held.plus(ScaledNanos::total(corrections)?)))
    }

    /// One step: Pdelay_Resp's `correctionField` holds it. `None` where that is saturated.
    #[must_use]
    pub fn one_step(correction: TimeInterval) -> Option<Self> {
        ScaledNanos::total(&[correction]).map(Self)
    }

    /// As seen on the responder's link: from the request's capture to the response's.
    #[must_use]
    pub fn seen(request: CaptureTime, response: CaptureTime) -> Self {
        Self(ScaledNanos::between_captures(request, response))
    }
}

/// `meanLinkDelay` (2008 `peerMeanPathDelay`) as an exact fraction.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LinkDelay {
    numerator: i128,
    denominator: i128,
}

impl LinkDelay {
    /// ((t4 − t1) · r − turnaround) / 2, with r = `neighborRateRatio` (IEEE 802.1AS and 1588-2008 11.4, from
    /// memory).
    ///
    /// `round_trip` is t4 − t1 at the requester, or between the captures of request and response: then it is the
    /// delay between capture point and responder. `None` beyond 127 bits.
    #[must_use]
    pub fn new(round_trip: ScaledNanos, turnaround: Turnaround, ratio: RateRatio) -> Option<Self> {
        let (stretched, denominator) = ratio.stretch(round_trip)?;
        let numerator = stretched.checked_sub(turnaround.0.0.checked_mul(denominator)?)?;
        Some(Self { numerator, denominator: denominator.checked_mul(2)? })
    }

    /// Rounded down to 2⁻¹⁶ ns.
    #[must_use]
    pub const fn scaled(self) -> ScaledNanos {
        ScaledNanos(self.numerator.div_euclid(self.denominator))
    }

    /// As nanoseconds, for the report.
    #[must_use]
    #[allow(clippy::as_conversions, reason = "a report's number, rounded to 53 bits")]
    pub fn as_ns_f64(self) -> f64 {
        self.numerator as f64 / self.denominator as f64 / 65536.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn one_and_two_steps_say_the_same() {
        let stamp = |nanoseconds| Timestamp { seconds: 7, nanoseconds };
        let two = Turnaround::two_step(stamp(100), stamp(350), &[TimeInterval(3 << 16)]);
        assert_eq!(two, Turnaround::one_step(TimeInterval(253 << 16)));
        assert_eq!(Turnaround::one_step(TimeInterval::TOO_BIG), None);
        assert_eq!(Turnaround::seen(CaptureTime(5), CaptureTime(258)).0, two.unwrap().0);
    }

    proptest! {
        #[test]
        fn nothing_makes_it_panic(
            round_trip in any::<i128>(), held in any::<i128>(), one in any::<i128>(), other in any::<i128>()
        ) {
            let Some(ratio) = RateRatio::new(one, other) else { return Ok(()) };
            if let Some(delay) = LinkDelay::new(ScaledNanos(round_trip), Turnaround(ScaledNanos(held)), ratio) {
                prop_assert!(delay.as_ns_f64().is_finite());
                let _ = delay.scaled();
            }
        }
    }
}
