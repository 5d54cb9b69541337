//! What clocks announce, and how often.

use serde_json::Value;

use super::change::About;
use super::change::Changes;
use super::change::WeightName;
use super::report::Cadence;
use super::report::Clock;
use super::report::Domain;
use crate::report::duration;

/// How far a kept interval may be from the other's: 30 %, what 1588-2008 7.7.2.1 lets a mean differ from the declared one
/// (from memory).
const INTERVAL_TOLERANCE: f64 = 0.3;

/// Messages on each side before a kept interval is compared, as for `declared-interval-differs`.
const LEAST_MESSAGES: u64 = 20;

pub(super) fn compare(before: &Domain, after: &Domain, changes: &mut Changes) {
    for clock in &after.clocks {
        let own = before.clocks.iter().find(|known| known.clock == clock.clock && known.port == clock.port);
        if let Some(known) = own {
            let leads = after.leader.is_some() && clock.grandmaster == after.leader;
            data(known, clock, leads, changes);
            intervals(known, clock, changes);
        }
    }
    for asker in &after.requesters {
        let own = before
            .requesters
            .iter()
            .find(|known| known.port == asker.port && known.mechanism == asker.mechanism);
        if let Some(known) = own {
            declared(&asker.port, "asked_for_s", known.asked_for_s, asker.asked_for_s, changes);
        }
    }
}

fn data(before: &Clock, after: &Clock, leads: bool, changes: &mut Changes) {
    let subject = format!("{}/{}", after.clock, after.port);
    let about = |field: &'static str, weight: WeightName| About {
        kind: "clock-data-changed",
        subject: &subject,
        field,
        weight,
    };
    // What decides the election matters most at the clock that leads.
    let election = if leads { WeightName::Major } else { WeightName::Minor };
    let both = |one: Option<u64>, other: Option<u64>, field: &'static str, changes: &mut Changes| {
        changes.differ(about(field, election), one.as_ref(), other.as_ref());
    };
    both(before.priority1, after.priority1, "priority1", changes);
    both(before.priority2, after.priority2, "priority2", changes);
    both(before.clock_class, after.clock_class, "clock_class", changes);
    both(before.clock_accuracy, after.clock_accuracy, "clock_accuracy", changes);
    both(before.stratum, after.stratum, "stratum", changes);
    changes.differ(about("variance", election), before.variance.as_ref(), after.variance.as_ref());
    changes.differ(about("preferred", election), before.preferred.as_ref(), after.preferred.as_ref());
    let utc = if leads { WeightName::Major } else { WeightName::Minor };
    changes.differ(about("utc_offset_s", utc), before.utc_offset_s.as_ref(), after.utc_offset_s.as_ref());
    let minor = WeightName::Minor;
    changes.differ(
        about("steps_removed", minor),
        before.steps_removed.as_ref(),
        after.steps_removed.as_ref(),
    );
    changes.differ(about("time_source", minor), before.time_source.as_ref(), after.time_source.as_ref());
    changes.differ(about("two_step", minor), before.two_step.as_ref(), after.two_step.as_ref());
    if before.announce.is_some() && after.announce.is_some() {
        changes.differ(about("flags", minor), Some(&before.flags), Some(&after.flags));
    }
}

fn intervals(before: &Clock, after: &Clock, changes: &mut Changes) {
    let subject = format!("{}/{}", after.clock, after.port);
    let series = [("announce", &before.announce, &after.announce), ("sync", &before.sync, &after.sync)];
    for (name, before, after) in series {
        let (Some(before), Some(after)) = (before, after) else { continue };
        if !declared(&subject, &format!("{name}.declared_s"), before.declared_s, after.declared_s, changes) {
            kept(&subject, &format!("{name}.median_s"), before, after, changes);
        }
    }
}

/// Whether the intervals differ.
fn declared(
    subject: &str,
    field: &str,
    before: Option<f64>,
    after: Option<f64>,
    changes: &mut Changes,
) -> bool {
    let Some((before, after)) = before.zip(after) else { return false };
    // Powers of two of a second: none lies nearer to another than by half.
    let differ = (before - after).abs() > before.abs().min(after.abs()) * INTERVAL_TOLERANCE;
    if differ {
        say(subject, field, (before, after), WeightName::Major, changes);
    }
    differ
}

fn kept(subject: &str, field: &str, before: &Cadence, after: &Cadence, changes: &mut Changes) {
    let enough = before.count.min(after.count) >= LEAST_MESSAGES;
    let Some((before, after)) = before.median_s.zip(after.median_s).filter(|_| enough) else { return };
    if (before - after).abs() > before.abs().min(after.abs()) * INTERVAL_TOLERANCE {
        say(subject, field, (before, after), WeightName::Minor, changes);
    }
}

fn say(subject: &str, field: &str, (before, after): (f64, f64), weight: WeightName, changes: &mut Changes) {
    let about = About { kind: "interval-changed", subject, field, weight };
    let name = field.trim_end_matches("_s").replace(['.', '_'], " ");
    let text = format!("{subject}: {name} interval is {}, was {}", duration(after), duration(before));
    changes.say(about, Value::from(before), Value::from(after), text);
}
