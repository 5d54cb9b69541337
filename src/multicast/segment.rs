//! Queriers and members of one VLAN and IP version.

use std::collections::BTreeMap;
use std::net::IpAddr;

use super::event::{Event, Happening};
use super::is_link_local;
use super::member::{Ended, Host, Membership};
use super::querier::{Querier, RESPONSE_INTERVAL, Timing};
use super::said::{Question, Sense, Version, Word};
use crate::observations::Observation;
use crate::observations::Place;
use crate::units::CaptureTime;
use crate::units::Nanos;

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
    /// When the group is forgotten without another report of anybody.
    deadline: Option<CaptureTime>,
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
    /// The last query of any kind and the time for its answers.
    asked: Option<(CaptureTime, Nanos)>,
}

impl Segment {
    pub(super) const fn new(key: SegmentKey) -> Self {
        Self { key, queriers: BTreeMap::new(), elected: None, groups: BTreeMap::new(), asked: None }
    }

    /// Takes in a query.
    pub(super) fn asked(
        &mut self,
        observation: &Observation,
        question: &Question,
        room: usize,
        happened: &mut Vec<Event>,
        outcome: &mut Outcome,
    ) {
        let place = observation.place;
        if let Some(time) = place.time {
            self.asked = Some((time, question.max_response));
            self.silence(time, happened);
        }
        let Some(address) = observation.path.source_ip.filter(|_| question.is_general) else { return };
        let mut was_silent = false;
        match self.queriers.get_mut(&address) {
            Some(querier) => {
                was_silent = querier.silent_since.is_some();
                querier.asks(question, place);
            }
            None if room > 0 => {
                self.queriers.insert(address, Querier::new(address, question, place));
                outcome.added += 1;
            }
            None => {
                outcome.left_out += 1;
                return;
            }
        }
        self.elect(address, was_silent, place, happened);
    }

    /// Marks queriers whose silence is too long at `now`.
    fn silence(&mut self, now: CaptureTime, happened: &mut Vec<Event>) {
        for querier in self.queriers.values_mut().filter(|querier| querier.silent_since.is_none()) {
            let Some(deadline) = querier.deadline().filter(|deadline| *deadline < now) else { continue };
            querier.silent_since = Some(deadline);
            if self.elected == Some(querier.address) {
                let what = Happening::QuerierSilent { querier: querier.address };
                happened.push(Event { time: deadline, segment: self.key, place: querier.last, what });
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

    /// Whether a report at `time` may answer a query, also one from before the capture.
    fn is_answer(&self, time: CaptureTime, capture_start: CaptureTime) -> bool {
        time.since(capture_start) <= RESPONSE_INTERVAL
            || self.asked.is_some_and(|(asked, response)| {
                let after = time.since(asked);
                after >= Nanos::ZERO && after <= response
            })
    }

    /// Takes in what a host says of a group.
    #[allow(clippy::too_many_arguments, reason = "one message, its time and where the outcome goes")]
    pub(super) fn heard(
        &mut self,
        observation: &Observation,
        version: Version,
        word: Word,
        capture_start: CaptureTime,
        room: usize,
        happened: &mut Vec<Event>,
        outcome: &mut Outcome,
    ) {
        let Some(host) = host(observation) else { return };
        let Word { group, sense } = word;
        let place = observation.place;
        let key = self.key;
        let is_answer = place.time.is_some_and(|time| self.is_answer(time, capture_start));
        let lasts = self.timing().group_membership();
        let known = self.groups.get(&group).is_some_and(|members| members.by_host.contains_key(&host));
        if !known && sense == Sense::Unclear {
            return;
        }
        if !known && room == 0 {
            outcome.left_out += 1;
            return;
        }
        outcome.added += usize::from(!known);
        let members = self.groups.entry(group).or_default();
        if let Some(now) = place.time {
            members.run_out(now, key, group, happened);
        }
        let new = Membership {
            mac: observation.path.source_mac,
            version,
            reports: 0,
            first: place,
            last: place,
            ended: None,
            deadline: None,
        };
        let member = members.by_host.entry(host).or_insert(new);
        if let Some(now) = place.time {
            member.run_out(now, (key, group, host), happened);
        }
        let was_member = known && member.ended.is_none();
        member.last = place;
        member.mac = observation.path.source_mac;
        let what = match sense {
            Sense::Unclear => return,
            Sense::Leaves => {
                if known && !was_member && member.ended.is_some_and(|(ended, _)| ended == Ended::Left) {
                    // The same word again, as robustness asks for.
                    return;
                }
                member.ended = place.time.map(|time| (Ended::Left, time));
                Some(Happening::Left { host, group })
            }
            Sense::Member | Sense::Joins => {
                member.reports = member.reports.saturating_add(1);
                member.version = version;
                member.ended = None;
                member.deadline = place.time.map(|time| time.plus(lasts));
                members.deadline = members.deadline.max(member.deadline);
                let is_new = !was_member && (sense == Sense::Joins || !is_answer);
                is_new.then_some(Happening::Joined { host, group })
            }
        };
        if let (Some(what), Some(time), false) = (what, place.time, is_link_local(group)) {
            happened.push(Event { time, segment: key, place, what });
        }
    }

    /// Tells what has run out by `end`.
    pub(super) fn finish(&mut self, end: CaptureTime, happened: &mut Vec<Event>) {
        self.silence(end, happened);
        for (group, members) in &mut self.groups {
            members.run_out(end, self.key, *group, happened);
            for (host, member) in &mut members.by_host {
                member.run_out(end, (self.key, *group, *host), happened);
            }
        }
    }
}

impl Members {
    /// Where nobody has renewed the group by `now`, all its members have run out. Those of versions whose hosts keep
    /// quiet after another's answer run out with the group only.
    fn run_out(&mut self, now: CaptureTime, key: SegmentKey, group: IpAddr, happened: &mut Vec<Event>) {
        let Some(deadline) = self.deadline.filter(|deadline| *deadline < now) else { return };
        for (host, member) in &mut self.by_host {
            if member.version.suppresses() {
                member.deadline = member.deadline.max(Some(deadline));
            }
            member.expire(now, (key, group, *host), happened);
        }
        self.deadline = None;
    }
}

impl Membership {
    fn run_out(&mut self, now: CaptureTime, whose: (SegmentKey, IpAddr, Host), happened: &mut Vec<Event>) {
        if !self.version.suppresses() {
            self.expire(now, whose, happened);
        }
    }

    fn expire(
        &mut self,
        now: CaptureTime,
        (segment, group, host): (SegmentKey, IpAddr, Host),
        happened: &mut Vec<Event>,
    ) {
        if self.ended.is_some() {
            return;
        }
        let Some(deadline) = self.deadline.filter(|deadline| *deadline < now) else { return };
        self.ended = Some((Ended::Expired, deadline));
        if !is_link_local(group) {
            let what = Happening::Expired { host, group };
            happened.push(Event { time: deadline, segment, place: self.last, what });
        }
    }
}

fn host(observation: &Observation) -> Option<Host> {
    let ip = observation.path.source_ip.filter(|ip| !ip.is_unspecified()).map(Host::Ip);
    ip.or_else(|| observation.path.source_mac.map(Host::Mac))
}
