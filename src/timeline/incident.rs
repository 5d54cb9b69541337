//! Which events belong to one incident, and which of them is its probable cause.

use std::collections::BTreeSet;

use crate::report::EventDocument;

/// Events of one domain or device that follow one another within this are one incident.
///
/// The slowest consequence of a fault is a take-over: at the default profile's Announce interval of 2 s a silent leader is
/// given up after 7 s (three intervals and the half that is added here), the next is qualified 2 s later, and 1 s is left
/// for the events' own grain (1588-2008 7.7.3.1, 9.3.2.4, J.3, from memory; the sum is chosen).
pub const WINDOW_S: f64 = 10.0;

/// Groups events, which must be in time order, into incidents: the indices of each one's events, in time order, the
/// incidents by their first event. Every event is in exactly one.
#[must_use]
pub fn group(events: &[EventDocument]) -> Vec<Vec<usize>> {
    let mut incidents: Vec<Vec<usize>> = Vec::new();
    let mut open: Vec<Open<'_>> = Vec::new();
    for (index, event) in events.iter().enumerate() {
        open.retain(|incident| event.at_s - incident.latest_s <= WINDOW_S);
        let home = open.iter_mut().rev().find(|incident| incident.is_related_to(event));
        let known = home.and_then(|incident| {
            incident.take(event);
            incidents.get_mut(incident.index)
        });
        if let Some(incident) = known {
            incident.push(index);
            continue;
        }
        let mut incident = Open { index: incidents.len(), ..Open::default() };
        incident.take(event);
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
    domains: BTreeSet<&'a str>,
    devices: BTreeSet<&'a str>,
    /// Whether one of its events is of the capture as a whole.
    is_of_all: bool,
}

impl<'a> Open<'a> {
    fn is_related_to(&self, event: &EventDocument) -> bool {
        let Some(domain) = event.domain.as_deref() else { return true };
        let shares_device = event.device.as_deref().is_some_and(|device| self.devices.contains(device));
        self.is_of_all || self.domains.contains(domain) || shares_device
    }

    fn take(&mut self, event: &'a EventDocument) {
        self.latest_s = event.at_s;
        self.is_of_all |= event.domain.is_none();
        self.domains.extend(event.domain.as_deref());
        self.devices.extend(event.device.as_deref());
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

/// How far behind a kind of event stands as a cause. A leader that falls silent, a clock that jumps and worse announced
/// data bring changes of leader about, and these bring unanswered requests about; not the other way round (chosen).
fn rank(kind: &str) -> usize {
    const CAUSES_FIRST: [&str; 9] = [
        "leader-lost",
        "time-step",
        "rival-began",
        "announced-data-changed",
        "leader-changed",
        "answers-stopped",
        "leader-elected",
        "rival-ended",
        "answers-resumed",
    ];
    CAUSES_FIRST.iter().position(|known| *known == kind).unwrap_or(CAUSES_FIRST.len())
}

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
    fn what_is_of_the_whole_capture_is_related_to_all() {
        let events = [
            event(1.0, "time-step", None, None),
            event(2.0, "leader-lost", Some("a"), None),
            event(3.0, "leader-lost", Some("b"), None),
        ];
        assert_eq!(group(&events), [vec![0, 1, 2]]);
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
    fn a_hundred_thousand_events_are_grouped_in_no_time() {
        let many: Vec<EventDocument> =
            (0..100_000_u32).map(|n| event(f64::from(n) * 20.0, "leader-changed", Some("a"), None)).collect();
        assert_eq!(group(&many).len(), many.len());
    }
}
