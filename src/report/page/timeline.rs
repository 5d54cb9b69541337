//! What happened, and who led meanwhile.

use std::collections::BTreeMap;

use maud::Markup;
use maud::html;

use super::figure;
use super::safe::foreign;
use super::table;
use crate::report::document::Document;
use crate::report::document::EventDocument;
use crate::report::document::FrameReference;
use crate::report::format::count;
use crate::report::plot::Plot;
use crate::report::text::labels::Labels;

/// Kinds of event that give way to others where there are more than a table holds, the first to go last (chosen: what a
/// healthy network does all day, then what is told of each stream by itself).
const GIVE_WAY: [&str; 12] = [
    "rate-changed",
    "media-step",
    "packets-lost",
    "rival-ended",
    "answers-resumed",
    "querier-returned",
    "stream-paused",
    "membership-expired",
    "member-left",
    "member-joined",
    "stream-stopped",
    "stream-started",
];

/// The section.
pub(super) fn section(document: &Document, leaders: Option<&Plot>) -> Markup {
    let kinds: Vec<&str> = document.events.iter().map(|event| event.kind).collect();
    let shown = shown(&kinds, table::ROWS);
    let left_out = left_out(&kinds, &shown);
    let labels = Labels::of(document);
    let events = shown.iter().filter_map(|index| document.events.get(*index));
    html! {
        section id="timeline" {
            h2 { "Timeline" }
            @match leaders {
                Some(plot) => (figure::figure(plot)),
                None => p { "No clock is seen to lead in this capture." },
            }
            @if document.events.is_empty() {
                p { "Nothing happened that would be an event." }
            } @else {
                p.hint { "A time, when pressed, is marked in every plot." }
                (table::table("events", "What happened", &["at", "kind", "domain", "what", "frames"], events.map(|event| row(&labels, event)).collect()))
                @if let Some(left_out) = left_out { p { (left_out) } }
            }
        }
    }
}

fn row(labels: &Labels<'_>, event: &EventDocument) -> Vec<table::Cell> {
    vec![
        table::Cell::sorted(
            html! {
                button.at type="button" data-at=(event.at_s) { (format!("{:.3} s", event.at_s)) }
                div.addresses { (wall_clock(&event.time)) }
            },
            event.at_s,
        ),
        table::Cell::text(event.kind),
        table::Cell::foreign(event.domain.as_deref().unwrap_or("")),
        table::Cell::foreign(&labels.put_into(&event.text)),
        table::Cell::text(&frames(&event.frames)),
    ]
}

/// Date and time of RFC 3339 to the millisecond; the capture's clock counts UTC.
fn wall_clock(time: &str) -> String {
    time.get(..23).map_or_else(|| foreign(time), |time| time.replace('T', " "))
}

/// The places of at most `most` events: the gravest kinds whole, of the first kind that has no room its earliest; in order.
fn shown(kinds: &[&str], most: usize) -> Vec<usize> {
    let rank = |index: &usize| {
        let kind = kinds.get(*index).copied().unwrap_or_default();
        GIVE_WAY.iter().position(|known| *known == kind).map_or(0, |place| place + 1)
    };
    let mut places: Vec<usize> = (0..kinds.len()).collect();
    if places.len() > most {
        places.sort_by_key(rank);
        places.truncate(most);
        places.sort_unstable();
    }
    places
}

/// How many of which kind have no row.
fn left_out(kinds: &[&str], shown: &[usize]) -> Option<String> {
    let mut missing: BTreeMap<&str, i64> = BTreeMap::new();
    for kind in kinds {
        *missing.entry(kind).or_default() += 1;
    }
    for kind in shown.iter().filter_map(|index| kinds.get(*index)) {
        *missing.entry(kind).or_default() -= 1;
    }
    let told: Vec<String> = missing
        .into_iter()
        .filter_map(|(kind, number)| Some((kind, u64::try_from(number).ok().filter(|number| *number > 0)?)))
        .map(|(kind, number)| format!("{} {kind}", count(number)))
        .collect();
    let all = u64::try_from(kinds.len()).unwrap_or(u64::MAX);
    (!told.is_empty()).then(|| {
        format!(
            "Of {} events the gravest kinds are here; the JSON report has the others too: {}.",
            count(all),
            told.join(", ")
        )
    })
}

fn frames(frames: &[FrameReference]) -> String {
    let frame = |frame: &FrameReference| match frame {
        FrameReference::Number(number) => number.to_string(),
        FrameReference::InFile { file, frame } => format!("{} {frame}", foreign(file)),
    };
    frames.iter().map(frame).collect::<Vec<_>>().join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn where_not_all_have_room_a_lost_leader_does() {
        let mut kinds = ["stream-started", "stream-stopped"].repeat(600);
        kinds.push("leader-lost");
        let places = shown(&kinds, 1000);
        assert_eq!((places.len(), places.last()), (1000, Some(&1200)));
        assert!(places.is_sorted(), "in order of time");
        assert_eq!(
            left_out(&kinds, &places).as_deref(),
            Some(
                "Of 1 201 events the gravest kinds are here; the JSON report has the others too: 201 stream-started."
            )
        );
    }

    #[test]
    fn where_all_have_room_all_are_there() {
        let kinds = ["stream-started", "leader-lost"];
        assert_eq!(shown(&kinds, 2), [0, 1]);
        assert_eq!(left_out(&kinds, &[0, 1]), None);
    }
}
