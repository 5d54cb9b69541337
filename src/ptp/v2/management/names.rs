//! Names of `managementId` and `managementErrorId`.
//!
//! Source: constants of an open-source IEEE 1588-2008/2019 stack; 0x0003 to 0x0007 from memory
//! (1588-2008 Table 40).

/// The standard's name of a `managementId`; `None` for one not listed.
#[must_use]
pub const fn management_name(management_id: u16) -> Option<&'static str> {
    Some(match management_id {
        0x0000 => "NULL_PTP_MANAGEMENT",
        0x0001 => "CLOCK_DESCRIPTION",
        0x0002 => "USER_DESCRIPTION",
        0x0003 => "SAVE_IN_NON_VOLATILE_STORAGE",
        0x0004 => "RESET_NON_VOLATILE_STORAGE",
        0x0005 => "INITIALIZE",
        0x0006 => "FAULT_LOG",
        0x0007 => "FAULT_LOG_RESET",
        0x2000 => "DEFAULT_DATA_SET",
        0x2001 => "CURRENT_DATA_SET",
        0x2002 => "PARENT_DATA_SET",
        0x2003 => "TIME_PROPERTIES_DATA_SET",
        0x2004 => "PORT_DATA_SET",
        0x2005 => "PRIORITY1",
        0x2006 => "PRIORITY2",
        0x2007 => "DOMAIN",
        0x2008 => "SLAVE_ONLY",
        0x2009 => "LOG_ANNOUNCE_INTERVAL",
        0x200A => "ANNOUNCE_RECEIPT_TIMEOUT",
        0x200B => "LOG_SYNC_INTERVAL",
        0x200C => "VERSION_NUMBER",
        0x200D => "ENABLE_PORT",
        0x200E => "DISABLE_PORT",
        0x200F => "TIME",
        0x2010 => "CLOCK_ACCURACY",
        0x2011 => "UTC_PROPERTIES",
        0x2012 => "TRACEABILITY_PROPERTIES",
        0x2013 => "TIMESCALE_PROPERTIES",
        0x2014 => "UNICAST_NEGOTIATION_ENABLE",
        0x2015 => "PATH_TRACE_LIST",
        0x2016 => "PATH_TRACE_ENABLE",
        0x2017 => "GRANDMASTER_CLUSTER_TABLE",
        0x2018 => "UNICAST_MASTER_TABLE",
        0x2019 => "UNICAST_MASTER_MAX_TABLE_SIZE",
        0x201A => "ACCEPTABLE_MASTER_TABLE",
        0x201B => "ACCEPTABLE_MASTER_TABLE_ENABLED",
        0x201C => "ACCEPTABLE_MASTER_MAX_TABLE_SIZE",
        0x201D => "ALTERNATE_MASTER",
        0x201E => "ALTERNATE_TIME_OFFSET_ENABLE",
        0x201F => "ALTERNATE_TIME_OFFSET_NAME",
        0x2020 => "ALTERNATE_TIME_OFFSET_MAX_KEY",
        0x2021 => "ALTERNATE_TIME_OFFSET_PROPERTIES",
        0x3000 => "EXTERNAL_PORT_CONFIGURATION_ENABLED",
        0x3001 => "MASTER_ONLY",
        0x3002 => "HOLDOVER_UPGRADE_ENABLE",
        0x3003 => "EXT_PORT_CONFIG_PORT_DATA_SET",
        // Proposed, not in the standard.
        0x3004 => "SLAVE_EVENT_MONITORING",
        0x4000 => "TRANSPARENT_CLOCK_DEFAULT_DATA_SET",
        0x4001 => "TRANSPARENT_CLOCK_PORT_DATA_SET",
        0x4002 => "PRIMARY_DOMAIN",
        0x6000 => "DELAY_MECHANISM",
        0x6001 => "LOG_MIN_PDELAY_REQ_INTERVAL",
        // Implementation specific, common in Linux-based devices.
        0xC000 => "TIME_STATUS_NP",
        _ => return None,
    })
}

/// The standard's name of a `managementErrorId`; `None` for one not listed.
#[must_use]
pub const fn management_error_name(management_error_id: u16) -> Option<&'static str> {
    Some(match management_error_id {
        0x0001 => "RESPONSE_TOO_BIG",
        0x0002 => "NO_SUCH_ID",
        0x0003 => "WRONG_LENGTH",
        0x0004 => "WRONG_VALUE",
        0x0005 => "NOT_SETABLE",
        0x0006 => "NOT_SUPPORTED",
        0xFFFE => "GENERAL_ERROR",
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn every_name_is_used_once_and_the_ranges_have_no_gap() {
        let named: Vec<u16> = (0..=u16::MAX).filter(|id| management_name(*id).is_some()).collect();
        let expected: Vec<u16> = (0x0000..=0x0007)
            .chain(0x2000..=0x2021)
            .chain(0x3000..=0x3004)
            .chain(0x4000..=0x4002)
            .chain([0x6000, 0x6001, 0xC000])
            .collect();
        assert_eq!(named, expected);
        let names: BTreeSet<_> = named.iter().filter_map(|id| management_name(*id)).collect();
        assert_eq!(names.len(), named.len());
    }
}
