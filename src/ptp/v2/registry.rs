//! Names of the registered values of v2.

/// What a `clockAccuracy` promises: the time is within ± this (1588-2008 Table 6; 0x17 to 0x1F 1588-2019
/// Table 5; from memory, 0x30 and 0xFE seen in real captures). `None` for a reserved value.
#[must_use]
pub const fn clock_accuracy_name(value: u8) -> Option<&'static str> {
    Some(match value {
        0x17 => "1 ps",
        0x18 => "2.5 ps",
        0x19 => "10 ps",
        0x1A => "25 ps",
        0x1B => "100 ps",
        0x1C => "250 ps",
        0x1D => "1 ns",
        0x1E => "2.5 ns",
        0x1F => "10 ns",
        0x20 => "25 ns",
        0x21 => "100 ns",
        0x22 => "250 ns",
        0x23 => "1 µs",
        0x24 => "2.5 µs",
        0x25 => "10 µs",
        0x26 => "25 µs",
        0x27 => "100 µs",
        0x28 => "250 µs",
        0x29 => "1 ms",
        0x2A => "2.5 ms",
        0x2B => "10 ms",
        0x2C => "25 ms",
        0x2D => "100 ms",
        0x2E => "250 ms",
        0x2F => "1 s",
        0x30 => "10 s",
        0x31 => "more than 10 s",
        0x80..=0xFD => "defined by the profile",
        0xFE => "unknown",
        _ => return None,
    })
}

/// What a `timeSource` says the grandmaster takes its time from (1588-2008 Table 7, 1588-2019 Table 6, from
/// memory; 0x50 and 0xA0 seen in real captures). `None` for a reserved value.
#[must_use]
pub const fn time_source_name(value: u8) -> Option<&'static str> {
    Some(match value {
        0x10 => "atomic clock",
        // 2008: GPS.
        0x20 => "GNSS",
        0x30 => "terrestrial radio",
        // Added in 2019.
        0x39 => "serial time code",
        0x40 => "PTP",
        0x50 => "NTP",
        0x60 => "set by hand",
        0x90 => "other",
        0xA0 => "internal oscillator",
        0xF0..=0xFE => "defined by the profile",
        _ => return None,
    })
}

/// What a `clockClass` means (1588-2008 Table 5, from memory). `None` for a reserved value.
#[must_use]
pub const fn clock_class_name(value: u8) -> Option<&'static str> {
    Some(match value {
        6 => "locked to a primary reference",
        7 => "holding over after a primary reference",
        13 => "locked to an application-specific source",
        14 => "holding over after an application-specific source",
        52 => "degraded after a primary reference, never a follower",
        58 => "degraded after an application-specific source, never a follower",
        187 => "degraded after a primary reference, may follow",
        193 => "degraded after an application-specific source, may follow",
        68..=122 | 133..=170 | 216..=232 => "defined by the profile",
        248 => "default",
        255 => "follower only",
        _ => return None,
    })
}

/// Name of a `delayMechanism` (1588-2008 Table 9, 1588-2019 Table 21, from memory; 1 and 2 seen in real
/// captures). `None` for a reserved value.
#[must_use]
pub const fn delay_mechanism_name(value: u8) -> Option<&'static str> {
    Some(match value {
        1 => "E2E",
        2 => "P2P",
        3 => "COMMON_P2P",
        4 => "SPECIAL",
        0xFE => "NO_MECHANISM",
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn named(name: fn(u8) -> Option<&'static str>) -> Vec<u8> {
        (0..=255).filter(|value| name(*value).is_some()).collect()
    }

    #[test]
    fn accuracies_run_from_1_ps_to_beyond_10_s_and_grow() {
        let expected: Vec<u8> = (0x17..=0x31).chain(0x80..=0xFE).collect();
        assert_eq!(named(clock_accuracy_name), expected);
        let seconds = |name: &str| -> f64 {
            let (number, unit) = name.split_once(' ').unwrap();
            let unit = match unit {
                "ps" => 1e-12,
                "ns" => 1e-9,
                "µs" => 1e-6,
                "ms" => 1e-3,
                "s" => 1.0,
                other => panic!("unit {other}"),
            };
            number.parse::<f64>().unwrap() * unit
        };
        let limits: Vec<f64> =
            (0x17..=0x30).map(|value| seconds(clock_accuracy_name(value).unwrap())).collect();
        assert!(limits.is_sorted_by(|a, b| a < b), "{limits:?}");
    }

    #[test]
    fn reserved_sources_classes_and_mechanisms_have_no_name() {
        let sources: Vec<u8> =
            [0x10, 0x20, 0x30, 0x39, 0x40, 0x50, 0x60, 0x90, 0xA0].into_iter().chain(0xF0..=0xFE).collect();
        assert_eq!(named(time_source_name), sources);
        assert_eq!(named(delay_mechanism_name), [1, 2, 3, 4, 0xFE]);
        for reserved in [0, 5, 8, 15, 51, 67, 123, 132, 171, 186, 215, 233, 247, 249, 254] {
            assert_eq!(clock_class_name(reserved), None, "{reserved}");
        }
        assert_eq!(clock_class_name(6), Some("locked to a primary reference"));
        assert_eq!(clock_class_name(248), Some("default"));
        assert_eq!(clock_class_name(135), Some("defined by the profile"));
    }
}
