//! Groups asked for against groups on the wire.

use std::collections::BTreeMap;
use std::collections::BTreeSet;
use std::net::IpAddr;

use super::Ended;
use super::Members;
use super::Membership;
use super::Multicast;
use super::is_link_local;
use crate::units::CaptureTime;
use crate::units::MacAddress;
use crate::units::multicast_mac;
use crate::viewpoint::Scope;
use crate::viewpoint::Sight;

/// Who needs a MAC address for something of its own.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Reserved {
    /// The PTP groups 224.0.1.129 to 132 and FF0X::181 (1588-2008 Annexes D and E, from memory): every PTP device
    /// takes in what comes to it.
    Ptp,
    /// The groups of 224.0.0.0/24: switches pass them on to everybody (RFC 4541 section 2.1.2, from memory), and some
    /// decide by the MAC address.
    LinkLocal,
}

impl Reserved {
    /// The name in the JSON report.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Ptp => "ptp",
            Self::LinkLocal => "link-local",
        }
    }

    /// Whether PTP uses a group.
    pub(super) const fn is_of_ptp(group: IpAddr) -> bool {
        Self::Ptp.is_own(group)
    }

    const fn of(mac: MacAddress) -> Option<Self> {
        match mac.0 {
            [0x01, 0x00, 0x5E, 0x00, 0x01, 129..=132] | [0x33, 0x33, 0, 0, 0x01, 0x81] => Some(Self::Ptp),
            [0x01, 0x00, 0x5E, 0x00, 0x00, _] => Some(Self::LinkLocal),
            _ => None,
        }
    }

    /// Whether a group is one of those that the address is needed for.
    const fn is_own(self, group: IpAddr) -> bool {
        match (self, group) {
            (Self::Ptp, IpAddr::V4(group)) => matches!(group.octets(), [224, 0, 1, 129..=132]),
            (Self::Ptp, IpAddr::V6(group)) => {
                let [first, b, c, d, e, f, g, last] = group.segments();
                first & 0xFFF0 == 0xFF00 && b | c | d | e | f | g == 0 && last == 0x181
            }
            (Self::LinkLocal, group) => is_link_local(group),
        }
    }
}

/// Groups in use that one MAC address stands for: adapters and switches that go by it cannot tell them apart.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SharedMac {
    /// The address.
    pub mac: MacAddress,
    /// Groups in use: on the wire, or asked for. One alone where the address is [`SharedMac::reserved`].
    pub groups: BTreeSet<IpAddr>,
    /// What else the address is needed for.
    pub reserved: Option<Reserved>,
}

/// What the groups on the wire have to do with those asked for.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct GroupUse {
    /// On the wire, and nobody asked for them in this capture.
    pub unrequested: BTreeSet<IpAddr>,
    /// Why nobody's asking is no evidence here; empty where it is.
    pub unrequested_caveats: Vec<&'static str>,
    /// Asked for by somebody who has not left, and nothing came in the whole capture.
    pub idle: BTreeSet<IpAddr>,
    /// MAC addresses that several groups share, or a group with PTP or link-local groups.
    pub shared_macs: Vec<SharedMac>,
}

impl GroupUse {
    /// Compares the groups `on_wire` with those asked for. `end` is the capture's last instant.
    #[must_use]
    pub fn of(
        multicast: &Multicast,
        on_wire: &BTreeSet<IpAddr>,
        scope: &Scope,
        end: Option<CaptureTime>,
    ) -> Self {
        let requested = multicast.requested();
        let wanted = multicast.segments().flat_map(|segment| {
            let left = |member: &Membership| {
                matches!(member.ended, Some((Ended::Left | Ended::Unanswered, _))) || member.reports == 0
            };
            let has_members = move |members: &Members| members.by_host.values().any(|member| !left(member));
            segment.groups.iter().filter(move |(_, members)| has_members(members)).map(|(group, _)| *group)
        });
        let routed = |group: &IpAddr| !is_link_local(*group);
        let unrequested: BTreeSet<IpAddr> = on_wire.difference(&requested).copied().filter(routed).collect();
        let caveats = if unrequested.is_empty() { Vec::new() } else { caveats(multicast, scope, end) };
        Self {
            unrequested_caveats: caveats,
            unrequested,
            idle: wanted.filter(routed).filter(|group| !on_wire.contains(group)).collect(),
            shared_macs: shared(on_wire.union(&requested).copied().filter(routed)),
        }
    }
}

fn caveats(multicast: &Multicast, scope: &Scope, end: Option<CaptureTime>) -> Vec<&'static str> {
    let mut caveats = Vec::new();
    if let Sight::CannotTell(why) = scope.sees_igmp_reports() {
        caveats.push(why);
    }
    let mut queriers = multicast.segments().flat_map(|segment| segment.queriers.values()).peekable();
    if queriers.peek().is_none() {
        caveats.push("nobody asked for members, so those of before had no reason to say so again");
    } else if !queriers.any(|querier| {
        // Everybody has answered by then (RFC 3376 section 5.2).
        let due = querier.first.time.map(|first| first.plus(querier.response()));
        due.zip(end).is_some_and(|(due, end)| due <= end)
    }) {
        caveats.push("the capture ends before the answers to its first query were due");
    }
    caveats
}

fn shared(in_use: impl Iterator<Item = IpAddr>) -> Vec<SharedMac> {
    let mut by_mac: BTreeMap<MacAddress, BTreeSet<IpAddr>> = BTreeMap::new();
    for group in in_use {
        if let Some(mac) = multicast_mac(group) {
            by_mac.entry(mac).or_default().insert(group);
        }
    }
    let shared = by_mac.into_iter().filter_map(|(mac, groups)| {
        let reserved = Reserved::of(mac);
        let intrudes = reserved.is_some_and(|reserved| groups.iter().any(|group| !reserved.is_own(*group)));
        // The same IPv6 group in several scopes has one address by design.
        (intrudes || (groups.len() > 1 && reserved.is_none())).then_some(SharedMac { mac, groups, reserved })
    });
    shared.collect()
}
