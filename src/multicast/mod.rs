//! Who asks for which group: queriers, members over time, and what the groups on the wire have to do with them.
//!
//! [`Multicast`] folds IGMP and MLD in capture order, [`GroupCounts`] counts what goes to groups and joins, and
//! [`GroupUse`] holds the one against the other. The timers are those of RFC 3376 section 8 and RFC 3810 section 9
//! (from memory): what a router or a snooping switch by them has forgotten is `expired` here.

mod event;
mod groups;
mod member;
mod querier;
mod said;
mod segment;
mod sources;
mod usage;

pub use event::{Event, Happening};
pub use groups::{GROUPS_KEPT, GroupCounts};
pub use member::{Ended, Host, Membership};
pub use querier::Querier;
pub use said::Version;
pub use segment::{Members, Segment, SegmentKey};
pub use sources::Sources;
pub use usage::{GroupUse, Reserved, SharedMac};

use std::collections::BTreeMap;
use std::collections::BTreeSet;
use std::net::IpAddr;

use crate::observations::Observation;
use crate::observations::Watch;
use crate::units::CaptureTime;
use said::Said;

/// Members and queriers that are kept in all (chosen: a large house has some thousands).
const MOST_KEPT: usize = 65_536;
/// Events that are kept (chosen).
const MOST_EVENTS: usize = 65_536;

/// Whether routers and snooping switches pass a group on to everybody, asked for or not: IPv4 224.0.0.0/24
/// (RFC 5771 section 4, RFC 4541 section 2.1.2), IPv6 interface and link scope (RFC 4291 section 2.7), from memory.
#[must_use]
pub const fn is_link_local(group: IpAddr) -> bool {
    match group {
        IpAddr::V4(group) => matches!(group.octets(), [224, 0, 0, _]),
        IpAddr::V6(group) => matches!(group.octets(), [0xFF, scope, ..] if scope & 0x0F <= 2),
    }
}

/// Queriers and members of all VLANs.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Multicast {
    segments: BTreeMap<SegmentKey, Segment>,
    events: Vec<Event>,
    kept: usize,
    /// Reports and leaves for addresses that are no groups; they are ignored.
    pub no_groups: u64,
    /// The first such address.
    pub no_group: Option<IpAddr>,
    /// Members, queriers and events that found no room; 0 in any usual capture.
    pub left_out: u64,
}

impl Multicast {
    /// Takes in an observation; one that is neither IGMP nor MLD changes nothing. `watch` has run to its time.
    pub fn push(&mut self, observation: &Observation, watch: &Watch) {
        let Some((is_ipv6, said)) = said::of(observation) else { return };
        let now = observation.place.time.map(|time| watch.now(time));
        let now = now.as_ref();
        let key = SegmentKey { vlan: observation.path.vlan, is_ipv6 };
        let segment = self.segments.entry(key).or_insert_with(|| Segment::new(key));
        let room = MOST_KEPT.saturating_sub(self.kept);
        let mut happened = Vec::new();
        let mut outcome = segment::Outcome::default();
        match said {
            Said::Query(question) => {
                segment.asked(observation, &question, now, room, &mut happened, &mut outcome);
            }
            Said::Report(version, words) => {
                for word in words {
                    if !word.group.is_multicast() {
                        self.no_groups = self.no_groups.saturating_add(1);
                        self.no_group.get_or_insert(word.group);
                        continue;
                    }
                    let room = room.saturating_sub(outcome.added);
                    segment.heard(observation, version, &word, now, room, &mut happened, &mut outcome);
                }
            }
        }
        self.kept += outcome.added;
        self.left_out += outcome.left_out;
        self.note(happened);
    }

    /// Ends the reading at the capture's last instant, `end`: what fell silent or ran out by then is told.
    pub fn finish(&mut self, end: CaptureTime, watch: &Watch) {
        let now = watch.now(end);
        let mut happened = Vec::new();
        for segment in self.segments.values_mut() {
            segment.finish(&now, &mut happened);
        }
        self.note(happened);
        self.events.sort_by_key(|event| (event.time, event.segment, event.place));
    }

    fn note(&mut self, happened: Vec<Event>) {
        let room = MOST_EVENTS.saturating_sub(self.events.len());
        self.left_out += u64::try_from(happened.len().saturating_sub(room)).unwrap_or(u64::MAX);
        self.events.extend(happened.into_iter().take(room));
    }

    /// By VLAN and IP version.
    pub fn segments(&self) -> impl Iterator<Item = &Segment> {
        self.segments.values()
    }

    /// What happened, in time order once the reading is finished.
    #[must_use]
    pub fn events(&self) -> &[Event] {
        &self.events
    }

    /// Who asked for a group on a VLAN at any time.
    fn of_group(&self, vlan: Option<u16>, group: IpAddr) -> impl Iterator<Item = (&Host, &Membership)> {
        let key = SegmentKey { vlan, is_ipv6: group.is_ipv6() };
        let members = self.segments.get(&key).and_then(|segment| segment.groups.get(&group));
        members.into_iter().flat_map(|members| &members.by_host)
    }

    /// Hosts whose reports show them to be members of `group` on a VLAN at any time from `from` to `until`, and to have
    /// asked for what `source` sends there.
    #[must_use]
    pub fn members_during(
        &self,
        vlan: Option<u16>,
        (source, group): (IpAddr, IpAddr),
        from: CaptureTime,
        until: CaptureTime,
    ) -> BTreeSet<Host> {
        let by_host = self.of_group(vlan, group);
        by_host.filter(|(_, member)| member.held_during(source, from, until)).map(|(host, _)| *host).collect()
    }

    /// Of those hosts the ones that are no members any more at `until`, or turned away from `source` since.
    #[must_use]
    pub fn gone_until(
        &self,
        vlan: Option<u16>,
        (source, group): (IpAddr, IpAddr),
        from: CaptureTime,
        until: CaptureTime,
    ) -> BTreeSet<Host> {
        let by_host = self.of_group(vlan, group);
        let gone =
            |member: &Membership| member.held_during(source, from, until) && !member.holds(source, until);
        by_host.filter(|(_, member)| gone(member)).map(|(host, _)| *host).collect()
    }

    /// When the membership of `host` in a group of PTP ran out that was not renewed to the end, where nobody asks for
    /// members any more.
    #[must_use]
    pub fn lost_ptp(&self, host: IpAddr) -> Option<CaptureTime> {
        let silent = self
            .segments()
            .filter(|segment| segment.queriers.values().all(|querier| querier.silent_since.is_some()));
        let groups =
            silent.flat_map(|segment| &segment.groups).filter(|(group, _)| Reserved::is_of_ptp(**group));
        let ended = groups.filter_map(|(_, members)| members.by_host.get(&Host::Ip(host))?.ended);
        ended.filter(|(how, _)| *how == Ended::Expired).map(|(_, time)| time).min()
    }

    /// Groups that anybody asked for at any time.
    #[must_use]
    pub fn requested(&self) -> BTreeSet<IpAddr> {
        self.segments().flat_map(|segment| segment.groups.keys().copied()).collect()
    }
}
