//! Quantities and foreign text in the form that people read: the only place that does so.

use super::document::HoleDocument;
use super::document::SpanDocument;
use super::text::cell::beginning;
use super::text::cell::columns;
use crate::units::CaptureTime;
use crate::units::Nanos;

/// RFC 3339 with nine decimals, UTC as the capture's clock counts.
pub(super) fn rfc3339(time: CaptureTime) -> String {
    let printer = jiff::fmt::temporal::DateTimePrinter::new().precision(Some(9));
    match jiff::Timestamp::from_nanosecond(i128::from(time.0)) {
        Ok(timestamp) => printer.timestamp_to_string(&timestamp),
        // jiff spans the years -9999 to 9999 and an i64 of nanoseconds far fewer.
        Err(_) => format!("{} ns after 1970-01-01", time.0),
    }
}

/// Seconds as a number; exact to the nanosecond up to 104 days.
#[allow(
    clippy::as_conversions,
    clippy::cast_precision_loss,
    reason = "the report is where floating point begins"
)]
pub(super) fn seconds(duration: Nanos) -> f64 {
    duration.0 as f64 / 1e9
}

/// A count as a number for an axis or a cell; exact up to 2⁵³.
#[allow(
    clippy::as_conversions,
    clippy::cast_precision_loss,
    reason = "the report is where floating point begins"
)]
pub(super) const fn float(number: u64) -> f64 {
    number as f64
}

/// The same of nanoseconds, or of what else may be less than none.
#[allow(
    clippy::as_conversions,
    clippy::cast_precision_loss,
    reason = "the report is where floating point begins"
)]
pub(super) const fn signed_float(number: i64) -> f64 {
    number as f64
}

/// A duration with the unit that suits it, three decimals at the most.
pub(crate) fn duration(seconds: f64) -> String {
    let (value, unit) = match seconds.abs() {
        s if s >= 1.0 || s == 0.0 => (seconds, "s"),
        s if s >= 1e-3 => (seconds * 1e3, "ms"),
        s if s >= 1e-6 => (seconds * 1e6, "us"),
        _ => (seconds * 1e9, "ns"),
    };
    let text = format!("{value:.3}");
    let text = if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
    format!("{text} {unit}")
}

/// The digits of a MAC address or a clock identity, however they are parted, in small letters; `None` of other text.
pub(crate) fn address_digits(text: &str) -> Option<String> {
    let digits: String = text.chars().filter(|c| !matches!(c, ':' | '-' | '.')).collect();
    let is_address = matches!(digits.len(), 12 | 16) && digits.bytes().all(|digit| digit.is_ascii_hexdigit());
    is_address.then(|| digits.to_ascii_lowercase())
}

/// Nanoseconds with the unit that suits them.
pub(crate) fn duration_ns(ns: i64) -> String {
    duration(seconds(Nanos(ns)))
}

/// A bit rate with the unit that suits it, three decimals at the most; decimal units.
#[allow(
    clippy::as_conversions,
    clippy::cast_precision_loss,
    reason = "the report is where floating point begins"
)]
pub(super) fn rate(bps: u64) -> String {
    let value = bps as f64;
    let (value, unit) = match bps {
        0..1_000 => (value, "b/s"),
        1_000..1_000_000 => (value / 1e3, "kb/s"),
        1_000_000..1_000_000_000 => (value / 1e6, "Mb/s"),
        _ => (value / 1e9, "Gb/s"),
    };
    let text = format!("{value:.3}");
    format!("{} {unit}", text.trim_end_matches('0').trim_end_matches('.'))
}

/// [`duration_ns`] for where any character can be shown: `µs` and a true minus.
pub(super) fn duration_ns_typeset(ns: i64) -> String {
    duration_ns(ns).replace(" us", " µs").replace('-', "−")
}

/// [`duration_ns_typeset`], to the nanosecond where it is a second and more.
pub(super) fn duration_ns_exact(ns: i64) -> String {
    let size = ns.unsigned_abs();
    if size < 1_000_000_000 {
        return duration_ns_typeset(ns);
    }
    let sign = if ns < 0 { "−" } else { "" };
    format!("{sign}{}.{:09} s", size / 1_000_000_000, size % 1_000_000_000)
}

/// A fraction in per cent with one decimal; what is not nothing is not shown as nothing.
pub(super) fn per_cent(fraction: f64) -> String {
    if fraction > 0.0 && fraction < 0.0005 {
        return "below 0.1 %".to_owned();
    }
    format!("{:.1} %", fraction * 100.0)
}

/// [`per_cent`] of whole numbers, rounded up: what is shown as a limit is not above it.
pub(super) fn per_cent_up(part: u64, whole: u64) -> String {
    let thousandths = u128::from(part).saturating_mul(1000);
    let Some(floor) = thousandths.checked_div(u128::from(whole)) else { return "-".to_owned() };
    let up = floor + u128::from(thousandths.checked_rem(u128::from(whole)) > Some(0));
    format!("{}.{} %", up / 10, up % 10)
}

/// A count with thin grouping: `1 234 567`.
pub(crate) fn count(number: u64) -> String {
    let digits = number.to_string();
    let mut text = String::new();
    for (index, digit) in digits.chars().enumerate() {
        if index > 0 && (digits.len() - index).is_multiple_of(3) {
            text.push(' ');
        }
        text.push(digit);
    }
    text
}

/// How often: `once`, `3 times`.
pub(super) fn times(number: u64) -> String {
    if number == 1 { "once".to_owned() } else { format!("{} times", count(number)) }
}

/// A count of things: `1 port`, `12 ports`.
pub(super) fn things(number: u64, one: &str) -> String {
    format!("{} {one}{}", count(number), if number == 1 { "" } else { "s" })
}

/// A difference of rates with its sign; none where it rounds to 0.
pub(crate) fn ppm(ppm: f64) -> String {
    let text = format!("{ppm:+.3}");
    if text == "-0.000" || text == "+0.000" { "0.000".to_owned() } else { text }
}

/// Holes of a capture that are named (chosen).
const HOLES_NAMED: usize = 3;

/// Times in which nothing was captured; `None` where there are none.
pub(super) fn holes(holes: &[HoleDocument]) -> Option<String> {
    if holes.is_empty() {
        return None;
    }
    let span = |hole: &HoleDocument| {
        format!(
            "{} from {} to {}",
            duration(hole.length_s),
            duration(hole.at_s),
            duration(hole.at_s + hole.length_s)
        )
    };
    let mut named: Vec<String> = holes.iter().take(HOLES_NAMED).map(span).collect();
    let more = holes.len().saturating_sub(named.len());
    if more > 0 {
        named.push(format!("{more} times more"));
    }
    let it = if holes.len() == 1 { "it counts" } else { "they count" };
    Some(format!(
        "nothing at all was captured for {}: the capture missed that, its clock was set, or nobody sent; {it} for no mean",
        named.join(", ")
    ))
}

/// What is said before all else of a report of a part; nothing of a whole one.
pub(crate) fn partial(span: &SpanDocument) -> Option<String> {
    let frames = things(span.frames, "frame");
    span.partial.then(|| {
        format!("reading was stopped by hand: this tells of {frames} read until then, of nothing behind them")
    })
}

/// Text from a file, a packet or a file name for a terminal: control characters, and those that turn the direction
/// of writing or do not show, become escapes (`\\u{1b}`).
#[must_use]
pub fn plain(text: &str) -> String {
    let hidden = |c: char| {
        c.is_control()
            || matches!(c, '\u{61c}' | '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2060}'..='\u{206f}' | '\u{feff}')
    };
    let mut shown = String::with_capacity(text.len());
    for c in text.chars() {
        if hidden(c) { shown.extend(c.escape_unicode()) } else { shown.push(c) }
    }
    shown
}

/// Columns of a name that are shown (chosen: half a line).
const NAME_SHOWN: usize = 40;

/// [`plain`] of a name that may be long: its beginning where it is.
pub(super) fn plain_short(name: &str) -> String {
    let shown = plain(name);
    if columns(&shown) <= NAME_SHOWN && shown.chars().count() <= NAME_SHOWN * 2 {
        return shown;
    }
    format!("{}...", beginning(&shown, NAME_SHOWN - 3))
}

/// How many PTP messages there are, and how many frames of PTP were kept too short to be read.
#[must_use]
pub(crate) fn ptp_messages(span: &SpanDocument) -> String {
    let read = format!("{} PTP messages", count(span.ptp_messages));
    let Some(wanted) = span.ptp_octets_wanted.filter(|_| span.ptp_frames_cut > 0) else { return read };
    let cut = format!(
        "{} of PTP cut too short to read ({wanted} octets of each would do)",
        things(span.ptp_frames_cut, "frame")
    );
    if span.ptp_messages == 0 { cut } else { format!("{read}, {cut}") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_keep_their_nanoseconds() {
        assert_eq!(rfc3339(CaptureTime(1_791_055_680_000_000_001)), "2026-10-03T19:28:00.000000001Z");
        assert_eq!(rfc3339(CaptureTime(-1)), "1969-12-31T23:59:59.999999999Z");
        assert!((seconds(Nanos(1_500_000_000)) - 1.5).abs() < 1e-12);
    }

    #[test]
    fn durations_take_the_unit_that_suits_them_at_the_edges() {
        for (seconds, text) in [
            (0.0, "0 s"),
            (1.0, "1 s"),
            (10.0, "10 s"),
            (0.125, "125 ms"),
            (0.001, "1 ms"),
            (0.000_999, "999 us"),
            (0.000_000_25, "250 ns"),
            (31.2504, "31.25 s"),
        ] {
            assert_eq!(duration(seconds), text);
        }
    }

    #[test]
    fn a_load_above_a_limit_does_not_read_as_the_limit() {
        assert_eq!(per_cent_up(750, 1000), "75.0 %");
        assert_eq!(per_cent_up(750_000_001, 1_000_000_000), "75.1 %");
        assert_eq!(per_cent_up(749_999_999, 1_000_000_000), "75.0 %");
        assert_eq!((per_cent_up(0, 9), per_cent_up(1, 0)), ("0.0 %".to_owned(), "-".to_owned()));
        assert_eq!(per_cent_up(u64::MAX, 1), "1844674407370955161500.0 %");
    }

    #[test]
    fn a_rate_that_rounds_to_nothing_has_no_sign() {
        assert_eq!(ppm(-0.0001), "0.000");
        assert_eq!(ppm(0.0004), "0.000");
        assert_eq!(ppm(-0.0006), "-0.001");
        assert_eq!(ppm(12.5), "+12.500");
    }

    #[test]
    fn counts_are_grouped() {
        assert_eq!(count(0), "0");
        assert_eq!(count(999), "999");
        assert_eq!(count(1_234_567), "1 234 567");
    }

    #[test]
    fn a_long_name_is_shown_by_its_beginning() {
        assert_eq!(plain_short("stage box"), "stage box");
        assert_eq!(plain_short(&"x".repeat(40)).len(), 40);
        assert_eq!(plain_short(&"\u{1b}".repeat(40)), format!("{}\\...", "\\u{1b}".repeat(6)));
    }

    #[test]
    fn hostile_text_cannot_drive_a_terminal() {
        assert_eq!(plain("a\u{1b}[2Jb\u{202e}c\n"), "a\\u{1b}[2Jb\\u{202e}c\\u{a}");
        assert_eq!(plain("Bühne links"), "Bühne links");
    }
}
