//! Which clock a stream's timestamps come from (RFC 7273).

use crate::units::MacAddress;

/// `a=ts-refclk` (RFC 7273 section 4): the clock that the sender's media clock is measured against.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum ReferenceClock {
    /// `ptp=`.
    Ptp {
        /// Which PTP, such as `IEEE1588-2008` or `IEEE802.1AS-2011`.
        version: String,
        /// Whose time.
        source: PtpSource,
    },
    /// `localmac=`: the sender's own clock.
    LocalMac(MacAddress),
    /// `ntp=`: a server, or `/traceable/`.
    Ntp(String),
    /// `gps`, `gal`, `glonass`, `local`, `private` and any other, as written.
    Other(String),
}

/// Whose PTP time.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum PtpSource {
    /// A grandmaster of a domain.
    Grandmaster {
        /// `EUI-64`, the grandmasterIdentity.
        grandmaster_identity: [u8; 8],
        /// The domain; `None` where left out.
        domain: Option<PtpDomain>,
    },
    /// `traceable`: any grandmaster traceable to TAI.
    Traceable,
    /// Nothing follows the version.
    Unspecified,
}

/// A PTP domain as an SDP writes it.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum PtpDomain {
    /// `domain-nmbr`, also written `domain-nmbr=…`.
    Number(u8),
    /// `domain-name=`, of IEEE 1588-2002.
    Name(String),
}

/// `a=mediaclk` (RFC 7273 section 5): how the media clock follows.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum MediaClock {
    /// `direct`: locked to the reference clock.
    Direct {
        /// The RTP timestamp at the reference clock's epoch, ticks; `None` where left out.
        offset: Option<u64>,
        /// `rate=`: media clock over reference clock, numerator and denominator.
        rate: Option<(u64, u64)>,
    },
    /// `sender`: free running.
    Sender,
    /// `IEEE1722=` and any other, as written.
    Other(String),
}

pub(super) fn reference(value: &str) -> Result<ReferenceClock, String> {
    let value = value.trim();
    let (kind, rest) = value.split_once('=').unwrap_or((value, ""));
    match kind.trim().to_ascii_lowercase().as_str() {
        "ptp" => ptp(rest.trim()),
        "localmac" => octets(rest.trim())
            .map(|mac| ReferenceClock::LocalMac(MacAddress(mac)))
            .ok_or_else(|| format!("`{rest}` is no MAC address")),
        "ntp" => Ok(ReferenceClock::Ntp(rest.trim().to_owned())),
        "" => Err("a clock is missing".to_owned()),
        _ => Ok(ReferenceClock::Other(value.to_owned())),
    }
}

fn ptp(text: &str) -> Result<ReferenceClock, String> {
    let mut parts = text.split(':').map(str::trim);
    let version =
        parts.next().filter(|version| !version.is_empty()).ok_or("a PTP version is missing")?.to_owned();
    let source = match parts.next() {
        None => PtpSource::Unspecified,
        Some(word) if word.eq_ignore_ascii_case("traceable") => PtpSource::Traceable,
        Some(identity) => {
            let grandmaster_identity = octets(identity)
                .ok_or_else(|| format!("`{identity}` is no EUI-64 with `-` between octets"))?;
            PtpSource::Grandmaster { grandmaster_identity, domain: parts.next().map(domain).transpose()? }
        }
    };
    Ok(ReferenceClock::Ptp { version, source })
}

fn domain(text: &str) -> Result<PtpDomain, String> {
    let wrong = || format!("`{text}` is no PTP domain");
    let (key, value) = text.split_once('=').unwrap_or(("domain-nmbr", text));
    match key.trim().to_ascii_lowercase().as_str() {
        "domain-name" => Ok(PtpDomain::Name(value.trim().to_owned())),
        "domain-nmbr" => value.trim().parse().map(PtpDomain::Number).map_err(|_| wrong()),
        _ => Err(wrong()),
    }
}

/// Octets in hexadecimal with `-` between them.
fn octets<const N: usize>(text: &str) -> Option<[u8; N]> {
    let mut octets = [0; N];
    let mut parts = text.split('-');
    for octet in &mut octets {
        let part = parts
            .next()
            .filter(|part| part.len() == 2 && part.bytes().all(|each| each.is_ascii_hexdigit()))?;
        *octet = u8::from_str_radix(part, 16).ok()?;
    }
    parts.next().is_none().then_some(octets)
}

pub(super) fn media(value: &str) -> Result<MediaClock, String> {
    let value = value.trim();
    let mut words = value.split_whitespace();
    let (kind, offset) = match words.next() {
        Some(word) => word.split_once('=').map_or((word, None), |(kind, offset)| (kind, Some(offset))),
        None => return Err("a media clock is missing".to_owned()),
    };
    match (kind.to_ascii_lowercase().as_str(), offset) {
        ("sender", _) => Ok(MediaClock::Sender),
        ("direct", offset) => {
            let wrong = |what: &str| format!("`{value}` has no proper {what}");
            let offset = offset.map(|offset| offset.parse().map_err(|_| wrong("offset"))).transpose()?;
            let rate = words.find_map(|word| word.strip_prefix("rate="));
            let rate = rate.map(|rate| ratio(rate).ok_or_else(|| wrong("rate"))).transpose()?;
            Ok(MediaClock::Direct { offset, rate })
        }
        _ => Ok(MediaClock::Other(value.to_owned())),
    }
}

fn ratio(text: &str) -> Option<(u64, u64)> {
    let (numerator, denominator) = text.split_once('/')?;
    let ratio = (numerator.parse().ok()?, denominator.parse().ok()?);
    (ratio.1 != 0).then_some(ratio)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_form_of_a_ptp_reference_is_read() {
        let identity = [0x02, 0x00, 0x5e, 0xff, 0xfe, 0x10, 0x00, 0x01];
        for (text, expected) in [
            ("02-00-5E-FF-FE-10-00-01:37", Some(PtpDomain::Number(37))),
            ("02-00-5e-ff-fe-10-00-01:domain-nmbr=3", Some(PtpDomain::Number(3))),
            ("02-00-5e-ff-fe-10-00-01:domain-name=_DFLT", Some(PtpDomain::Name("_DFLT".to_owned()))),
            ("02-00-5e-ff-fe-10-00-01", None),
        ] {
            let source = PtpSource::Grandmaster { grandmaster_identity: identity, domain: expected };
            let version = "IEEE1588-2008".to_owned();
            let read = reference(&format!("ptp=IEEE1588-2008:{text}"));
            assert_eq!(read, Ok(ReferenceClock::Ptp { version, source }), "{text}");
        }
        let traceable = reference("ptp=IEEE1588-2008:traceable").unwrap();
        assert!(matches!(traceable, ReferenceClock::Ptp { source: PtpSource::Traceable, .. }));
        for text in
            ["ptp=", "ptp=V:02-00", "ptp=V:02-00-5E-FF-FE-10-00-01-02", "ptp=V:02-00-5E-FF-FE-10-00-01:256"]
        {
            assert!(reference(text).is_err(), "{text}");
        }
        let mac = MacAddress([0x02, 0x00, 0x5e, 0x10, 0x00, 0x11]);
        assert_eq!(reference("localmac=02-00-5e-10-00-11"), Ok(ReferenceClock::LocalMac(mac)));
        assert_eq!(reference("ntp=/traceable/"), Ok(ReferenceClock::Ntp("/traceable/".to_owned())));
        assert_eq!(reference("gps"), Ok(ReferenceClock::Other("gps".to_owned())));
    }

    #[test]
    fn a_direct_media_clock_has_an_offset_and_may_have_a_rate() {
        assert_eq!(media("direct=0"), Ok(MediaClock::Direct { offset: Some(0), rate: None }));
        let both = MediaClock::Direct { offset: Some(963_214_424), rate: Some((1000, 1001)) };
        assert_eq!(media("direct=963214424 rate=1000/1001"), Ok(both));
        assert_eq!(media("direct"), Ok(MediaClock::Direct { offset: None, rate: None }));
        assert_eq!(media("sender"), Ok(MediaClock::Sender));
        for text in ["", "direct=", "direct=-1", "direct=0 rate=1/0"] {
            assert!(media(text).is_err(), "{text}");
        }
    }
}
