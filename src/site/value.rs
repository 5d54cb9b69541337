//! Quantities and addresses as people write them. Errors say what would be right.

use crate::domains::ClockId;
use crate::ptp::ClockIdentity;
use crate::units::BitsPerSecond;
use crate::units::MacAddress;
use crate::units::Nanos;

/// Longest duration that makes sense here; what is longer is a slip (chosen: a day).
const LONGEST_NS: u128 = 86_400_000_000_000;

/// A number without a unit below this was not meant as bits a second (chosen: no stream or link is that slow).
const LEAST_BARE: u64 = 1000;

/// A rate: decimal bits per second, with `k`, `M`, `G` or `T` behind it or not: `670M`, `2.5G`.
///
/// # Errors
/// Where it is none, is 0, has a fraction of a bit, or is below 1000 and has no unit.
pub fn rate(text: &str) -> Result<BitsPerSecond, String> {
    let wrong = || "give decimal bits a second, such as 100M, 670M or 2.5G".to_owned();
    let text = text.trim();
    let (number, power) = match text.char_indices().next_back() {
        Some((at, 'k' | 'K')) => (text.get(..at), 3),
        Some((at, 'M')) => (text.get(..at), 6),
        Some((at, 'G')) => (text.get(..at), 9),
        Some((at, 'T')) => (text.get(..at), 12),
        _ => (Some(text), 0),
    };
    let bits = number.and_then(|number| scaled(number, power)).ok_or_else(wrong)?;
    match u64::try_from(bits) {
        Ok(0) | Err(_) => Err(wrong()),
        Ok(bits) if bits < LEAST_BARE && power == 0 => {
            Err(format!("{bits} bits a second? write the unit, such as {bits}M for megabits"))
        }
        Ok(bits) => Ok(BitsPerSecond(bits)),
    }
}

/// A duration above 0 with its unit: `250ns`, `1us`, `1.5ms`, `2s`.
///
/// # Errors
/// Where it is none, is 0, has no unit, a fraction of a nanosecond, or is longer than a day.
pub fn duration(text: &str) -> Result<Nanos, String> {
    let wrong = || "give a time with its unit, such as 250ns, 1us or 1.5ms".to_owned();
    let text = text.trim();
    let units = [("ns", 0), ("us", 3), ("µs", 3), ("μs", 3), ("ms", 6), ("s", 9)];
    let (number, power) = units
        .iter()
        .find_map(|(unit, power)| Some((text.strip_suffix(unit)?.trim_end(), *power)))
        .ok_or_else(wrong)?;
    let ns = scaled(number, power).filter(|ns| (1..=LONGEST_NS).contains(ns)).ok_or_else(wrong)?;
    i64::try_from(ns).map(Nanos).map_err(|_| wrong())
}

/// A part of a whole, 0 to 1 with up to six decimals, in millionths.
///
/// # Errors
/// Where it is none.
pub fn millionths(text: &str) -> Result<u32, String> {
    let part = scaled(text.trim(), 6).filter(|part| *part <= 1_000_000);
    part.and_then(|part| u32::try_from(part).ok())
        .ok_or_else(|| "give a part of the whole, such as 0.25".to_owned())
}

/// A MAC address: `02:00:5e:10:00:21`, or with dashes.
///
/// # Errors
/// Where it is none, or a group's.
pub fn mac(text: &str) -> Result<MacAddress, String> {
    let octets: [u8; 6] =
        octets(text).ok_or_else(|| "give a MAC address, such as 02:00:5e:10:00:21".to_owned())?;
    let mac = MacAddress(octets);
    if mac.is_group() { Err("this MAC address is a group's, not a device's".to_owned()) } else { Ok(mac) }
}

/// A clock: a `clockIdentity` of eight octets, or a v1 clock's UUID in the form of a MAC address.
///
/// # Errors
/// Where it is neither.
pub fn clock(text: &str) -> Result<ClockId, String> {
    if let Some(identity) = octets::<8>(text) {
        return Ok(ClockId::V2(ClockIdentity(identity)));
    }
    mac(text).map(ClockId::V1).map_err(|_| {
        "give a clock identity, such as 02-00-5e-ff-fe-10-00-01, or a v1 clock as its MAC address".to_owned()
    })
}

/// `N` octets of two hexadecimal digits each, all parted by `:` or all by `-`.
fn octets<const N: usize>(text: &str) -> Option<[u8; N]> {
    let text = text.trim();
    let by = if text.contains(':') { ':' } else { '-' };
    let mut octets = [0; N];
    let mut parts = text.split(by);
    for octet in &mut octets {
        let part = parts.next()?;
        if part.len() != 2 || !part.bytes().all(|digit| digit.is_ascii_hexdigit()) {
            return None;
        }
        *octet = u8::from_str_radix(part, 16).ok()?;
    }
    parts.next().is_none().then_some(octets)
}

/// A decimal number times ten to the `power`; `None` where that is not whole, or no number.
fn scaled(number: &str, power: usize) -> Option<u128> {
    let (whole, fraction) = number.split_once('.').unwrap_or((number, "0"));
    let digits = |part: &str| !part.is_empty() && part.bytes().all(|octet| octet.is_ascii_digit());
    let fraction_kept = fraction.trim_end_matches('0');
    if !digits(whole) || !digits(fraction) || fraction_kept.len() > power {
        return None;
    }
    format!("{whole}{fraction_kept:0<power$}").parse().ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rates_are_decimal_bits() {
        for (text, bits) in [
            ("670M", 670_000_000),
            ("1G", 1_000_000_000),
            ("2.5G", 2_500_000_000),
            ("9600", 9600),
            ("1.50k", 1500),
        ] {
            assert_eq!(rate(text), Ok(BitsPerSecond(bits)), "{text}");
        }
        for text in [
            "",
            "0",
            "G",
            "-1M",
            "1.5",
            "1e9",
            "1 G",
            "1GG",
            ".5G",
            "5.G",
            "8",
            "999",
            "1,5G",
            "99999999999999T",
            "M670",
            "1µ",
        ] {
            assert!(rate(text).is_err(), "{text}");
        }
    }

    #[test]
    fn durations_have_a_unit() {
        for (text, ns) in [
            ("250ns", 250),
            ("1us", 1000),
            ("1 µs", 1000),
            ("1μs", 1000),
            ("1.5ms", 1_500_000),
            ("2s", 2_000_000_000),
            ("0.000000001s", 1),
        ] {
            assert_eq!(duration(text), Ok(Nanos(ns)), "{text}");
        }
        for text in
            ["", "1", "0us", "-1us", "0.5ns", "us", "1h", "86401s", "1.s", "9999999999999999999999999s"]
        {
            assert!(duration(text).is_err(), "{text}");
        }
    }

    #[test]
    fn addresses_and_clocks_are_told_apart_by_their_length() {
        let address = MacAddress([2, 0, 0x5e, 0x10, 0, 0x21]);
        assert_eq!(mac("02:00:5E:10:00:21"), Ok(address));
        assert_eq!(mac("02-00-5e-10-00-21"), Ok(address));
        assert_eq!(clock("02:00:5e:10:00:21"), Ok(ClockId::V1(address)));
        let identity = ClockIdentity([2, 0, 0x5e, 0xff, 0xfe, 0x10, 0, 1]);
        assert_eq!(clock("02-00-5e-ff-fe-10-00-01"), Ok(ClockId::V2(identity)));
        for text in [
            "",
            "02:00:5e:10:00",
            "02:00:5e:10:00:2g",
            "2:0:5e:10:0:21",
            "01:00:5e:00:01:81",
            "+2:00:5e:10:00:21",
        ] {
            assert!(mac(text).is_err(), "{text}");
        }
        assert!(clock("02-00-5e-ff-fe-10-00-01-02").is_err());
        assert!(clock("02-00-5e:ff-fe-10-00-01").is_err());
    }

    #[test]
    fn a_part_of_the_whole_is_kept_exactly() {
        assert_eq!(millionths("0.25"), Ok(250_000));
        assert_eq!(millionths("1"), Ok(1_000_000));
        assert_eq!(millionths("1.0"), Ok(1_000_000));
        for text in ["1.001", "0.2500005", "-0.1", "25%", "2", "inf"] {
            assert!(millionths(text).is_err(), "{text}");
        }
    }
}
