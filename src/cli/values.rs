//! What is typed as a value: instants, rates, what is planned.

use downbeat::analysis::Bound;
use downbeat::fit::KeepFree;
use downbeat::fit::Planned;
use downbeat::units::BitsPerSecond;
use downbeat::units::CaptureTime;
use downbeat::units::Nanos;

/// A time as the user writes it: RFC 3339, or seconds from the first frame with up to nine decimals.
pub(super) fn bound(text: &str) -> Result<Bound, String> {
    if let Some(after) = decimal_seconds(text.strip_suffix('s').unwrap_or(text)) {
        return Ok(Bound::FromStart(after));
    }
    let timestamp: jiff::Timestamp = text.parse().map_err(|_| {
        "give RFC 3339 (2026-10-03T19:28:05Z) or seconds from the first frame (12.5)".to_owned()
    })?;
    let ns = i64::try_from(timestamp.as_nanosecond()).map_err(|_| "beyond the year 2262".to_owned())?;
    Ok(Bound::At(CaptureTime(ns)))
}

/// A rate as the user writes it: as the site file has it.
pub(super) fn rate(text: &str) -> Result<BitsPerSecond, String> {
    downbeat::site::rate(text)
}

/// Streams as the user writes them.
pub(super) fn planned(text: &str) -> Result<Planned, String> {
    let wrong = || "give a name, a rate and perhaps a count, such as camera=8M or camera=8Mx10".to_owned();
    let (name, amount) = text.rsplit_once('=').ok_or_else(wrong)?;
    let (each, count) = amount.split_once('x').unwrap_or((amount, "1"));
    let count: u32 = count.parse().map_err(|_| wrong())?;
    if name.is_empty() {
        return Err(wrong());
    }
    if count == 0 {
        return Err("0 streams are none: give a count of 1 or more, such as camera=8Mx10".to_owned());
    }
    Ok(Planned { name: name.to_owned(), count, rate: rate(each)?, direction: None })
}

/// A part of the whole as the user writes it: a fraction of six decimals, or per cent with four.
pub(super) fn keep_free(text: &str) -> Result<KeepFree, String> {
    let wrong = || "give a fraction, such as 0.25 or 25%".to_owned();
    let (number, places) = text.strip_suffix('%').map_or((text, 6), |number| (number, 4));
    let (whole, decimals) = number.split_once('.').unwrap_or((number, "0"));
    let digits = |part: &str| !part.is_empty() && part.bytes().all(|octet| octet.is_ascii_digit());
    if !digits(whole) || !digits(decimals) || decimals.len() > places {
        return Err(wrong());
    }
    let millionths: u32 = format!("{whole}{decimals:0<places$}").parse().map_err(|_| wrong())?;
    KeepFree::from_millionths(millionths).ok_or_else(wrong)
}

/// Exact nanoseconds of a plain decimal number; `None` where it is not one.
fn decimal_seconds(text: &str) -> Option<Nanos> {
    let (whole, fraction) = text.split_once('.').unwrap_or((text, ""));
    let digits = |part: &str| part.bytes().all(|octet| octet.is_ascii_digit());
    if whole.is_empty() || !digits(whole) || !digits(fraction) || fraction.len() > 9 {
        return None;
    }
    let seconds: i64 = whole.parse().ok()?;
    let fraction: i64 = format!("{fraction:0<9}").parse().ok()?;
    seconds.checked_mul(1_000_000_000)?.checked_add(fraction).map(Nanos)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_arguments_are_consistent() {
        use clap::CommandFactory;
        crate::cli::arguments::Arguments::command().debug_assert();
    }

    #[test]
    fn rates_are_decimal_and_exact() {
        assert_eq!(rate("1G"), Ok(BitsPerSecond(1_000_000_000)));
        assert_eq!(rate("2.5G"), Ok(BitsPerSecond(2_500_000_000)));
        assert_eq!(rate("670M"), Ok(BitsPerSecond(670_000_000)));
        assert_eq!(rate("64000"), Ok(BitsPerSecond(64_000)));
        // Who leaves the unit out means another rate: nothing has so few bits a second.
        assert!(rate("8").is_err_and(|why| why.contains("8 bits a second") && why.contains("8M")));
        assert!(rate("999").is_err_and(|why| why.contains("999M")));
        assert_eq!(rate("1000"), Ok(BitsPerSecond(1000)));
        assert!(planned("camera=8Mx0").is_err_and(|why| why.starts_with("0 streams")));
        for wrong in
            ["", ".5G", "5.G", "G", "0", "0.0G", "1.5", "-1G", "1GG", "1e9", "0.0001k", "99999999999T"]
        {
            assert!(rate(wrong).is_err(), "{wrong}");
        }
    }

    #[test]
    fn plans_are_a_name_a_rate_and_a_count() {
        let plan = |name: &str, rate, count| {
            Ok(Planned { name: name.to_owned(), count, rate: BitsPerSecond(rate), direction: None })
        };
        assert_eq!(planned("balcony cameras=670M"), plan("balcony cameras", 670_000_000, 1));
        assert_eq!(planned("camera=8Mx10"), plan("camera", 8_000_000, 10));
        assert_eq!(planned("a=b=2.5Gx2"), plan("a=b", 2_500_000_000, 2));
        for wrong in
            ["", "670M", "=670M", "camera=", "camera=8Mx", "camera=8Mx0", "camera=8x-1", "camera=fast"]
        {
            assert!(planned(wrong).is_err(), "{wrong}");
        }
    }

    #[test]
    fn parts_of_the_whole_are_fractions_or_per_cent() {
        for (text, millionths) in [
            ("0.25", 250_000),
            ("25%", 250_000),
            ("12.5%", 125_000),
            ("0", 0),
            ("1", 1_000_000),
            ("100%", 1_000_000),
            ("0.3333", 333_300),
            ("33.3333%", 333_333),
        ] {
            assert_eq!(keep_free(text).map(KeepFree::millionths), Ok(millionths), "{text}");
        }
        for wrong in ["", "%", "25", "1.001", "101%", "-1%", "0.2500005", ".5", "5.", "a quarter"] {
            assert!(keep_free(wrong).is_err(), "{wrong}");
        }
    }

    #[test]
    fn times_are_seconds_or_rfc_3339_and_exact() {
        assert_eq!(bound("12.000000001"), Ok(Bound::FromStart(Nanos(12_000_000_001))));
        assert_eq!(bound("0.5s"), Ok(Bound::FromStart(Nanos(500_000_000))));
        assert_eq!(bound("1970-01-01T00:00:01.5Z"), Ok(Bound::At(CaptureTime(1_500_000_000))));
        for wrong in ["", "-1", "1.0000000001", "noon", "1e3", "99999999999999999999"] {
            assert!(bound(wrong).is_err(), "{wrong}");
        }
    }
}
