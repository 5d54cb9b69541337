//! Queriers and members of one VLAN and IP version.

use std::collections::BTreeMap;
use std::collections::BTreeSet;
use std::net::IpAddr;
use std::ops::Bound;

use super::event::{Event, Happening};
use super::is_link_local;
use super::member::{Ended, Host, Membership};
use super::querier::{Querier, RESPONSE_INTERVAL, Timing};
use super::said::{Question, Version, Word};
use super::sources::Sources;
use crate::observations::Instant;
use crate::observations::Now;
use crate::observations::Observation;
use crate::observations::Place;
use crate::units::Nanos;

/// How often one asks again after a lower address before the two contend: queries of the other may be lost once
/// (robustness variable of 2, RFC 3376 section 8.1, from memory). Its first query does not count, since it had heard nobody
/// yet.
const CONTENDING: u64 = 2;

/// Queriers that are kept of a VLAN (chosen: one asks at a time, and all are looked at with each query).
const QUERIERS_KEPT: usize = 64;

/// A VLAN and an IP version.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct SegmentKey {
    /// The VLAN; `None` where untagged.
    pub vlan: Option<u16>,
    /// MLD, else IGMP.
    pub is_ipv6: bool,
}

/// What taking in one message did to the tables.
#[derive(Debug, Default)]
pub(super) struct Outcome {
    pub(super) added: usize,
    pub(super) left_out: u64,
}

/// The members of one group.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Members {
    /// By host, also those that left.
    pub by_host: BTreeMap<Host, Membership>,
    /// The last report of anybody, and how long it holds.
    renewed: Option<(Instant, Nanos)>,
    /// Queries for this group alone that nobody has answered.
    pressed: Option<Pressed>,
}

/// Queries for one group in a row: how many, the last one, and how long it waits for answers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Pressed {
    queries: i64,
    last: Instant,
    response: Nanos,
}

impl Members {
    /// Those whose membership holds.
    pub fn now(&self) -> impl Iterator<Item = (&Host, &Membership)> {
        self.by_host.iter().filter(|(_, member)| member.ended.is_none())
    }
}

/// One VLAN and IP version.
#[derive(Debug, Clone, PartialEq)]
pub struct Segment {
    /// Which.
    pub key: SegmentKey,
    /// Who asks, by address.
    pub queriers: BTreeMap<IpAddr, Querier>,
    /// Who won: of those that ask the lowest address (RFC 2236 section 3, RFC 3376 section 6.6.2); also one that has
    /// fallen silent, until another takes over.
    pub elected: Option<IpAddr>,
    /// Groups that were asked for or left.
    pub groups: BTreeMap<IpAddr, Members>,
    /// Whether nobody asks but one without an address, in a capture long enough for another to have asked.
    pub is_nameless: bool,
    /// The last query of any kind and the time for its answers.
    asked: Option<(Instant, Nanos)>,
}

impl Segment {
    pub(super) const fn new(key: SegmentKey) -> Self {
        Self {
            key,
            queriers: BTreeMap::new(),
            elected: None,
            groups: BTreeMap::new(),
            is_nameless: false,
            asked: None,
        }
    }

    /// Takes in a query.
    #[allow(clippy::too_many_arguments, reason = "one message, its time and where the outcome goes")]
    pub(super) fn asked(
        &mut self,
        observation: &Observation,
        question: &Question,
        now: Option<&Now>,
        room: usize,
        happened: &mut Vec<Event>,
        outcome: &mut Outcome,
    ) {
        let place = observation.place;
        if let Some(now) = now {
            self.asked = Some((now.at, question.max_response));
            self.silence(now, happened);
            if let Some(group) = question.pressed {
                self.press(group, question.max_response, now, happened);
            }
        }
        let Some(address) = observation.path.source_ip.filter(|_| question.is_general) else { return };
        let mut was_silent = false;
        let room = room.min(QUERIERS_KEPT.saturating_sub(self.queriers.len()));
        match self.queriers.get_mut(&address) {
            Some(querier) => {
                was_silent = querier.silent_since.is_some();
                querier.asks(question, place, now);
            }
            None if room > 0 => {
                self.queriers.insert(address, Querier::new(address, question, place, now));
                outcome.added += 1;
            }
            None => {
                outcome.left_out += 1;
                return;
            }
        }
        self.elect(address, was_silent, place, happened);
        if let Some(now) = now {
            self.contend(address, place, now, happened);
        }
    }

    /// The querier asks for one group: members that do not answer are forgotten.
    fn press(&mut self, group: IpAddr, response: Nanos, now: &Now, happened: &mut Vec<Event>) {
        let count = self.timing().robustness();
        let Some(members) = self.groups.get_mut(&group) else { return };
        members.unanswered(now, count, (self.key, group), happened);
        if members.now().next().is_none() {
            return;
        }
        let before = members.pressed.filter(|pressed| !now.is_broken_since(&pressed.last));
        let queries = before.map_or(0, |pressed| pressed.queries).saturating_add(1);
        members.pressed = Some(Pressed { queries, last: now.at, response });
    }

    /// Notes who goes on asking beside a lower address.
    fn contend(&mut self, asking: IpAddr, place: Place, now: &Now, happened: &mut Vec<Event>) {
        if asking.is_unspecified() {
            return;
        }
        let higher = self.queriers.range_mut((Bound::Excluded(asking), Bound::Unbounded));
        higher.for_each(|(_, querier)| querier.lower_asked = Some(asking));
        let lower = self.queriers.get_mut(&asking).and_then(|querier| querier.lower_asked.take());
        let Some(lower) = lower else { return };
        let is_there = self.queriers.get(&lower).is_some_and(|querier| {
            querier.silent_since.is_none() && querier.heard.is_some_and(|heard| !now.is_broken_since(&heard))
        });
        let Some(querier) = self.queriers.get_mut(&asking).filter(|_| is_there) else { return };
        querier.despite = querier.despite.saturating_add(1);
        querier.beside = Some(lower);
        if querier.despite == CONTENDING
            && let Some(time) = place.time
        {
            let what = Happening::QueriersContend { lower, higher: asking };
            happened.push(Event { time, segment: self.key, place, what });
        }
    }

    /// Two that ask side by side, the lower address first.
    #[must_use]
    pub fn contention(&self) -> Option<(&Querier, &Querier)> {
        self.queriers
            .values()
            .filter(|querier| querier.despite >= CONTENDING)
            .find_map(|higher| Some((self.queriers.get(&higher.beside?)?, higher)))
    }

    /// Marks queriers whose silence is too long by now.
    fn silence(&mut self, now: &Now, happened: &mut Vec<Event>) {
        for querier in self.queriers.values_mut().filter(|querier| querier.silent_since.is_none()) {
            let Some(since) = querier.heard.and_then(|heard| now.ran_out(&heard, querier.patience())) else {
                continue;
            };
            querier.silent_since = Some(since);
            if self.elected == Some(querier.address) {
                let what = Happening::QuerierSilent { querier: querier.address };
                happened.push(Event { time: since, segment: self.key, place: querier.last, what });
            }
        }
    }

    /// The election after a query of `asking`, which was silent before or not.
    fn elect(&mut self, asking: IpAddr, was_silent: bool, place: Place, happened: &mut Vec<Event>) {
        if !self.queriers.get(&asking).is_some_and(Querier::is_electable) {
            return;
        }
        let what = match self.elected {
            None => None,
            Some(elected) if elected == asking => {
                was_silent.then_some(Happening::QuerierReturned { querier: asking })
            }
            Some(elected) => {
                let is_silent =
                    self.queriers.get(&elected).is_some_and(|querier| querier.silent_since.is_some());
                if asking > elected && !is_silent {
                    return;
                }
                Some(Happening::QuerierChanged { before: elected, after: asking })
            }
        };
        self.elected = Some(asking);
        if let (Some(what), Some(time)) = (what, place.time) {
            happened.push(Event { time, segment: self.key, place, what });
        }
    }

    fn timing(&self) -> Timing {
        let elected = self.elected.and_then(|elected| self.queriers.get(&elected));
        elected.or_else(|| self.queriers.values().next()).map_or_else(Timing::default, Querier::timing)
    }

    /// Whether a report now may answer a query, also one from before the capture, within a hole of it, or that is due and
    /// was not captured.
    fn is_answer(&self, now: &Now) -> bool {
        now.at.since(&now.unbroken_since) <= RESPONSE_INTERVAL
            || self.asked.is_some_and(|(asked, response)| {
                let after = now.at.since(&asked);
                after >= Nanos::ZERO && after <= response
            })
            || self
                .elected
                .and_then(|elected| self.queriers.get(&elected))
                .is_some_and(|querier| querier.may_have_been_missed(now))
    }

    /// Takes in what a host says of a group.
    #[allow(clippy::too_many_arguments, reason = "one message, its time and where the outcome goes")]
    pub(super) fn heard(
        &mut self,
        observation: &Observation,
        version: Version,
        word: &Word,
        now: Option<&Now>,
        room: usize,
        happened: &mut Vec<Event>,
        outcome: &mut Outcome,
    ) {
        let Some(host) = host(observation) else { return };
        let Word { group, change, is_new } = word;
        let group = *group;
        let place = observation.place;
        let key = self.key;
        let is_answer = now.is_some_and(|now| self.is_answer(now));
        let (lasts, count) = (self.timing().group_membership(), self.timing().robustness());
        let before = self.groups.get(&group).and_then(|members| members.by_host.get(&host));
        let known = before.is_some();
        // Who has left asks for nothing, and so has nothing to add to or to take from.
        let nothing = Sources::Only(BTreeSet::new());
        let before = before.and_then(|member| match member.ended {
            Some((Ended::Left, _)) => Some(&nothing),
            _ => member.sources.as_ref(),
        });
        let after = Sources::after(before, change);
        if !known && after.is_none() {
            return;
        }
        if !known && room == 0 {
            outcome.left_out += 1;
            return;
        }
        outcome.added += usize::from(!known);
        let members = self.groups.entry(group).or_default();
        if let Some(now) = now {
            members.unanswered(now, count, (key, group), happened);
            members.run_out(now, key, group, happened);
        }
        let new = Membership {
            mac: observation.path.source_mac,
            version,
            reports: 0,
            first: place,
            last: place,
            sources: None,
            ever: None,
            ended: None,
            renewed: None,
        };
        let member = members.by_host.entry(host).or_insert(new);
        if let Some(now) = now {
            member.run_out(now, (key, group, host), happened);
        }
        let was_member = known && member.ended.is_none();
        // Who had left and answers all the same has joined again.
        let had_left = known && matches!(member.ended, Some((Ended::Left, _)));
        member.last = place;
        member.mac = observation.path.source_mac;
        let Some(after) = after else { return };
        let what = if after.are_none() {
            if known && !was_member && member.ended.is_some_and(|(ended, _)| ended == Ended::Left) {
                // The same word again, as robustness asks for.
                return;
            }
            member.ended = place.time.map(|time| (Ended::Left, time));
            Some(Happening::Left { host, group })
        } else {
            member.reports = member.reports.saturating_add(1);
            member.version = version;
            member.asks_for(after);
            member.ended = None;
            member.renewed = now.map(|now| (now.at, lasts));
            members.renewed = member.renewed.or(members.renewed);
            members.pressed = None;
            let has_joined = !was_member && (*is_new || !is_answer || had_left);
            has_joined.then_some(Happening::Joined { host, group })
        };
        if let (Some(what), Some(time), false) = (what, place.time, is_link_local(group)) {
            happened.push(Event { time, segment: key, place, what });
        }
    }

    /// Tells what has run out by the end.
    pub(super) fn finish(&mut self, now: &Now, happened: &mut Vec<Event>) {
        self.silence(now, happened);
        let count = self.timing().robustness();
        for (group, members) in &mut self.groups {
            members.unanswered(now, count, (self.key, *group), happened);
            members.run_out(now, self.key, *group, happened);
            for (host, member) in &mut members.by_host {
                member.run_out(now, (self.key, *group, *host), happened);
            }
        }
        let nameless = self.queriers.values().next().filter(|_| self.elected.is_none());
        if let Some(querier) = nameless
            && now.at.since(&now.unbroken_since) > querier.patience()
        {
            self.is_nameless = true;
            let what = Happening::QuerierNameless { querier: querier.address };
            if let Some(time) = querier.first.time {
                happened.push(Event { time, segment: self.key, place: querier.first, what });
            }
        }
    }
}

impl Members {
    /// Where `count` queries for the group alone were not answered by now, its members are forgotten.
    fn unanswered(
        &mut self,
        now: &Now,
        count: i64,
        (segment, group): (SegmentKey, IpAddr),
        happened: &mut Vec<Event>,
    ) {
        let Some(pressed) = self.pressed.filter(|pressed| pressed.queries >= count) else { return };
        if now.is_broken_since(&pressed.last) {
            self.pressed = None;
            return;
        }
        let Some(time) = now.ran_out(&pressed.last, pressed.response) else { return };
        self.pressed = None;
        for (host, member) in self.by_host.iter_mut().filter(|(_, member)| member.ended.is_none()) {
            member.ended = Some((Ended::Unanswered, time));
            if !is_link_local(group) {
                let what = Happening::Unanswered { host: *host, group };
                happened.push(Event { time, segment, place: member.last, what });
            }
        }
    }

    /// Where nobody has renewed the group by now, all its members have run out. Those of versions whose hosts keep
    /// quiet after another's answer run out with the group only.
    fn run_out(&mut self, now: &Now, key: SegmentKey, group: IpAddr, happened: &mut Vec<Event>) {
        let Some((heard, lasts)) = self.renewed else { return };
        if now.ran_out(&heard, lasts).is_none() {
            return;
        }
        for (host, member) in &mut self.by_host {
            if member.version.suppresses() {
                member.renewed = Some((heard, lasts));
            }
            member.expire(now, (key, group, *host), happened);
        }
        self.renewed = None;
    }
}

impl Membership {
    fn run_out(&mut self, now: &Now, whose: (SegmentKey, IpAddr, Host), happened: &mut Vec<Event>) {
        if !self.version.suppresses() {
            self.expire(now, whose, happened);
        }
    }

    fn expire(
        &mut self,
        now: &Now,
        (segment, group, host): (SegmentKey, IpAddr, Host),
        happened: &mut Vec<Event>,
    ) {
        if self.ended.is_some() {
            return;
        }
        let ran_out = self.renewed.and_then(|(heard, lasts)| now.ran_out(&heard, lasts));
        let Some(time) = ran_out else { return };
        self.ended = Some((Ended::Expired, time));
        if !is_link_local(group) {
            let what = Happening::Expired { host, group };
            happened.push(Event { time, segment, place: self.last, what });
        }
    }
}

fn host(observation: &Observation) -> Option<Host> {
    let ip = observation.path.source_ip.filter(|ip| !ip.is_unspecified()).map(Host::Ip);
    ip.or_else(|| observation.path.source_mac.map(Host::Mac))
}
