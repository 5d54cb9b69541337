//! The signs by which a place is recognised, each a question with one answer.

use std::collections::BTreeMap;
use std::collections::BTreeSet;
use std::net::Ipv4Addr;

use super::roles::Roles;
use super::traffic::Counts;
use super::traffic::Pair;
use super::traffic::Station;
use super::traffic::Traffic;
use crate::units::MacAddress;
use crate::units::Nanos;

/// Unicast frames below which nothing is made of who has them (chosen).
pub(super) const LEAST_UNICAST: u64 = 20;
/// Share of all unicast, in percent, that has one MAC address at one end on that address's own port: "nearly
/// all" (chosen; the rest leaves room for frames that a switch floods while it learns).
pub(super) const CENTRE_PERCENT: u64 = 95;
/// Pairs of others that are seen both ways where others' unicast passes (chosen; one may be an accident).
pub(super) const LEAST_FOREIGN_PAIRS: usize = 2;
/// Questions between others that stay without a reply where others' unicast does not pass (chosen).
pub(super) const LEAST_UNANSWERED: usize = 2;
/// Queries after which all members have reported to the querier (chosen: one whole cycle between two; RFC 2236
/// section 8.2 gives 125 s).
pub(super) const LEAST_QUERIES: u64 = 2;
/// Others that are members of PTP's group, so have reported, though not in view (chosen).
pub(super) const LEAST_MEMBERS: usize = 2;
/// Followers known by the answers to them alone (chosen).
pub(super) const LEAST_UNHEARD: u64 = 2;
/// Unfinished checksums from which they are no chance (chosen; one by chance is 1 in 65 536).
pub(super) const LEAST_UNFINISHED: u64 = 10;
/// Copies, as a share of PTP messages in percent, from which a mirror of several sources makes them (chosen).
pub(super) const COPIES_PERCENT: u64 = 1;
/// Copies below which no share is taken (chosen).
pub(super) const LEAST_COPIES: u64 = 20;
/// A mean path delay to the leader below this, plus the stamps' resolution, is no way at all (common practice,
/// no source; a negative one has been seen in a capture taken on the leader itself).
pub(super) const NO_WAY: Nanos = Nanos(300);

/// What other parts measured.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Measured {
    /// Mean path delay between the capture point and the leader, where requests and answers gave one.
    pub mean_path_delay: Option<Nanos>,
    /// The coarsest step of a stamp.
    pub resolution: Option<Nanos>,
    /// PTP messages, copies left out.
    pub ptp_messages: u64,
    /// Identical copies of PTP messages.
    pub copies: u64,
    /// Places that the files may be of: more than one where files of the same time were read.
    pub places: usize,
}

/// Traffic and roles, laid out for questions.
pub(super) struct Signs<'a> {
    pub(super) counts: &'a Counts,
    pub(super) roles: &'a Roles,
    pub(super) measured: Measured,
    pub(super) pairs: BTreeMap<(MacAddress, MacAddress), Pair>,
    pub(super) stations: BTreeMap<MacAddress, Station>,
    pub(super) unanswered: BTreeSet<(MacAddress, Ipv4Addr)>,
    pub(super) overflow: u64,
}

impl<'a> Signs<'a> {
    pub(super) fn new(traffic: &'a Traffic, roles: &'a Roles, measured: Measured) -> Self {
        Self {
            counts: &traffic.counts,
            roles,
            measured,
            pairs: traffic.pairs(),
            stations: traffic.stations(),
            unanswered: traffic.unanswered_asks(&roles.alive()),
            overflow: traffic.overflow(),
        }
    }

    /// Pairs seen both ways, the smaller address first.
    pub(super) fn both_ways(&self) -> BTreeSet<(MacAddress, MacAddress)> {
        self.pairs
            .keys()
            .filter(|(one, other)| one < other && self.pairs.contains_key(&(*other, *one)))
            .copied()
            .collect()
    }

    /// Pairs seen both ways of which none is `own`.
    pub(super) fn foreign(&self, own: Option<MacAddress>) -> usize {
        let is_foreign = |(one, other): &&(MacAddress, MacAddress)| Some(*one) != own && Some(*other) != own;
        self.both_ways().iter().filter(is_foreign).count()
    }

    /// Unicast frames of which `own` is at neither end.
    pub(super) fn foreign_frames(&self, own: Option<MacAddress>) -> u64 {
        let is_foreign = |(one, other): &(MacAddress, MacAddress)| Some(*one) != own && Some(*other) != own;
        self.pairs.iter().filter(|(pair, _)| is_foreign(pair)).map(|(_, pair)| pair.frames).sum()
    }

    /// The fewest pairs seen both ways that are left without any one address.
    pub(super) fn foreign_to_all(&self) -> usize {
        let pairs = self.both_ways();
        let mut ends: BTreeMap<MacAddress, usize> = BTreeMap::new();
        for (one, other) in &pairs {
            *ends.entry(*one).or_default() += 1;
            *ends.entry(*other).or_default() += 1;
        }
        pairs.len().saturating_sub(ends.values().copied().max().unwrap_or(0))
    }

    /// Addresses that nearly all unicast has at one end.
    pub(super) fn centres(&self) -> BTreeSet<MacAddress> {
        let mut at: BTreeMap<MacAddress, u64> = BTreeMap::new();
        for ((source, destination), pair) in &self.pairs {
            *at.entry(*source).or_default() += pair.frames;
            if source != destination {
                *at.entry(*destination).or_default() += pair.frames;
            }
        }
        let all = self.counts.unicast;
        let is_centre = |frames: u64| frames.saturating_mul(100) >= all.saturating_mul(CENTRE_PERCENT);
        at.into_iter()
            .filter(|(_, frames)| all >= LEAST_UNICAST && is_centre(*frames))
            .map(|(mac, _)| mac)
            .collect()
    }

    /// The address that the capturing machine sends from, by a cooked header.
    pub(super) fn marked_own(&self) -> Option<(MacAddress, u64)> {
        let counts = self.counts;
        if counts.cooked * 2 < counts.frames || counts.cooked_for_others * 2 > counts.cooked {
            return None;
        }
        let mut own = self.stations.iter().filter(|(_, station)| station.own > 0);
        let (mac, station) = own.next()?;
        own.next().is_none().then_some((*mac, station.own))
    }

    /// The only address whose UDP checksums are unfinished, while others' are finished.
    pub(super) fn unfinished(&self) -> Option<(MacAddress, u64)> {
        let is_unfinished = |station: &Station| {
            station.unfinished_checksums >= LEAST_UNFINISHED
                && station.unfinished_checksums * 10 >= station.checksums * 9
        };
        let is_finished = |station: &Station| {
            station.checksums >= LEAST_UNFINISHED && station.unfinished_checksums * 10 < station.checksums
        };
        let mut odd = self.stations.iter().filter(|(_, station)| is_unfinished(station));
        let (mac, station) = odd.next()?;
        let is_only = odd.next().is_none() && self.stations.values().any(is_finished);
        is_only.then_some((*mac, station.unfinished_checksums))
    }

    /// Why the port of `mac`, rather than a place that sees more, is where unicast has `mac` at one end.
    pub(super) fn confined_to(&self, mac: MacAddress) -> Option<String> {
        let unanswered = self.unanswered_without(Some(mac));
        if unanswered >= LEAST_UNANSWERED {
            return Some(format!(
                "{unanswered} address questions between other devices were captured without their replies"
            ));
        }
        let reporting: Vec<MacAddress> =
            self.stations.iter().filter(|(_, station)| station.reports > 0).map(|(mac, _)| *mac).collect();
        let members = self
            .stations
            .iter()
            .filter(|(other, station)| **other != mac && station.ptp_multicast > 0)
            .count();
        if self.counts.queries >= LEAST_QUERIES && reporting == [mac] && members >= LEAST_MEMBERS {
            return Some(format!(
                "of {} members of PTP's group only this one's membership reports were captured",
                members.saturating_add(1)
            ));
        }
        let heard = &self.roles.followers;
        (self.roles.unheard >= LEAST_UNHEARD && heard.len() == 1 && heard.contains(&mac)).then(|| {
            format!(
                "answers to {} other followers were captured, and requests of this one alone",
                self.roles.unheard
            )
        })
    }

    /// Questions without a reply, those of `own` and for it left out.
    pub(super) fn unanswered_without(&self, own: Option<MacAddress>) -> usize {
        let concerns = |asker: MacAddress, target: Ipv4Addr| {
            own.is_some_and(|own| asker == own || self.roles.owns(own, target))
        };
        self.unanswered.iter().filter(|(asker, target)| !concerns(*asker, *target)).count()
    }

    /// Whether a mirror captured frames twice. A cooked capture has them from two interfaces of a host, and
    /// several files may be of two places.
    pub(super) fn has_copies(&self) -> bool {
        let Measured { copies, ptp_messages, places, .. } = self.measured;
        copies >= LEAST_COPIES
            && copies.saturating_mul(100) >= ptp_messages.saturating_mul(COPIES_PERCENT)
            && self.counts.cooked == 0
            && places <= 1
    }

    /// Whether the measured way to the leader is none, and nothing shows a place beside it.
    pub(super) fn is_no_way(&self) -> bool {
        let limit = NO_WAY.0.saturating_add(self.measured.resolution.map_or(0, |step| step.0));
        let is_short = self.measured.mean_path_delay.is_some_and(|delay| delay.0 < limit);
        is_short && self.measured.places <= 1 && self.roles.unheard == 0
    }

    /// Addresses that sent peer-delay messages, which do not leave their link.
    pub(super) fn peers(&self) -> Vec<MacAddress> {
        self.stations.iter().filter(|(_, station)| station.ptp_one_link > 0).map(|(mac, _)| *mac).collect()
    }
}
