//! The values of attributes that say how a medium is packed and who sends it.

use std::net::IpAddr;

use crate::units::Nanos;

/// `a=rtpmap` (RFC 8866 section 6.6).
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct RtpMap {
    /// `payload type`.
    pub payload_type: u8,
    /// `encoding name`, such as `L24`, `raw`, `H264`.
    pub encoding: String,
    /// `clock rate`, Hz.
    pub clock_rate: u32,
    /// `encoding parameters`: for audio the channels; `None` where left out, which means 1.
    pub channels: Option<u16>,
}

/// `a=fmtp` (RFC 8866 section 6.15).
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct FormatParameters {
    /// `format`: for RTP a payload type.
    pub format: String,
    /// The parameters in order; those without `=` have no value.
    pub parameters: Vec<(String, Option<String>)>,
}

impl FormatParameters {
    /// The value of a parameter, whose name is compared without case.
    #[must_use]
    pub fn value(&self, name: &str) -> Option<&str> {
        let found = self.parameters.iter().find(|(each, _)| each.eq_ignore_ascii_case(name))?;
        found.1.as_deref()
    }
}

/// `a=source-filter` (RFC 4570 section 3).
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct SourceFilter {
    /// `filter-mode`.
    pub mode: FilterMode,
    /// `dest-address`; `None` for `*` or a host name.
    pub destination: Option<IpAddr>,
    /// `src-list`; host names are left out.
    pub sources: Vec<IpAddr>,
}

/// `filter-mode`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum FilterMode {
    /// `incl`: from these sources only.
    Include,
    /// `excl`: from any but these.
    Exclude,
}

/// `a=group:DUP` (RFC 7104 section 3): media that carry the same stream, by their `mid`.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct DuplicationGroup {
    /// The members.
    pub mids: Vec<String>,
}

pub(super) fn rtp_map(value: &str) -> Result<RtpMap, String> {
    let wrong = || format!("`{value}` is no payload type, name and clock rate");
    let (payload_type, rest) = value.trim().split_once(char::is_whitespace).ok_or_else(wrong)?;
    let mut parts = rest.trim().split('/');
    let encoding = parts.next().filter(|name| !name.is_empty()).ok_or_else(wrong)?.to_owned();
    let payload_type = payload_type.parse().ok().filter(|number| *number < 128).ok_or_else(wrong)?;
    let clock_rate = parts.next().and_then(|rate| rate.parse().ok()).ok_or_else(wrong)?;
    let channels = parts.next().map(|channels| channels.parse().map_err(|_| wrong())).transpose()?;
    Ok(RtpMap { payload_type, encoding, clock_rate, channels })
}

pub(super) fn format_parameters(value: &str) -> Result<FormatParameters, String> {
    let value = value.trim();
    let (format, rest) = value.split_once(char::is_whitespace).unwrap_or((value, ""));
    if format.is_empty() {
        return Err("a format is missing".to_owned());
    }
    let parameters = rest
        .split(';')
        .map(str::trim)
        .filter(|each| !each.is_empty())
        .map(|each| match each.split_once('=') {
            Some((name, value)) => (name.trim().to_owned(), Some(value.trim().to_owned())),
            None => (each.to_owned(), None),
        })
        .collect();
    Ok(FormatParameters { format: format.to_owned(), parameters })
}

/// A decimal number of milliseconds, exact to the nanosecond; finer digits are left out.
pub(super) fn milliseconds(value: &str) -> Result<Nanos, String> {
    const DIGITS: usize = 6;
    let wrong = || format!("`{value}` is no number of milliseconds");
    let (whole, fraction) = value.trim().split_once('.').unwrap_or((value.trim(), ""));
    let digits = |text: &str| text.bytes().all(|each| each.is_ascii_digit());
    if whole.is_empty() || !digits(whole) || !digits(fraction) {
        return Err(wrong());
    }
    let fraction: String = fraction.chars().chain(std::iter::repeat('0')).take(DIGITS).collect();
    let nanos = format!("{whole}{fraction}").parse().map_err(|_| wrong())?;
    Ok(Nanos(nanos))
}

pub(super) fn frame_count(value: &str) -> Result<u32, String> {
    value.trim().parse().map_err(|_| format!("`{value}` is no number of samples"))
}

pub(super) fn source_filter(value: &str) -> Result<SourceFilter, String> {
    let wrong = |what: &str| format!("`{value}` has no {what}");
    let mut words = value.split_whitespace();
    let mode = match words.next().map(str::to_ascii_lowercase).as_deref() {
        Some("incl") => FilterMode::Include,
        Some("excl") => FilterMode::Exclude,
        _ => return Err(wrong("incl or excl")),
    };
    // nettype and address types, which the addresses show.
    words.next().and(words.next()).ok_or_else(|| wrong("address type"))?;
    let destination = words.next().ok_or_else(|| wrong("destination"))?.parse().ok();
    let sources: Vec<IpAddr> = words.filter_map(|word| word.parse().ok()).collect();
    if sources.is_empty() {
        return Err(wrong("source address"));
    }
    Ok(SourceFilter { mode, destination, sources })
}

/// `None` for groups of other semantics.
pub(super) fn duplication_group(value: &str) -> Option<DuplicationGroup> {
    let mut words = value.split_whitespace();
    let is_duplication = words.next()?.eq_ignore_ascii_case("DUP");
    is_duplication.then(|| DuplicationGroup { mids: words.map(str::to_owned).collect() })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn milliseconds_are_exact() {
        for (text, nanos) in
            [("1", 1_000_000), ("0.125", 125_000), ("0.333333", 333_333), ("4.0000001", 4_000_000)]
        {
            assert_eq!(milliseconds(text), Ok(Nanos(nanos)), "{text}");
        }
        for text in ["", ".5", "-1", "1e3", "99999999999999999999", "1.x"] {
            assert!(milliseconds(text).is_err(), "{text}");
        }
    }

    #[test]
    fn a_filter_needs_a_mode_and_a_source() {
        let filter = source_filter(" incl IN IP4 239.20.1.1 10.20.0.11").unwrap();
        assert_eq!(filter.mode, FilterMode::Include);
        assert_eq!(filter.destination, "239.20.1.1".parse().ok());
        assert_eq!(filter.sources, ["10.20.0.11".parse::<IpAddr>().unwrap()]);
        assert_eq!(source_filter("excl IN * * 10.20.0.11").unwrap().destination, None);
        for text in ["", "incl", "incl IN IP4", "incl IN IP4 239.20.1.1", "some IN IP4 239.20.1.1 10.20.0.11"]
        {
            assert!(source_filter(text).is_err(), "{text}");
        }
    }
}
