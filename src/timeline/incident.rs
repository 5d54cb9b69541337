//! Which events belong to one incident, and which of them is its probable cause.

use std::collections::BTreeMap;
use std::collections::BTreeSet;

use crate::report::EventDocument;

/// Events of one domain or device that follow one another within this are one incident.
///
/// The slowest consequence of a fault is a take-over: at the default profile's Announce interval of 2 s a silent leader is
/// given up after 7 s (three intervals and the half that is added here), the next is qualified 2 s later, and 1 s is left
/// for the events' own grain (1588-2008 7.7.3.1, 9.3.2.4, J.3, from memory; the sum is chosen).
pub const WINDOW_S: f64 = 10.0;

/// Streams of several senders that something happens to within this are hit by one thing (chosen: the seconds that rates are
/// counted in).
const AT_ONCE_S: f64 = 1.0;

/// Groups events, which must be in time order, into incidents: the indices of each one's events, in time order, the
/// incidents by their first event. Every event is in exactly one.
#[must_use]
pub fn group(events: &[EventDocument]) -> Vec<Vec<usize>> {
    let mut incidents: Vec<Vec<usize>> = Vec::new();
    let mut open: Vec<Open<'_>> = Vec::new();
    let mut leaders = BTreeMap::new();
    for (index, event) in events.iter().enumerate() {
        if let ("leader-elected" | "leader-changed", Some(domain)) = (event.kind, event.domain.as_deref()) {
            leaders.insert(domain, event.device.as_deref());
        }
        // That somebody leads at the capture's beginning is no fault, so what comes after it is none of its consequences.
        if event.kind == "leader-elected" {
            incidents.push(vec![index]);
            continue;
        }
        open.retain(|incident| event.at_s - incident.latest_s <= WINDOW_S);
        let home = open.iter_mut().rev().find(|incident| incident.is_related_to(event));
        let known = home.and_then(|incident| {
            incident.take(event, &leaders);
            incidents.get_mut(incident.index)
        });
        if let Some(incident) = known {
            incident.push(index);
            continue;
        }
        let mut incident = Open { index: incidents.len(), ..Open::default() };
        incident.take(event, &leaders);
        open.push(incident);
        incidents.push(vec![index]);
    }
    incidents
}

/// An incident that further events may belong to.
#[derive(Default)]
struct Open<'a> {
    index: usize,
    latest_s: f64,
    /// Whether something is in it that may bring others about.
    can_cause: bool,
    domains: BTreeSet<&'a str>,
    devices: BTreeSet<&'a str>,
    /// Its latest event of each matter.
    matters: BTreeMap<Matter, f64>,
}

/// What events are about that are neither of a domain nor of one device.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Matter {
    /// A clock that jumps: the capture's own shows in every domain.
    Time,
    /// Queriers and members of groups: what the one does the others follow.
    Multicast,
    /// Streams: what hits several hits them at once.
    Streams,
}

impl Matter {
    fn of(event: &EventDocument) -> Option<Self> {
        let kind = event.kind;
        if kind == "time-step" {
            Some(Self::Time)
        } else if event.domain.is_some() {
            None
        } else if kind.starts_with("querier-") || kind.starts_with("member") {
            Some(Self::Multicast)
        } else {
            Some(Self::Streams)
        }
    }

    const fn window_s(self) -> f64 {
        match self {
            Self::Time | Self::Multicast => WINDOW_S,
            Self::Streams => AT_ONCE_S,
        }
    }
}

impl<'a> Open<'a> {
    fn is_related_to(&self, event: &EventDocument) -> bool {
        let is_in =
            |set: &BTreeSet<&str>, value: Option<&str>| value.is_some_and(|value| set.contains(value));
        let of_one_matter = Matter::of(event).is_some_and(|matter| {
            self.matters.get(&matter).is_some_and(|latest| event.at_s - latest <= matter.window_s())
        });
        // What began or came back is not why something went wrong after it.
        if !self.can_cause && !is_relief(event.kind) {
            return false;
        }
        of_one_matter
            || is_in(&self.domains, event.domain.as_deref())
            || is_in(&self.devices, event.device.as_deref())
    }

    fn take(&mut self, event: &'a EventDocument, leaders: &BTreeMap<&'a str, Option<&'a str>>) {
        self.latest_s = event.at_s;
        self.can_cause |= !is_relief(event.kind);
        self.domains.extend(event.domain.as_deref());
        self.devices.extend(event.device.as_deref());
        // Who leads and is no member any more is not heard by, or does not hear, all of its domain.
        if matches!(event.kind, "membership-expired" | "member-left") && event.device.is_some() {
            let led = leaders.iter().filter(|(_, leader)| **leader == event.device.as_deref());
            self.domains.extend(led.map(|(domain, _)| domain));
        }
        if let Some(matter) = Matter::of(event) {
            self.matters.insert(matter, event.at_s);
        }
    }
}

/// The probable cause among an incident's events: what can bring about the others comes first, then what was earlier.
/// `None` where there is no event.
#[must_use]
pub fn cause(events: &[EventDocument], incident: &[usize]) -> Option<usize> {
    incident.iter().copied().min_by_key(|index| {
        let rank = events.get(*index).map_or(usize::MAX, |event| rank(event.kind));
        (rank, *index)
    })
}

/// How far behind a kind of event stands as a cause. Where a querier that fell silent is in the incident, members were
/// forgotten, which ends whatever they heard. A leader that falls silent, a clock that jumps and worse announced
/// data bring changes of leader about, and these bring unanswered requests about; not the other way round (chosen).
fn rank(kind: &str) -> usize {
    let known = CAUSES.iter().chain(&RELIEF);
    known.clone().position(|known| *known == kind).unwrap_or(known.count())
}

/// Whether a kind of event is that something begins, ends well or is back.
fn is_relief(kind: &str) -> bool {
    RELIEF.contains(&kind)
}

/// Kinds that may bring others about, what does before what it brings about.
const CAUSES: [&str; 22] = [
    "querier-silent",
    "leader-lost",
    "leader-not-heard",
    "sync-gap",
    "time-step",
    "rival-began",
    "announced-data-changed",
    "leader-changed",
    "numbers-restarted",
    "capture-hole",
    "querier-changed",
    "querier-contention",
    "querier-without-address",
    "membership-expired",
    "member-left",
    "answers-stopped",
    "media-step",
    "rate-changed",
    "packets-lost",
    "session-deleted",
    "stream-paused",
    "stream-stopped",
];

/// Those of what begins, ends well or is back.
const RELIEF: [&str; 6] = [
    "leader-elected",
    "rival-ended",
    "answers-resumed",
    "querier-returned",
    "member-joined",
    "stream-started",
];

#[cfg(test)]
mod tests {
    use super::*;

    fn event(at_s: f64, kind: &'static str, domain: Option<&str>, device: Option<&str>) -> EventDocument {
        EventDocument {
            time: String::new(),
            at_s,
            kind,
            domain: domain.map(str::to_owned),
            device: device.map(str::to_owned),
            text: String::new(),
            frames: Vec::new(),
        }
    }

    #[test]
    fn a_take_over_and_what_follows_it_are_one_incident_with_the_silence_as_its_cause() {
        let events = [
            event(0.4, "leader-elected", Some("a"), Some("one")),
            event(39.4, "leader-lost", Some("a"), Some("one")),
            event(40.0, "answers-stopped", Some("a"), Some("three")),
            event(42.6, "leader-changed", Some("a"), Some("two")),
            event(45.0, "answers-resumed", Some("a"), Some("three")),
            event(84.6, "leader-changed", Some("a"), Some("one")),
        ];
        let incidents = group(&events);
        assert_eq!(incidents, [vec![0], vec![1, 2, 3, 4], vec![5]]);
        assert_eq!(cause(&events, &incidents[1]), Some(1));
    }

    #[test]
    fn that_somebody_leads_first_is_no_part_of_what_goes_wrong_right_after() {
        let events = [
            event(0.4, "leader-elected", Some("a"), Some("one")),
            event(8.0, "leader-lost", Some("a"), Some("one")),
            event(9.0, "answers-stopped", Some("a"), Some("three")),
        ];
        assert_eq!(group(&events), [vec![0], vec![1, 2]]);
    }

    #[test]
    fn the_window_counts_from_the_latest_event_and_ends_beyond_its_edge() {
        let at = |times: &[f64]| -> Vec<EventDocument> {
            times.iter().map(|at| event(*at, "leader-changed", Some("a"), None)).collect()
        };
        assert_eq!(group(&at(&[0.0, 10.0, 20.0])), [vec![0, 1, 2]]);
        assert_eq!(group(&at(&[0.0, 10.001])), [vec![0], vec![1]]);
        assert_eq!(group(&[]), Vec::<Vec<usize>>::new());
    }

    #[test]
    fn domains_are_kept_apart_unless_a_device_joins_them() {
        let apart = [
            event(1.0, "leader-lost", Some("a"), Some("one")),
            event(2.0, "leader-lost", Some("b"), Some("two")),
            event(3.0, "leader-changed", Some("a"), Some("three")),
        ];
        assert_eq!(group(&apart), [vec![0, 2], vec![1]]);
        let joined = [
            event(1.0, "leader-lost", Some("a"), Some("one")),
            event(2.0, "answers-stopped", Some("b"), Some("one")),
        ];
        assert_eq!(group(&joined), [vec![0, 1]]);
    }

    #[test]
    fn a_clock_that_jumps_in_every_domain_is_one_incident() {
        let events = [
            event(1.0, "time-step", Some("a"), None),
            event(1.1, "time-step", Some("b"), None),
            event(3.0, "leader-lost", Some("b"), None),
            event(3.0, "leader-lost", Some("c"), None),
        ];
        assert_eq!(group(&events), [vec![0, 1, 2], vec![3]]);
    }

    #[test]
    fn streams_that_stop_at_once_are_one_incident_and_a_lost_leader_beside_them_is_another() {
        let events = [
            event(29.9, "stream-started", None, Some("one")),
            event(39.4, "leader-lost", Some("a"), Some("two")),
            event(40.0, "stream-stopped", None, Some("three")),
            event(40.9, "stream-stopped", None, Some("four")),
            event(41.0, "querier-silent", None, None),
            event(42.0, "leader-changed", Some("a"), Some("five")),
            event(43.0, "stream-stopped", None, Some("six")),
            event(44.0, "membership-expired", None, None),
        ];
        assert_eq!(group(&events), [vec![0], vec![1, 5], vec![2, 3], vec![4, 7], vec![6]]);
        assert_eq!(cause(&events, &[4, 7]), Some(4));
    }

    #[test]
    fn what_the_domain_suffers_when_its_leader_is_no_member_any_more_is_one_incident_with_that() {
        let mut events = [
            event(0.4, "leader-elected", Some("a"), Some("one")),
            event(20.0, "querier-silent", None, None),
            event(21.6, "membership-expired", None, Some("one")),
            event(22.0, "answers-stopped", Some("a"), Some("three")),
            event(25.9, "rival-began", Some("a"), Some("two")),
        ];
        assert_eq!(group(&events), [vec![0], vec![1, 2, 3, 4]]);
        assert_eq!(cause(&events, &[1, 2, 3, 4]), Some(1));
        // Of another device it tells nothing of the domain.
        events[2].device = Some("four".to_owned());
        assert_eq!(group(&events), [vec![0], vec![1, 2], vec![3, 4]]);
    }

    #[test]
    fn two_events_without_a_device_are_not_of_one_device() {
        let events = [event(1.0, "leader-lost", Some("a"), None), event(2.0, "leader-lost", Some("b"), None)];
        assert_eq!(group(&events), [vec![0], vec![1]]);
    }

    #[test]
    fn worse_data_comes_before_the_change_it_brings_and_a_kind_that_is_not_known_comes_last() {
        let events = [
            event(50.0, "surprise", Some("a"), None),
            event(50.3, "leader-changed", Some("a"), None),
            event(50.4, "announced-data-changed", Some("a"), None),
        ];
        assert_eq!(cause(&events, &[0, 1, 2]), Some(2));
        assert_eq!(cause(&events, &[0]), Some(0));
        assert_eq!(cause(&events, &[]), None);
    }

    #[test]
    fn relief_begins_with_a_lead_that_begins() {
        assert!(is_relief("leader-elected") && !is_relief("stream-stopped") && !is_relief("surprise"));
    }

    #[test]
    fn what_begins_is_no_part_of_what_goes_wrong_after_it_and_what_comes_back_is() {
        let events = [
            event(1.0, "stream-started", None, Some("one")),
            event(5.0, "media-step", None, Some("one")),
            event(6.0, "stream-started", None, Some("one")),
        ];
        assert_eq!(group(&events), [vec![0], vec![1, 2]]);
    }

    #[test]
    fn a_hundred_thousand_events_are_grouped_in_no_time() {
        let many: Vec<EventDocument> =
            (0..100_000_u32).map(|n| event(f64::from(n) * 20.0, "leader-changed", Some("a"), None)).collect();
        assert_eq!(group(&many).len(), many.len());
    }
}
