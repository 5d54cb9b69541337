//! Events in words.

use super::frame_reference;
use super::interruption;
use super::multicast;
use super::stream;
use crate::analysis::Analysis;
use crate::clock::ClockStep;
use crate::clock::Whose;
use crate::domains::AnnouncedField;
use crate::domains::ClockId;
use crate::domains::DecidedBy;
use crate::domains::Event;
use crate::domains::Happening;
use crate::ptp::v2::Flags;
use crate::report::document::EventDocument;
use crate::report::format::duration;
use crate::report::format::rfc3339;
use crate::report::format::seconds;
use crate::units::CaptureTime;
use crate::units::Nanos;

/// All events of all domains in time order.
pub(super) fn documents(analysis: &Analysis) -> Vec<EventDocument> {
    let mut events: Vec<_> = analysis
        .domains
        .iter()
        .flat_map(|domain| domain.events.iter().map(move |event| (event, domain.key)))
        .collect();
    events.sort_by_key(|(event, key)| (event.time, *key));
    let documents = events.into_iter().map(|(event, key)| {
        let (clock, text) = words(event);
        EventDocument {
            domain: Some(key.to_string()),
            device: analysis.device_of(clock).map(|device| device.key.clone()),
            frames: event.places.iter().map(|place| frame_reference(analysis, *place)).collect(),
            ..happened(analysis, event.time, event.what.kind(), text)
        }
    });
    let mut documents: Vec<EventDocument> = documents
        .chain(steps(analysis))
        .chain(multicast::events(analysis))
        .chain(stream::events(analysis))
        .chain(stream::deletions(analysis))
        .chain(interruption::events(analysis))
        .collect();
    documents.sort_by(|a, b| (&a.time, &a.domain, &a.text).cmp(&(&b.time, &b.domain, &b.text)));
    documents
}

/// What happened at a time, of no domain, device or frame.
pub(super) fn happened(
    analysis: &Analysis,
    time: CaptureTime,
    kind: &'static str,
    text: String,
) -> EventDocument {
    EventDocument {
        time: rfc3339(time),
        at_s: seconds(analysis.since_origin(time)),
        kind,
        domain: None,
        device: None,
        text,
        frames: Vec::new(),
    }
}

/// Jumps of the leader's time or of the capture's clock.
fn steps(analysis: &Analysis) -> impl Iterator<Item = EventDocument> {
    analysis.clocks.paths().flat_map(move |(key, path)| {
        // Those that the stamps show, or clocks of interfaces that differ, are told once for the whole capture.
        let apart = analysis.most_apart();
        let is_of_stamps = move |step: &ClockStep| {
            let size = step.size.nanos().map_or(i64::MAX, |size| size.0.saturating_abs());
            step.is_in_stamps || size <= apart.0.saturating_add(apart.0 / 4)
        };
        path.steps.iter().filter(move |step| !is_of_stamps(step)).map(move |step| {
            let size = step.size.nanos().map_or(i64::MAX, |nanos| nanos.0);
            let relay = path.is_relayed.then(|| format!("{}, a boundary clock,", path.port));
            // "Capture less leader" grows where the capture's clock jumps ahead or the leader's falls back.
            let (text, clock) = match step.whose {
                Whose::Capture => (format!("the capture's clock jumps by {}", signed(size)), None),
                Whose::Leader => {
                    let whose = relay.map_or_else(
                        || "the leader's time".to_owned(),
                        |relay| format!("the time of {relay}"),
                    );
                    (format!("{whose} jumps by {}", signed(size.saturating_neg())), Some(path.port.clock))
                }
                Whose::CannotTell => {
                    let whose =
                        relay.map_or_else(|| "leader's".to_owned(), |relay| format!("that of {relay}"));
                    let size = signed(size);
                    let text =
                        format!("capture's clock less {whose} jumps by {size}; whose it was cannot be told");
                    (text, None)
                }
            };
            EventDocument {
                domain: Some(key.to_string()),
                device: clock.and_then(|clock| analysis.device_of(clock)).map(|device| device.key.clone()),
                ..happened(analysis, step.time, "time-step", text)
            }
        })
    })
}

fn signed(ns: i64) -> String {
    let sign = if ns < 0 { "-" } else { "+" };
    format!("{sign}{}", duration(seconds(Nanos(ns.saturating_abs()))))
}

/// The clock an event is about, and what happened.
fn words(event: &Event) -> (ClockId, String) {
    match &event.what {
        Happening::LeaderBegan { clock, after: None, won_on, .. } => {
            (*clock, format!("{clock} leads, {}", won(*won_on)))
        }
        Happening::LeaderBegan { clock, after: Some(before), because, gap, won_on } => {
            let why = because.map_or("", crate::domains::EndedBy::name);
            let gap = gap
                .filter(|gap| gap.0 > 0)
                .map(|gap| format!(", {} after its last message", duration(seconds(gap))));
            let gap = gap.unwrap_or_default();
            (*clock, format!("{clock} leads after {before} ({why}{gap}), {}", won(*won_on)))
        }
        Happening::LeaderLost { clock, because, sync_went_on: true } => {
            (*clock, format!("last Announce of the leader {clock}; its Sync goes on ({})", because.name()))
        }
        Happening::LeaderLost { clock, because, .. } => {
            (*clock, format!("last message of the leader {clock} ({})", because.name()))
        }
        Happening::LeaderNotHeard { port, clock, lasted } => {
            (port.clock, format!("last message of the leader {clock} for {}", duration(seconds(*lasted))))
        }
        Happening::RivalBegan { port, leader, decided_by } => (
            port.clock,
            format!("{port} goes on leading beside {leader}, which is better by {}", decided_by.name()),
        ),
        Happening::RivalEnded { port } => (port.clock, format!("{port} stops leading")),
        Happening::DataChanged { port, clock, changes } => {
            let changes: Vec<String> = changes.iter().map(change).collect();
            (port.clock, format!("{port} announces {clock} with {}", changes.join(", ")))
        }
        Happening::AnswersStopped { port, mechanism } => {
            (port.clock, format!("{} of {port} is no longer answered", mechanism.request()))
        }
        Happening::AnswersResumed { port, mechanism } => {
            (port.clock, format!("{} of {port} is answered again", mechanism.request()))
        }
    }
}

fn change((field, before, after): &(AnnouncedField, i64, i64)) -> String {
    let value = |value: i64| match field {
        AnnouncedField::ClockAccuracy | AnnouncedField::TimeSource => format!("0x{value:02x}"),
        AnnouncedField::Variance => format!("0x{value:04x}"),
        AnnouncedField::Flags => flags(value),
        _ => value.to_string(),
    };
    format!("{} {} instead of {}", field.name(), value(*after), value(*before))
}

fn flags(value: i64) -> String {
    let names: Vec<&str> = u16::try_from(value).map(|raw| Flags(raw).names().collect()).unwrap_or_default();
    if names.is_empty() { "none".to_owned() } else { names.join(" + ") }
}

fn won(field: DecidedBy) -> String {
    match field {
        DecidedBy::OnlyCandidate => "the only candidate".to_owned(),
        field => format!("won on {}", field.name()),
    }
}
