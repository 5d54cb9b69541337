//! TAI against UTC: why a capture's clock may be 37 s off without any fault.

use super::scaled::ScaledNanos;
use crate::units::CaptureTime;
use crate::units::Nanos;

/// TAI − UTC since 2017-01-01 (IERS Bulletin C 52 and those after it, from memory).
pub const TAI_MINUS_UTC: Nanos = Nanos::from_seconds(37);

/// How far from 37 s an offset may be and still be taken for it: it is the nearest whole second (chosen).
pub const TIMESCALE_TOLERANCE: Nanos = Nanos(500_000_000);

/// Leap seconds since 1999: UTC seconds since 1970 from which TAI − UTC holds (IERS Bulletin C, from memory).
const LEAPS: [(i64, i64); 6] = [
    (1_483_228_800, 37),
    (1_435_708_800, 36),
    (1_341_100_800, 35),
    (1_230_768_000, 34),
    (1_136_073_600, 33),
    (915_148_800, 32),
];

/// How the timescale of the capture's clock stands to the leader's.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Timescales {
    /// Within the tolerance of each other; `residual` is the whole offset.
    Same {
        /// The offset.
        residual: ScaledNanos,
    },
    /// The capture counts UTC and the leader TAI, as PTP does: nothing is wrong.
    CaptureInUtc {
        /// What is left of the offset.
        residual: ScaledNanos,
    },
    /// The capture counts TAI and the leader UTC: the leader's timescale is arbitrary or it lacks the 37 s.
    LeaderInUtc {
        /// What is left of the offset.
        residual: ScaledNanos,
    },
    /// Neither: another epoch or a clock that was never set.
    Unrelated,
}

impl Timescales {
    /// What is left of the offset once whole leap seconds are out; `None` where the two are unrelated.
    #[must_use]
    pub const fn residual(self) -> Option<ScaledNanos> {
        match self {
            Self::Same { residual } | Self::CaptureInUtc { residual } | Self::LeaderInUtc { residual } => {
                Some(residual)
            }
            Self::Unrelated => None,
        }
    }
}

/// Reads an offset θ = C − G taken at `at`, with the difference that held then, else [`TAI_MINUS_UTC`].
#[must_use]
pub fn timescales(offset: ScaledNanos, at: CaptureTime, tolerance: Nanos) -> Timescales {
    let apart = ScaledNanos::from(tai_minus_utc_at(at).unwrap_or(TAI_MINUS_UTC));
    let is_small = |residual: ScaledNanos| residual.abs() <= ScaledNanos::from(tolerance);
    let (behind, ahead) = (offset.plus(apart), offset.minus(apart));
    if is_small(offset) {
        Timescales::Same { residual: offset }
    } else if is_small(behind) {
        Timescales::CaptureInUtc { residual: behind }
    } else if is_small(ahead) {
        Timescales::LeaderInUtc { residual: ahead }
    } else {
        Timescales::Unrelated
    }
}

/// TAI − UTC at an instant of a clock in UTC; `None` before 1999. No leap second has been announced past 2017.
#[must_use]
pub fn tai_minus_utc_at(utc: CaptureTime) -> Option<Nanos> {
    let seconds = Nanos::from_seconds(1).0;
    let found = LEAPS.iter().find(|(from, _)| utc.0.div_euclid(seconds) >= *from);
    found.map(|(_, leap)| Nanos::from_seconds(*leap))
}

#[cfg(test)]
mod tests {
    use super::*;

    const IN_2024: CaptureTime = CaptureTime(1_710_000_000_000_000_000);

    fn read(ns: i64) -> Timescales {
        timescales(ScaledNanos::from(Nanos(ns)), IN_2024, TIMESCALE_TOLERANCE)
    }

    #[test]
    fn thirty_seven_seconds_are_named_and_taken_out() {
        let left = |ns: i64| ScaledNanos::from(Nanos(ns));
        assert_eq!(read(-36_999_726_604), Timescales::CaptureInUtc { residual: left(273_396) });
        assert_eq!(read(37_000_000_005), Timescales::LeaderInUtc { residual: left(5) });
        assert_eq!(read(12), Timescales::Same { residual: left(12) });
        assert_eq!(read(5_000_000_000), Timescales::Unrelated);
        assert_eq!(timescales(ScaledNanos(i128::MIN), IN_2024, TIMESCALE_TOLERANCE), Timescales::Unrelated);
    }

    #[test]
    fn an_older_capture_is_read_with_its_own_difference() {
        let in_2016 = CaptureTime(1_470_000_000_000_000_000);
        assert_eq!(tai_minus_utc_at(in_2016), Some(Nanos::from_seconds(36)));
        assert_eq!(tai_minus_utc_at(CaptureTime(1_483_228_799_999_999_999)), Some(Nanos::from_seconds(36)));
        assert_eq!(tai_minus_utc_at(CaptureTime(1_483_228_800_000_000_000)), Some(TAI_MINUS_UTC));
        assert_eq!(tai_minus_utc_at(CaptureTime(0)), None);
        let offset = ScaledNanos::from(Nanos::from_seconds(-36));
        let residual = ScaledNanos::ZERO;
        assert_eq!(timescales(offset, in_2016, TIMESCALE_TOLERANCE), Timescales::CaptureInUtc { residual });
    }
}
