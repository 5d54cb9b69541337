//! The timeline's shape, `downbeat.timeline/1`, and how it is made from a report.

use std::collections::BTreeMap;
use std::collections::BTreeSet;

use schemars::JsonSchema;
use serde::Serialize;

use super::filter::Filter;
use super::incident::WINDOW_S;
use super::incident::cause;
use super::incident::group;
use crate::report::CaptureDocument;
use crate::report::Document;
use crate::report::DomainDocument;
use crate::report::EventDocument;
use crate::report::GapDocument;
use crate::report::SpanDocument;
use crate::report::TenureDocument;
use crate::report::Tool;
use crate::report::UnreadableDocument;
use crate::report::duration;

/// The `schema` of this document.
pub const SCHEMA: &str = "downbeat.timeline/1";

/// How near two instants of a document are where they are one: seconds are written to the nanosecond.
const SAME_S: f64 = 1e-6;

/// Everything that happened, in time order.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(title = "downbeat.timeline/1", deny_unknown_fields)]
pub struct TimelineDocument {
    /// Always `downbeat.timeline/1`.
    pub schema: &'static str,
    /// What wrote it.
    pub tool: Tool,
    /// The files that were read, in time order.
    pub captures: Vec<CaptureDocument>,
    /// Files that could not be read.
    pub unreadable: Vec<UnreadableDocument>,
    /// Holes between files: what happened there is not known.
    pub gaps: Vec<GapDocument>,
    /// First and last instant that were looked at.
    pub span: SpanDocument,
    /// Events of one domain or device that follow one another within this are one incident.
    pub window_s: f64,
    /// The events asked for, as in the report.
    pub events: Vec<EventDocument>,
    /// Incidents with an event among these, by their first event.
    pub incidents: Vec<IncidentDocument>,
}

/// Related events.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct IncidentDocument {
    /// Its first event, RFC 3339.
    pub from: String,
    /// Its latest event.
    pub until: String,
    /// Its first event, seconds from the first frame.
    pub from_at_s: f64,
    /// Its latest event.
    pub until_at_s: f64,
    /// Keys of its domains.
    pub domains: Vec<String>,
    /// Its probable cause, and what came of it.
    pub because: String,
    /// Its events among those asked for, by their place in `events` from 0.
    pub events: Vec<usize>,
}

/// The timeline of a report.
///
/// # Errors
/// Where the filter asks for something that is not there.
pub fn timeline(document: &Document, filter: &Filter) -> Result<TimelineDocument, String> {
    let chosen = filter.against(document)?;
    let all = &document.events;
    let mut events = Vec::new();
    let mut places = BTreeMap::new();
    for (index, event) in all.iter().enumerate().filter(|(_, event)| chosen.takes(event)) {
        places.insert(index, events.len());
        events.push(event.clone());
    }
    // Causes are looked for among all events, not only among those asked for.
    let incidents = group(all).into_iter().filter_map(|incident| {
        let shown: Vec<usize> = incident.iter().filter_map(|index| places.get(index).copied()).collect();
        let (first, last) = incident.first().zip(incident.last())?;
        let (first, last) = all.get(*first).zip(all.get(*last))?;
        let of: Vec<&EventDocument> = incident.iter().filter_map(|index| all.get(*index)).collect();
        let cause = all.get(cause(all, &incident)?)?;
        let because = because(document, cause, &of);
        // What it began with need not be its cause.
        let because =
            if is_at(cause.at_s, first.at_s) { because } else { format!("at {:.3} s {because}", cause.at_s) };
        let domains: BTreeSet<String> = of.iter().filter_map(|event| event.domain.clone()).collect();
        (!shown.is_empty()).then(|| IncidentDocument {
            from: first.time.clone(),
            until: last.time.clone(),
            from_at_s: first.at_s,
            until_at_s: last.at_s,
            domains: domains.into_iter().collect(),
            because,
            events: shown,
        })
    });
    Ok(TimelineDocument {
        schema: SCHEMA,
        tool: document.tool.clone(),
        captures: document.captures.clone(),
        unreadable: document.unreadable.clone(),
        gaps: document.gaps.clone(),
        span: document.span.clone(),
        window_s: WINDOW_S,
        incidents: incidents.collect(),
        events,
    })
}

/// The JSON schema of the timeline, indented, with a line break at its end.
#[must_use]
pub fn schema() -> String {
    crate::report::schema_of::<TimelineDocument>()
}

/// An incident in one sentence.
fn because(document: &Document, cause: &EventDocument, events: &[&EventDocument]) -> String {
    let domain = document.domains.iter().find(|domain| Some(&domain.key) == cause.domain.as_ref());
    let told = domain.and_then(|domain| match cause.kind {
        "leader-lost" => lost(domain, cause.at_s),
        "announced-data-changed" => worse(domain, cause.at_s, events),
        "leader-changed" => taken_over(domain, cause.at_s),
        _ => None,
    });
    let told = told.unwrap_or_else(|| {
        let more = events.iter().filter(|event| event.kind == cause.kind).count().saturating_sub(1);
        let more = if more > 0 { format!(", and {more} more of the kind") } else { String::new() };
        format!("{}{more}", cause.text)
    });
    format!("{told}{}", answers(events))
}

/// The tenure that ended, or began, at an instant, with the one after, or before, it.
fn lost(domain: &DomainDocument, at_s: f64) -> Option<String> {
    let ended = domain.tenures.iter().position(|tenure| is_at(tenure.until_at_s, at_s))?;
    let tenure = domain.tenures.get(ended)?;
    let silent = if tenure.sync_went_on {
        format!("the leader {} stopped announcing, though its Sync went on", tenure.clock)
    } else {
        format!("the leader {} fell silent", tenure.clock)
    };
    Some(match domain.tenures.get(ended + 1) {
        Some(next) => {
            let gap = duration((next.from_at_s - tenure.until_at_s).max(0.0));
            let message = if tenure.sync_went_on { "Announce" } else { "message" };
            format!("{silent}; {} leads {gap} after its last {message}", next.clock)
        }
        None => format!("{silent} and nobody leads after it"),
    })
}

fn worse(domain: &DomainDocument, at_s: f64, events: &[&EventDocument]) -> Option<String> {
    let change = events.iter().find(|event| event.kind == "leader-changed" && event.at_s >= at_s)?;
    let (before, after) = change_at(domain, change.at_s)?;
    (before.ended_by == "quality-change").then(|| {
        let gap = duration((after.from_at_s - at_s).max(0.0));
        format!(
            "{} announced worse data; {} leads {gap} later, by {}",
            before.clock, after.clock, after.won_on
        )
    })
}

fn taken_over(domain: &DomainDocument, at_s: f64) -> Option<String> {
    let (before, after) = change_at(domain, at_s)?;
    (before.ended_by == "better-clock")
        .then(|| format!("{} took over from {}, better by {}", after.clock, before.clock, after.won_on))
}

fn change_at(domain: &DomainDocument, at_s: f64) -> Option<(&TenureDocument, &TenureDocument)> {
    let began = domain.tenures.iter().position(|tenure| is_at(tenure.from_at_s, at_s))?;
    Some((domain.tenures.get(began.checked_sub(1)?)?, domain.tenures.get(began)?))
}

fn is_at(one_s: f64, other_s: f64) -> bool {
    (one_s - other_s).abs() < SAME_S
}

/// How many ports lost their answers, and how many got them back.
fn answers(events: &[&EventDocument]) -> String {
    let of = |kind: &str| events.iter().filter(|event| event.kind == kind).count();
    let ports = |count: usize| if count == 1 { "1 port".to_owned() } else { format!("{count} ports") };
    match (of("answers-stopped"), of("answers-resumed")) {
        (0, _) => String::new(),
        // That one is told already.
        (1, 0) if events.iter().all(|event| event.kind == "answers-stopped") => String::new(),
        (stopped, 0) => format!("; {} got no more answers", ports(stopped)),
        (stopped, resumed) => {
            format!("; {} got no more answers, {} got them again", ports(stopped), ports(resumed))
        }
    }
}
