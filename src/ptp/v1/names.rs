//! Text for v1's octet strings and names for its registries.
//!
//! Values checked against an open-source IEEE 1588-2002 implementation; meanings of the strata and
//! identifiers from IEEE 1588-2002 6.2.4.3 and 6.2.4.4, from memory.

use std::fmt::Write as _;

/// `subdomain` as text: up to the first NUL, octets outside printable ASCII (and the backslash) as `\xNN`.
#[must_use]
pub fn subdomain_text(subdomain: &[u8; 16]) -> String {
    text(subdomain)
}

/// A clock identifier as text, such as `GPS` or `DFLT`, written as [`subdomain_text`] writes.
#[must_use]
pub fn clock_identifier_text(identifier: &[u8; 4]) -> String {
    text(identifier)
}

fn text(octets: &[u8]) -> String {
    let mut text = String::with_capacity(octets.len());
    for octet in octets.iter().copied().take_while(|octet| *octet != 0) {
        if (0x20..=0x7E).contains(&octet) && octet != b'\\' {
            text.push(char::from(octet));
        } else {
            // Writing to a String cannot fail.
            let _ = write!(text, "\\x{octet:02x}");
        }
    }
    text
}

/// What a stratum means; `None` for the reserved 5 to 254.
#[must_use]
pub const fn stratum_name(stratum: u8) -> Option<&'static str> {
    Some(match stratum {
        0 => "temporarily the best of all",
        1 => "primary reference",
        2 => "secondary reference",
        3 => "could be timed from outside, is not",
        4 => "free-running",
        255 => "follower only",
        _ => return None,
    })
}

/// What a clock identifier says of the clock's time source; `None` for other identifiers.
#[must_use]
pub const fn clock_identifier_name(identifier: &[u8; 4]) -> Option<&'static str> {
    Some(match identifier {
        b"ATOM" => "atomic reference",
        b"GPS\0" => "satellite",
        b"NTP\0" => "NTP",
        b"HAND" => "set by hand",
        b"INIT" => "set by initialisation",
        b"DFLT" => "no source",
        _ => return None,
    })
}

/// Name of a `…CommunicationTechnology`; `None` for a value not listed.
#[must_use]
pub const fn communication_technology_name(value: u8) -> Option<&'static str> {
    Some(match value {
        0 => "closed",
        1 => "Ethernet",
        4 => "FFbus",
        5 => "PROFIBUS",
        6 => "LON",
        7 => "DeviceNet",
        8 => "SDS",
        9 => "ControlNet",
        10 => "CANopen",
        243 => "IEEE 1394",
        244 => "IEEE 802.11a",
        255 => "default",
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_subdomain_ends_at_its_first_nul_and_shows_odd_octets() {
        assert_eq!(subdomain_text(b"_DFLT\0\0\0\0\0\0\0\0\0\0\0"), "_DFLT");
        assert_eq!(subdomain_text(b"sixteen octets!!"), "sixteen octets!!");
        assert_eq!(subdomain_text(&[0; 16]), "");
        assert_eq!(subdomain_text(b"a\x01b\x7f\\\xc3\xa9\0tail\0\0\0\0"), "a\\x01b\\x7f\\x5c\\xc3\\xa9");
        assert_eq!(clock_identifier_text(b"GPS\0"), "GPS");
    }

    #[test]
    fn reserved_strata_and_unlisted_identifiers_have_no_name() {
        let named: Vec<u8> = (0..=255).filter(|value| stratum_name(*value).is_some()).collect();
        assert_eq!(named, [0, 1, 2, 3, 4, 255]);
        assert_eq!(clock_identifier_name(b"NTP\0"), Some("NTP"));
        assert_eq!(clock_identifier_name(b"NTP "), None);
        assert_eq!(communication_technology_name(1), Some("Ethernet"));
        assert_eq!(communication_technology_name(2), None);
    }
}
