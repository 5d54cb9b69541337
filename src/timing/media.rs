//! Media clocks: what an RTP timestamp must be at an instant of PTP time, and what it says.

use super::scaled::ScaledNanos;
use crate::units::NANOS_PER_SECOND;
use crate::units::Timestamp;

/// ⌊T · rate⌋ + offset mod 2³², with T the PTP time since 1970-01-01 TAI (RFC 7273 §5.2, SMPTE ST 2110-10 §7, from
/// memory). `offset` is that of `a=mediaclk:direct=`, 0 in ST 2110.
#[must_use]
pub fn rtp_timestamp(time: Timestamp, rate_hz: u32, offset: u32) -> u32 {
    let ticks = (time.total_ns() * i128::from(rate_hz)).div_euclid(i128::from(NANOS_PER_SECOND));
    let wrapped = ticks.saturating_add(i128::from(offset)).rem_euclid(1 << 32);
    u32::try_from(wrapped).unwrap_or_default()
}

/// `ticks` of a media clock as time, rounded down to 2⁻¹⁶ ns; `None` for a rate of 0.
#[must_use]
pub fn media_time(ticks: i64, rate_hz: u32) -> Option<ScaledNanos> {
    let scaled = i128::from(ticks) * i128::from(NANOS_PER_SECOND) * 65536;
    (rate_hz > 0).then(|| ScaledNanos(scaled.div_euclid(i128::from(rate_hz))))
}

/// Continues 32-bit timestamps beyond their wrap; a step of less than 2³¹ either way is taken as it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct RtpUnwrapper {
    latest: Option<i64>,
}

impl RtpUnwrapper {
    /// The timestamp counted on from the first one, which stands for itself.
    pub fn unwrap(&mut self, rtp_timestamp: u32) -> i64 {
        let unwrapped = match self.latest {
            None => i64::from(rtp_timestamp),
            Some(latest) => {
                let forward = (i64::from(rtp_timestamp) - latest).rem_euclid(1 << 32);
                let step = if forward < 1 << 31 { forward } else { forward - (1 << 32) };
                latest.saturating_add(step)
            }
        };
        self.latest = Some(unwrapped);
        unwrapped
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn timestamps_go_on_beyond_the_wrap_and_back() {
        let mut unwrapper = RtpUnwrapper::default();
        let seen = [u32::MAX - 1, 3, u32::MAX, 10].map(|timestamp| unwrapper.unwrap(timestamp));
        let wrap = 1_i64 << 32;
        assert_eq!(seen, [wrap - 2, wrap + 3, wrap - 1, wrap + 10]);
    }

    #[test]
    fn media_time_is_ticks_over_rate() {
        assert_eq!(media_time(48_000, 48_000), Some(ScaledNanos(1_000_000_000 * 65536)));
        assert_eq!(
            media_time(i64::MIN, u32::MAX).unwrap().nanos(),
            Some(crate::units::Nanos(-2_147_483_648_500_000_000))
        );
        assert_eq!(media_time(1, 0), None);
    }

    #[test]
    fn the_last_instant_of_ptp_still_has_a_timestamp() {
        let last = Timestamp { seconds: u64::MAX, nanoseconds: u32::MAX };
        let ticks = last.total_ns() * i128::from(u32::MAX) / 1_000_000_000 + 5;
        assert_eq!(i128::from(rtp_timestamp(last, u32::MAX, 5)), ticks % (1 << 32));
    }
}
