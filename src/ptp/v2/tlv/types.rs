//! The `tlvType` registry (1588-2008 Table 34 and 1588-2019 Table 52, from memory; values checked against an
//! open-source implementation's declarations).

/// MANAGEMENT.
pub const MANAGEMENT: u16 = 0x0001;
/// MANAGEMENT_ERROR_STATUS.
pub const MANAGEMENT_ERROR_STATUS: u16 = 0x0002;
/// ORGANIZATION_EXTENSION.
pub const ORGANIZATION_EXTENSION: u16 = 0x0003;
/// REQUEST_UNICAST_TRANSMISSION.
pub const REQUEST_UNICAST_TRANSMISSION: u16 = 0x0004;
/// GRANT_UNICAST_TRANSMISSION.
pub const GRANT_UNICAST_TRANSMISSION: u16 = 0x0005;
/// CANCEL_UNICAST_TRANSMISSION.
pub const CANCEL_UNICAST_TRANSMISSION: u16 = 0x0006;
/// ACKNOWLEDGE_CANCEL_UNICAST_TRANSMISSION.
pub const ACKNOWLEDGE_CANCEL_UNICAST_TRANSMISSION: u16 = 0x0007;
/// PATH_TRACE.
pub const PATH_TRACE: u16 = 0x0008;
/// ALTERNATE_TIME_OFFSET_INDICATOR.
pub const ALTERNATE_TIME_OFFSET_INDICATOR: u16 = 0x0009;
/// ORGANIZATION_EXTENSION_PROPAGATE (2019).
pub const ORGANIZATION_EXTENSION_PROPAGATE: u16 = 0x4000;
/// ENHANCED_ACCURACY_METRICS (2019).
pub const ENHANCED_ACCURACY_METRICS: u16 = 0x4001;
/// ORGANIZATION_EXTENSION_DO_NOT_PROPAGATE (2019).
pub const ORGANIZATION_EXTENSION_DO_NOT_PROPAGATE: u16 = 0x8000;
/// SLAVE_RX_SYNC_TIMING_DATA (2019).
pub const SLAVE_RX_SYNC_TIMING_DATA: u16 = 0x8004;
/// SLAVE_RX_SYNC_COMPUTED_DATA (2019).
pub const SLAVE_RX_SYNC_COMPUTED_DATA: u16 = 0x8005;
/// PAD (2019).
pub const PAD: u16 = 0x8008;
/// AUTHENTICATION (2019).
pub const AUTHENTICATION: u16 = 0x8009;

/// The standard's name of a `tlvType`, or `None` where it lists none, experimental ranges included.
#[must_use]
pub const fn tlv_name(tlv_type: u16) -> Option<&'static str> {
    Some(match tlv_type {
        MANAGEMENT => "MANAGEMENT",
        MANAGEMENT_ERROR_STATUS => "MANAGEMENT_ERROR_STATUS",
        ORGANIZATION_EXTENSION => "ORGANIZATION_EXTENSION",
        REQUEST_UNICAST_TRANSMISSION => "REQUEST_UNICAST_TRANSMISSION",
        GRANT_UNICAST_TRANSMISSION => "GRANT_UNICAST_TRANSMISSION",
        CANCEL_UNICAST_TRANSMISSION => "CANCEL_UNICAST_TRANSMISSION",
        ACKNOWLEDGE_CANCEL_UNICAST_TRANSMISSION => "ACKNOWLEDGE_CANCEL_UNICAST_TRANSMISSION",
        PATH_TRACE => "PATH_TRACE",
        ALTERNATE_TIME_OFFSET_INDICATOR => "ALTERNATE_TIME_OFFSET_INDICATOR",
        // The experimental AUTHENTICATION of 2008 has another layout than the one of 2019.
        0x2000 => "AUTHENTICATION_2008",
        0x2001 => "AUTHENTICATION_CHALLENGE",
        0x2002 => "SECURITY_ASSOCIATION_UPDATE",
        0x2003 => "CUM_FREQ_SCALE_FACTOR_OFFSET",
        ORGANIZATION_EXTENSION_PROPAGATE => "ORGANIZATION_EXTENSION_PROPAGATE",
        ENHANCED_ACCURACY_METRICS => "ENHANCED_ACCURACY_METRICS",
        ORGANIZATION_EXTENSION_DO_NOT_PROPAGATE => "ORGANIZATION_EXTENSION_DO_NOT_PROPAGATE",
        0x8001 => "L1_SYNC",
        0x8002 => "PORT_COMMUNICATION_AVAILABILITY",
        0x8003 => "PROTOCOL_ADDRESS",
        SLAVE_RX_SYNC_TIMING_DATA => "SLAVE_RX_SYNC_TIMING_DATA",
        SLAVE_RX_SYNC_COMPUTED_DATA => "SLAVE_RX_SYNC_COMPUTED_DATA",
        0x8006 => "SLAVE_TX_EVENT_TIMESTAMPS",
        0x8007 => "CUMULATIVE_RATE_RATIO",
        PAD => "PAD",
        AUTHENTICATION => "AUTHENTICATION",
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn listed_types_have_the_standards_name_and_experimental_ones_none() {
        assert_eq!(tlv_name(0x0008), Some("PATH_TRACE"));
        assert_eq!(tlv_name(0x8001), Some("L1_SYNC"));
        assert_eq!(tlv_name(0x8009), Some("AUTHENTICATION"));
        for experimental in [0x2004, 0x3FFF, 0x7F00, 0x7FFF] {
            assert_eq!(tlv_name(experimental), None);
        }
        let named = (0..=u16::MAX).filter(|tlv_type| tlv_name(*tlv_type).is_some()).count();
        assert_eq!(named, 25, "types of the registry table");
    }
}
