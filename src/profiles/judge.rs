//! One row against what a domain shows.

use std::collections::BTreeSet;

use super::facts::Casting;
use super::facts::Facts;
use super::facts::Intervals;
use super::row::How;
use super::row::Interval;
use super::row::Want;
use super::text;
use crate::domains::DomainName;
use crate::domains::Kind;
use crate::ptp::v1;
use crate::units::LogInterval;
use crate::units::Nanos;

/// By how much a measured interval may differ from what it should be, in percent (1588-2008 7.7.2.1: a mean within
/// 30 % with 90 % confidence, from memory).
const TOLERANCE_PERCENT: i64 = 30;

/// How long clocks must have been announcing before a TLV that comes about once a second is called absent (chosen).
const TLV_PATIENCE: Nanos = Nanos::from_seconds(5);

/// Kinds whose code point is compared: event messages that every follower and leader sends.
const EVENTS: &[Kind] = &[Kind::Sync, Kind::DelayReq];

/// What comes of a row.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Outcome {
    /// The capture does not show it.
    NotSeen,
    /// Allowed.
    Inside {
        /// What was seen.
        seen: String,
        /// Whether it is the default; `None` where there is no default.
        is_default: Option<bool>,
    },
    /// Not allowed.
    Outside {
        /// What was seen.
        seen: String,
    },
}

impl Outcome {
    /// From values seen, none of which leaves the row undecided.
    fn of_values<T: Ord>(
        values: &BTreeSet<T>,
        is_allowed: impl Fn(&T) -> bool,
        is_default: Option<&dyn Fn(&T) -> bool>,
        text: impl Fn(&T) -> String,
    ) -> Self {
        if values.is_empty() {
            return Self::NotSeen;
        }
        let seen = text::both(&values.iter().map(text).collect());
        if values.iter().all(is_allowed) {
            Self::Inside { seen, is_default: is_default.map(|is_default| values.iter().all(is_default)) }
        } else {
            Self::Outside { seen }
        }
    }
}

/// Judges `want` by `facts`.
pub(super) fn judge(want: &Want, facts: &Facts<'_>) -> Outcome {
    let key = facts.domain.key;
    match *want {
        Want::Version(version) => {
            let seen = BTreeSet::from([if key.is_v1() { 1 } else { 2 }]);
            Outcome::of_values(&seen, |seen| *seen == version, None, u8::to_string)
        }
        Want::Domain { default, allowed } => {
            let is_allowed =
                |number: &u8| allowed.is_none_or(|(first, last)| (first..=last).contains(number));
            let is_default = |number: &u8| default.contains(number);
            let has_default: Option<&dyn Fn(&u8) -> bool> =
                if default.is_empty() { None } else { Some(&is_default) };
            Outcome::of_values(&key.number().into_iter().collect(), is_allowed, has_default, u8::to_string)
        }
        Want::Subdomain(usual) => match key.name {
            DomainName::Subdomain(octets) => {
                let seen = BTreeSet::from([v1::subdomain_text(&octets).to_string()]);
                Outcome::of_values(&seen, |_| true, Some(&|seen: &String| seen == usual), String::clone)
            }
            DomainName::Number { .. } => Outcome::NotSeen,
        },
        Want::SdoId(allowed) => match key.name {
            DomainName::Number { sdo_id, .. } => Outcome::of_values(
                &BTreeSet::from([sdo_id]),
                |id| allowed.contains(id),
                Some(&|id: &u16| allowed.first() == Some(id)),
                |id| format!("0x{id:03x}"),
            ),
            DomainName::Subdomain(_) => Outcome::NotSeen,
        },
        Want::Transport(allowed) => Outcome::of_values(
            &facts.domain.transports,
            |transport| allowed.contains(transport),
            None,
            |transport| transport.name().to_owned(),
        ),
        Want::DelayMechanism(allowed) => Outcome::of_values(
            &facts.mechanisms(),
            |how| allowed.contains(how),
            None,
            |how| text::mechanism(*how).to_owned(),
        ),
        Want::Interval { of, default, allowed } => interval(of, default, allowed, facts.intervals(of)),
        Want::AboveSync { of, allowed } => above_sync(of, allowed, facts),
        Want::Cast { of, multicast } => cast(facts.casting(of), multicast),
        Want::GroupAddress(allowed) => Outcome::of_values(
            &facts.marked(&[], |marks| &marks.destinations),
            |address| allowed.contains(address),
            None,
            ToString::to_string,
        ),
        Want::Untagged => {
            let pcp = facts.marked(&[], |marks| &marks.pcp);
            match key.vlan {
                Some(vlan) => Outcome::Outside { seen: format!("VLAN {vlan}") },
                None if !pcp.is_empty() => {
                    Outcome::Outside { seen: format!("priority {}", text::both(&pcp)) }
                }
                None => Outcome::Inside { seen: "untagged".to_owned(), is_default: None },
            }
        }
        Want::PcpWhereTagged(pcp) => {
            let seen = facts.marked(&[], |marks| &marks.pcp);
            Outcome::of_values(&seen, |seen| *seen == pcp, Some(&|seen: &u8| *seen == pcp), u8::to_string)
        }
        Want::Announced { field, default, allowed } => {
            let is_allowed = |value: &u8| {
                allowed.is_empty() || allowed.iter().any(|(first, last)| (*first..=*last).contains(value))
            };
            let is_default = |value: &u8| default.contains(value);
            let has_default: Option<&dyn Fn(&u8) -> bool> =
                if default.is_empty() { None } else { Some(&is_default) };
            Outcome::of_values(&facts.announced(field), is_allowed, has_default, u8::to_string)
        }
        Want::Carries { kind, tlvs, how, .. } => {
            let (whole, with) = facts.carrying(kind, tlvs);
            carries(how, whole, with, facts)
        }
        Want::ProfileIdentity(allowed) => Outcome::of_values(
            &facts.profile_identities(),
            |identity| allowed.contains(identity),
            Some(&|_: &[u8; 6]| true),
            text::identity,
        ),
        Want::TwoStep(two) => Outcome::of_values(
            &facts.two_step(),
            |_| true,
            Some(&|seen: &bool| *seen == two),
            |seen| text::steps(*seen).to_owned(),
        ),
        Want::Ttl(usual) => {
            let seen = facts.marked(&[], |marks| &marks.ttl);
            Outcome::of_values(&seen, |_| true, Some(&|seen: &u8| *seen == usual), u8::to_string)
        }
        Want::Dscp(usual) => {
            let seen = facts.marked(EVENTS, |marks| &marks.dscp);
            Outcome::of_values(&seen, |_| true, Some(&|seen: &u8| *seen == usual), u8::to_string)
        }
        Want::GrantDuration { default, allowed: (least, most) } => {
            let seen = facts.grants().iter().map(|grant| grant.duration_s).collect();
            let is_allowed = |seconds: &u32| (least..=most).contains(seconds);
            let is_default = |seconds: &u32| *seconds == default;
            Outcome::of_values(&seen, is_allowed, Some(&is_default), |seconds| format!("{seconds} s"))
        }
        Want::NotOnTheWire { .. } => Outcome::NotSeen,
    }
}

fn interval(of: Interval, default: Option<i8>, allowed: Option<(i8, i8)>, seen: &Intervals) -> Outcome {
    if seen.declared.is_empty() && seen.measured.is_none() {
        return Outcome::NotSeen;
    }
    // A request interval is a minimum: who asks less often keeps to it.
    let is_minimum = matches!(of, Interval::DelayReq | Interval::PdelayReq);
    let keeps_to = |least: i8, most: i8| {
        seen.declared.iter().all(|log| (least..=most).contains(log))
            && seen.measured.is_none_or(|(low, high)| {
                is_not_shorter(low, least) && (is_minimum || is_not_longer(high, most))
            })
    };
    let text = intervals_text(seen);
    if allowed.is_some_and(|(least, most)| !keeps_to(least, most)) {
        return Outcome::Outside { seen: text };
    }
    let is_default = default.map(|log| {
        keeps_to(log, log)
            && (!seen.declared.is_empty() || seen.measured.is_none_or(|(_, high)| is_not_longer(high, log)))
    });
    Outcome::Inside { seen: text, is_default }
}

fn is_not_shorter(measured: Nanos, log: i8) -> bool {
    let percent = measured.saturating_mul(100);
    LogInterval(log).nanos().is_none_or(|least| percent >= least.saturating_mul(100 - TOLERANCE_PERCENT))
}

fn is_not_longer(measured: Nanos, log: i8) -> bool {
    let percent = measured.saturating_mul(100);
    LogInterval(log).nanos().is_none_or(|most| percent <= most.saturating_mul(100 + TOLERANCE_PERCENT))
}

fn intervals_text(seen: &Intervals) -> String {
    let declared = (!seen.declared.is_empty()).then(|| {
        format!("declared {}", text::both(&seen.declared.iter().map(|log| text::interval(*log)).collect()))
    });
    let measured = seen.measured.map(|(low, high)| match (text::duration(low), text::duration(high)) {
        (low, high) if low == high => format!("measured {low}"),
        (low, high) => format!("measured {low} to {high}"),
    });
    [declared, measured].into_iter().flatten().collect::<Vec<_>>().join(", ")
}

/// Only what is declared is compared: of requests nothing shorter than a minimum can be told from chance.
fn above_sync(of: Interval, (least, most): (i8, i8), facts: &Facts<'_>) -> Outcome {
    let sync = &facts.intervals(Interval::Sync).declared;
    let own = &facts.intervals(of).declared;
    let (Some(low), Some(high)) = (sync.first(), sync.last()) else { return Outcome::NotSeen };
    let allowed = low.saturating_add(least)..=high.saturating_add(most);
    Outcome::of_values(
        own,
        |log| allowed.contains(log),
        Some(&|log: &i8| sync.contains(log)),
        |log| format!("{} beside {}", text::interval(*log), text::both(sync)),
    )
}

fn cast(seen: Option<Casting>, multicast: bool) -> Outcome {
    let Some(seen) = seen else { return Outcome::NotSeen };
    let (is_wanted, name) = match seen {
        Casting::Multicast => (multicast, "multicast"),
        Casting::Unicast => (!multicast, "unicast"),
        Casting::Mixed => (false, "both multicast and unicast"),
    };
    let seen = name.to_owned();
    if is_wanted { Outcome::Inside { seen, is_default: None } } else { Outcome::Outside { seen } }
}

fn carries(how: How, whole: u64, with: u64, facts: &Facts<'_>) -> Outcome {
    let seen = format!("in {with} of {whole}");
    let can_tell = match how {
        How::Every | How::Some => whole > 0,
        How::InTime => {
            with > 0
                || (facts.domain.count(Kind::Announce) > 1
                    && facts.length().is_some_and(|length| length >= TLV_PATIENCE))
        }
    };
    let is_there = if how == How::Every { with >= whole } else { with > 0 };
    match () {
        () if !can_tell => Outcome::NotSeen,
        () if is_there => Outcome::Inside { seen, is_default: None },
        () => Outcome::Outside { seen: if with == 0 { "absent".to_owned() } else { seen } },
    }
}
