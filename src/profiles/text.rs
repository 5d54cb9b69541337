//! Rows and values in words.

use std::collections::BTreeSet;
use std::fmt::Display;

use super::row::Field;
use super::row::How;
use super::row::Interval;
use super::row::Want;
use crate::domains::Mechanism;
use crate::units::LogInterval;
use crate::units::Nanos;

impl Interval {
    /// The standard's name.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Announce => "logAnnounceInterval",
            Self::Sync => "logSyncInterval",
            Self::DelayReq => "logMinDelayReqInterval",
            Self::PdelayReq => "logMinPdelayReqInterval",
        }
    }
}

impl Field {
    /// The standard's name.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Priority1 => "priority1",
            Self::Priority2 => "priority2",
            Self::ClockClass => "clockClass",
            Self::Stratum => "stratum",
        }
    }
}

impl Want {
    /// What the row is about.
    #[must_use]
    pub fn item(&self) -> String {
        match self {
            Self::Version(_) => "versionPTP".to_owned(),
            Self::Domain { .. } => "domainNumber".to_owned(),
            Self::Subdomain(_) => "subdomain".to_owned(),
            Self::SdoId(_) => "sdoId".to_owned(),
            Self::Transport(_) => "transport".to_owned(),
            Self::DelayMechanism(_) => "delay mechanism".to_owned(),
            Self::Interval { of, .. } => of.name().to_owned(),
            Self::AboveSync { of, .. } => format!("{} beside logSyncInterval", of.name()),
            Self::Cast { of, .. } => format!("addressing of {}", of.name()),
            Self::GroupAddress(_) => "destination MAC address".to_owned(),
            Self::Untagged => "VLAN tag".to_owned(),
            Self::PcpWhereTagged(_) => "priority code point".to_owned(),
            Self::Announced { field, .. } => field.name().to_owned(),
            Self::Carries { kind, name, .. } => format!("{name} TLV in {}", kind.name()),
            Self::ProfileIdentity(_) => "profileIdentity".to_owned(),
            Self::TwoStep(_) => "step mode".to_owned(),
            Self::Ttl(_) => "time to live".to_owned(),
            Self::Dscp(_) => "DSCP of Sync and Delay_Req".to_owned(),
            Self::GrantDuration { .. } => "durationField of unicast grants".to_owned(),
            Self::NotOnTheWire { item, .. } => (*item).to_owned(),
        }
    }

    /// The default, where there is one.
    #[must_use]
    pub fn default_text(&self) -> Option<String> {
        match self {
            Self::Domain { default, .. } | Self::Announced { default, .. } => {
                (!default.is_empty()).then(|| either(default.iter()))
            }
            Self::Subdomain(name) => Some((*name).to_owned()),
            Self::SdoId(allowed) => allowed.first().map(|id| format!("0x{id:03x}")),
            Self::Interval { default, .. } => default.map(interval),
            Self::AboveSync { .. } => Some("equal to it".to_owned()),
            Self::TwoStep(two) => Some(steps(*two).to_owned()),
            Self::Ttl(value) | Self::Dscp(value) => Some(value.to_string()),
            Self::GrantDuration { default, .. } => Some(format!("{default} s")),
            Self::NotOnTheWire { default, .. } => Some((*default).to_owned()),
            _ => None,
        }
    }

    /// What is allowed.
    #[must_use]
    pub fn allowed_text(&self) -> String {
        match self {
            Self::Version(version) => version.to_string(),
            Self::Domain { allowed: Some((first, last)), .. } => format!("{first} to {last}"),
            Self::Announced { allowed, .. } if !allowed.is_empty() => either(allowed.iter().map(span)),
            Self::SdoId(allowed) => either(allowed.iter().map(|id| format!("0x{id:03x}"))),
            Self::Transport(allowed) => either(allowed.iter().map(|transport| transport.name())),
            Self::DelayMechanism(allowed) => either(allowed.iter().map(|how| mechanism(*how))),
            Self::Interval { allowed: Some((least, most)), .. } if least == most => interval(*least),
            Self::Interval { allowed: Some((least, most)), .. } => {
                format!("{} to {}", interval(*least), interval(*most))
            }
            Self::AboveSync { allowed: (least, most), .. } => format!("{least} to {most} above it"),
            Self::Cast { multicast, .. } => if *multicast { "multicast" } else { "unicast" }.to_owned(),
            Self::GroupAddress(allowed) => either(allowed.iter()),
            Self::Untagged => "untagged".to_owned(),
            Self::PcpWhereTagged(pcp) => format!("{pcp} where tagged"),
            Self::Carries { how: How::Every, .. } => "in each".to_owned(),
            Self::Carries { .. } => "present".to_owned(),
            Self::ProfileIdentity(allowed) => either(allowed.iter().map(identity)),
            Self::GrantDuration { allowed: (least, most), .. } => format!("{least} s to {most} s"),
            Self::NotOnTheWire { allowed, .. } => (*allowed).to_owned(),
            Self::TwoStep(_) => "both".to_owned(),
            Self::Domain { .. }
            | Self::Announced { .. }
            | Self::Interval { .. }
            | Self::Subdomain(_)
            | Self::Ttl(_)
            | Self::Dscp(_) => "any".to_owned(),
        }
    }
}

/// `a`, `a or b`, `a, b or c`.
pub(super) fn either<T: Display>(values: impl Iterator<Item = T>) -> String {
    joined(values, " or ")
}

/// `a`, `a and b`, `a, b and c`; values that differ.
pub(super) fn both<T: Display>(values: &BTreeSet<T>) -> String {
    joined(values.iter(), " and ")
}

fn joined<T: Display>(values: impl Iterator<Item = T>, before_last: &str) -> String {
    let mut texts: Vec<String> = values.map(|value| value.to_string()).collect();
    let last = texts.pop().unwrap_or_default();
    if texts.is_empty() { last } else { format!("{}{before_last}{last}", texts.join(", ")) }
}

fn span((first, last): &(u8, u8)) -> String {
    if first == last { first.to_string() } else { format!("{first} to {last}") }
}

/// `-3 (125 ms)`.
pub(super) fn interval(log: i8) -> String {
    match LogInterval(log).nanos() {
        Some(length) => format!("{log} ({})", duration(length)),
        None => log.to_string(),
    }
}

/// Six octets with dashes.
pub(super) fn identity(octets: &[u8; 6]) -> String {
    octets.map(|octet| format!("{octet:02x}")).join("-")
}

pub(super) const fn steps(two: bool) -> &'static str {
    if two { "two-step" } else { "one-step" }
}

pub(super) const fn mechanism(how: Mechanism) -> &'static str {
    match how {
        Mechanism::EndToEnd => "request-response (E2E)",
        Mechanism::PeerToPeer => "peer-to-peer (P2P)",
    }
}

/// At most four digits, in a unit that leaves at least one in front of the point; trailing zeros are left out.
pub(super) fn duration(length: Nanos) -> String {
    let ns = length.0.unsigned_abs();
    let (unit, name) = match ns {
        0..1_000 => (1, "ns"),
        1_000..1_000_000 => (1_000, "µs"),
        1_000_000..1_000_000_000 => (1_000_000, "ms"),
        _ => (1_000_000_000_u64, "s"),
    };
    let thousandths = (ns % unit).saturating_mul(1000).checked_div(unit).unwrap_or(0);
    let (whole, kept) = match ns / unit {
        whole @ 0..10 => (whole, format!("{thousandths:03}")),
        whole @ 10..100 => (whole, format!("{:02}", thousandths / 10)),
        whole @ 100..1000 => (whole, format!("{:01}", thousandths / 100)),
        whole => (whole, String::new()),
    };
    let kept = kept.trim_end_matches('0');
    let point = if kept.is_empty() { "" } else { "." };
    format!("{whole}{point}{kept} {name}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn durations_keep_four_digits_at_most() {
        for (ns, text) in [
            (0, "0 ns"),
            (999, "999 ns"),
            (7_812_500, "7.812 ms"),
            (62_500_000, "62.5 ms"),
            (125_000_000, "125 ms"),
            (124_960_000, "124.9 ms"),
            (1_000_000_000, "1 s"),
            (16_050_000_000, "16.05 s"),
            (4_096_700_000_000, "4096 s"),
        ] {
            assert_eq!(duration(Nanos(ns)), text);
        }
    }

    #[test]
    fn intervals_show_their_length_where_they_have_one() {
        assert_eq!(interval(-3), "-3 (125 ms)");
        assert_eq!(interval(4), "4 (16 s)");
        assert_eq!(interval(126), "126");
    }

    #[test]
    fn lists_read_as_lists() {
        assert_eq!(either([1, 2, 3].iter()), "1, 2 or 3");
        assert_eq!(both(&BTreeSet::from([7])), "7");
        assert_eq!(both::<u8>(&BTreeSet::new()), "");
    }
}
