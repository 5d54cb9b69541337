//! ENHANCED_ACCURACY_METRICS (1588-2019 16.12, from memory; layout seen in public source).

use crate::bytes::Cursor;
use crate::bytes::DecodeError;
use crate::ptp::v2::fields;
use crate::units::TimeInterval;

/// An IEEE 754 double as its bits, so that equal messages compare equal.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Float64(pub u64);

impl Float64 {
    /// The number, which may be infinite or not one at all.
    #[must_use]
    pub const fn value(self) -> f64 {
        f64::from_bits(self.0)
    }
}

/// A bound and a spread of one cause of inaccuracy.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Inaccuracy {
    /// The `max…Inaccuracy` field.
    pub max: TimeInterval,
    /// The `var…Inaccuracy` field, s².
    pub variance_s2: Float64,
}

/// How inaccurate the time may have become on its way here.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct EnhancedAccuracyMetrics {
    /// `bcHopCount`.
    pub bc_hop_count: u8,
    /// `tcHopCount`.
    pub tc_hop_count: u8,
    /// `maxGmInaccuracy`, `varGmInaccuracy`.
    pub gm: Inaccuracy,
    /// `maxTransientInaccuracy`, `varTransientInaccuracy`.
    pub transient: Inaccuracy,
    /// `maxDynamicInaccuracy`, `varDynamicInaccuracy`.
    pub dynamic: Inaccuracy,
    /// `maxStaticInstanceInaccuracy`, `varStaticInstanceInaccuracy`.
    pub static_instance: Inaccuracy,
    /// `maxStaticMediumInaccuracy`, `varStaticMediumInaccuracy`.
    pub static_medium: Inaccuracy,
}

impl EnhancedAccuracyMetrics {
    /// Offset 0 `bcHopCount`, 1 `tcHopCount`, 2 reserved, then at 4, 20, 36, 52, 68 bound and variance of each cause.
    pub(super) fn decode(cursor: &mut Cursor<'_>) -> Result<Self, DecodeError> {
        let bc_hop_count = cursor.u8("bcHopCount")?;
        let tc_hop_count = cursor.u8("tcHopCount")?;
        cursor.skip("reserved", 2)?;
        Ok(Self {
            bc_hop_count,
            tc_hop_count,
            gm: Inaccuracy::decode(cursor, "maxGmInaccuracy", "varGmInaccuracy")?,
            transient: Inaccuracy::decode(cursor, "maxTransientInaccuracy", "varTransientInaccuracy")?,
            dynamic: Inaccuracy::decode(cursor, "maxDynamicInaccuracy", "varDynamicInaccuracy")?,
            static_instance: Inaccuracy::decode(
                cursor,
                "maxStaticInstanceInaccuracy",
                "varStaticInstanceInaccuracy",
            )?,
            static_medium: Inaccuracy::decode(
                cursor,
                "maxStaticMediumInaccuracy",
                "varStaticMediumInaccuracy",
            )?,
        })
    }
}

impl Inaccuracy {
    fn decode(
        cursor: &mut Cursor<'_>,
        max: &'static str,
        variance: &'static str,
    ) -> Result<Self, DecodeError> {
        Ok(Self { max: fields::time_interval(cursor, max)?, variance_s2: Float64(cursor.u64(variance)?) })
    }
}

#[cfg(test)]
mod tests {
    use super::super::Tlv;
    use super::super::testing;
    use super::super::types;
    use super::*;

    #[test]
    fn bounds_and_variances_are_read_in_turn() {
        // 0.25 is 3fd0…, 1.0 is 3ff0…, −2.0 is c000… (IEEE 754).
        let hex = "01 02 ffff
            0000000000010000 3fd0000000000000 0000000000020000 3ff0000000000000
            fffffffffffd0000 c000000000000000 0000000000040000 7ff8000000000000
            7fffffffffffffff 0000000000000000";
        let value = testing::octets(hex);
        let tlv_type = types::ENHANCED_ACCURACY_METRICS;
        assert_eq!(value.len(), 84);
        let (tlv, notes) = testing::decode(tlv_type, &value);
        assert_eq!(notes, []);
        let Tlv::EnhancedAccuracyMetrics(metrics) = tlv else { panic!("{tlv:?}") };
        assert_eq!((metrics.bc_hop_count, metrics.tc_hop_count), (1, 2));
        let parts =
            [metrics.gm, metrics.transient, metrics.dynamic, metrics.static_instance, metrics.static_medium];
        assert_eq!(
            parts.map(|part| part.max),
            [0x1_0000, 0x2_0000, -0x3_0000, 0x4_0000, i64::MAX].map(TimeInterval)
        );
        assert_eq!(metrics.gm.variance_s2.value(), 0.25);
        assert_eq!(metrics.transient.variance_s2.value(), 1.0);
        assert_eq!(metrics.dynamic.variance_s2.value(), -2.0);
        assert!(metrics.static_instance.variance_s2.value().is_nan());
        assert_eq!(metrics.static_medium.variance_s2, Float64(0));
        testing::assert_every_shorter_value_is_kept_as_type_and_length(tlv_type, &value);
        testing::assert_a_longer_value_is_noted(tlv_type, &value);
    }
}
