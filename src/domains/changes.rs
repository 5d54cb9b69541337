//! From state to events: what changed between two offers, and what an election and its requests went through.

use super::candidate::Candidate;
use super::candidate::DataSet;
use super::election::Election;
use super::event::AnnouncedField;
use super::event::Event;
use super::event::Happening;
use super::key::PortId;
use super::port::TimeProperties;
use super::requests::Mechanism;
use super::requests::Requester;
use super::tenure::EndedBy;
use super::unheard::Unheard;
use crate::tables::Slots;

/// Fields that differ between two offers of one grandmaster by one port: field, before, after.
pub(super) fn between(
    old: &Candidate,
    old_properties: TimeProperties,
    new: &Candidate,
    new_properties: TimeProperties,
) -> Vec<(AnnouncedField, i64, i64)> {
    let mut changes = Vec::new();
    let mut note = |field, before: i64, after: i64| {
        if before != after {
            changes.push((field, before, after));
        }
    };
    match (old.data, new.data) {
        (DataSet::V2(a), DataSet::V2(b)) => {
            note(AnnouncedField::Priority1, a.priority1.into(), b.priority1.into());
            note(AnnouncedField::ClockClass, a.clock_class.into(), b.clock_class.into());
            note(AnnouncedField::ClockAccuracy, a.clock_accuracy.into(), b.clock_accuracy.into());
            note(AnnouncedField::Variance, a.variance.into(), b.variance.into());
            note(AnnouncedField::Priority2, a.priority2.into(), b.priority2.into());
        }
        (DataSet::V1(a), DataSet::V1(b)) => {
            note(AnnouncedField::Preferred, a.preferred.into(), b.preferred.into());
            note(AnnouncedField::Stratum, a.stratum.into(), b.stratum.into());
        }
        _ => {}
    }
    note(AnnouncedField::StepsRemoved, old.steps_removed.into(), new.steps_removed.into());
    let (a, b) = (old_properties, new_properties);
    note(AnnouncedField::UtcOffset, a.current_utc_offset.into(), b.current_utc_offset.into());
    if let (Some(before), Some(after)) = (a.time_source, b.time_source) {
        note(AnnouncedField::TimeSource, before.into(), after.into());
    }
    if let (Some(before), Some(after)) = (a.flags, b.flags) {
        note(AnnouncedField::Flags, before.0.into(), after.0.into());
    }
    changes
}

/// The events that tenures, rivalries and outages amount to.
pub(super) fn events_of(
    election: &Election,
    requesters: &Slots<(PortId, Mechanism), Requester>,
    unheard: &[Unheard],
) -> Vec<Event> {
    let mut events = leader_events(election);
    // Where its lead counts as ended, that is told.
    let is_told = |span: &&Unheard| span.asked_on && !span.syncs_went_on && !span.ended_lead;
    for span in unheard.iter().filter(is_told) {
        if let Some(time) = span.before.time {
            let what = Happening::LeaderNotHeard { port: span.port, clock: span.clock, lasted: span.length };
            events.push(Event { time, what, places: vec![span.before, span.after] });
        }
    }
    for rivalry in election.rivalries() {
        let began = Happening::RivalBegan {
            port: rivalry.port,
            leader: rivalry.leader,
            decided_by: rivalry.decided_by,
        };
        events.push(Event { time: rivalry.since, what: began, places: vec![rivalry.since_place] });
        let goes_on = election.announcers().get(&rivalry.port).is_some_and(|a| election.alive_at_end(a));
        if !goes_on {
            let what = Happening::RivalEnded { port: rivalry.port };
            events.push(Event { time: rivalry.until, what, places: vec![rivalry.until_place] });
        }
    }
    for ((port, mechanism), requester) in requesters {
        for outage in requester.outages() {
            let (port, mechanism) = (*port, *mechanism);
            if let Some(time) = outage.from.time {
                let what = Happening::AnswersStopped { port, mechanism };
                events.push(Event { time, what, places: vec![outage.from] });
            }
            if let Some((place, time)) = outage.until.and_then(|place| Some((place, place.time?))) {
                let what = Happening::AnswersResumed { port, mechanism };
                events.push(Event { time, what, places: vec![place] });
            }
        }
    }
    events
}

fn leader_events(election: &Election) -> Vec<Event> {
    let mut events = Vec::new();
    let mut before: Option<&super::Tenure> = None;
    for tenure in election.tenures() {
        let gap = before.and_then(|before| before.until).map(|until| tenure.from.since(until));
        let what = Happening::LeaderBegan {
            clock: tenure.clock,
            after: before.map(|before| before.clock),
            because: before.map(|before| before.ended_by),
            gap,
            won_on: tenure.won_on,
        };
        events.push(Event { time: tenure.from, what, places: vec![tenure.from_place] });
        let fell_silent = matches!(tenure.ended_by, EndedBy::AnnounceTimeout | EndedBy::SyncStopped);
        if let Some(until) = tenure.until.filter(|_| fell_silent) {
            let what = Happening::LeaderLost {
                clock: tenure.clock,
                because: tenure.ended_by,
                sync_went_on: tenure.sync_went_on,
            };
            events.push(Event { time: until, what, places: tenure.until_place.into_iter().collect() });
        }
        before = Some(tenure);
    }
    events
}
