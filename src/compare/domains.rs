//! Domains: leaders, succession, profiles, delays.

use serde_json::Value;
use serde_json::json;

use super::change::About;
use super::change::Changes;
use super::change::WeightName;
use super::clocks;
use super::report::Domain;
use super::report::Profile;
use super::report::Report;
use super::report::Spread;
use super::shift;
use crate::report::duration_ns;

pub(super) fn compare(before: &Report, after: &Report, changes: &mut Changes) {
    let grain_ns = before.resolution_ns().max(after.resolution_ns());
    for domain in &before.domains {
        if !after.domains.iter().any(|other| other.key == domain.key) {
            let about = presence("domain-gone", &domain.key, WeightName::Major);
            changes.say(about, true.into(), false.into(), format!("{} is not seen any more", domain.key));
        }
    }
    for domain in &after.domains {
        match before.domains.iter().find(|other| other.key == domain.key) {
            Some(known) => one(known, domain, grain_ns, changes),
            None => {
                let about = presence("domain-new", &domain.key, WeightName::Minor);
                changes.say(about, false.into(), true.into(), format!("{} was not seen before", domain.key));
            }
        }
    }
}

const fn presence<'a>(kind: &'static str, subject: &'a str, weight: WeightName) -> About<'a> {
    About { kind, subject, field: "seen", weight }
}

fn one(before: &Domain, after: &Domain, grain_ns: i64, changes: &mut Changes) {
    leader(before, after, changes);
    if before.succession != after.succession && before.leader == after.leader {
        let about = About {
            kind: "succession-changed",
            subject: &after.key,
            field: "succession",
            weight: WeightName::Minor,
        };
        changes.differ(about, Some(&before.succession), Some(&after.succession));
    }
    clocks::compare(before, after, changes);
    profiles(before, after, changes);
    delays(before, after, grain_ns, changes);
}

fn leader(before: &Domain, after: &Domain, changes: &mut Changes) {
    let key = after.key.as_str();
    if before.leader != after.leader {
        let (weight, text) = match (&before.leader, &after.leader) {
            (_, None) => (WeightName::Critical, format!("{key}: nobody leads at the end any more")),
            (None, Some(leader)) => (WeightName::Info, format!("{key}: {leader} leads; nobody did before")),
            (Some(before), Some(leader)) => {
                (WeightName::Major, format!("{key}: {leader} leads, {before} did before"))
            }
        };
        let about = About { kind: "leader-changed", subject: key, field: "leader", weight };
        changes.say(about, json!(before.leader), json!(after.leader), text);
    }
    let count = |domain: &Domain| domain.tenures.len().saturating_sub(1);
    if count(before) != count(after) {
        let (was, is) = (count(before), count(after));
        let weight = if is > was { WeightName::Minor } else { WeightName::Info };
        let about = About { kind: "changes-of-leader", subject: key, field: "tenures", weight };
        let text = format!("{key}: the lead changed {} during the capture, {} before", often(is), often(was));
        changes.say(about, json!(was), json!(is), text);
    }
}

fn often(count: usize) -> String {
    match count {
        0 => "never".to_owned(),
        1 => "once".to_owned(),
        count => format!("{count} times"),
    }
}

fn profiles(before: &Domain, after: &Domain, changes: &mut Changes) {
    for profile in &after.profiles {
        let Some(known) = before.profiles.iter().find(|known| known.name == profile.name) else { continue };
        if known.fits != profile.fits && known.seen_enough && profile.seen_enough {
            let (weight, verb) =
                if profile.fits { (WeightName::Info, "fits") } else { (WeightName::Major, "does not fit") };
            let about =
                About { kind: "profile-fit-changed", subject: &after.key, field: &profile.name, weight };
            let why: Vec<String> = new_in(known, profile)
                .map(|deviation| format!("{} {}, not {}", deviation.item, deviation.seen, deviation.expected))
                .collect();
            let colon = if why.is_empty() { "" } else { ": " };
            let text = format!("{} {verb} {} any more{colon}{}", after.key, profile.name, why.join("; "));
            let text = if profile.fits { format!("{} fits {} now", after.key, profile.name) } else { text };
            changes.say(about, Value::Bool(known.fits), Value::Bool(profile.fits), text);
        } else if known.fits {
            // What a profile that fitted allows no longer; of the others every value would be told many times.
            for deviation in new_in(known, profile) {
                let about = About {
                    kind: "profile-deviation-new",
                    subject: &after.key,
                    field: &profile.name,
                    weight: WeightName::Minor,
                };
                let text = format!(
                    "{}: {} {}, where {} has {}",
                    after.key, deviation.item, deviation.seen, profile.name, deviation.expected
                );
                changes.say(
                    about,
                    Value::Null,
                    json!(format!("{} {}", deviation.item, deviation.seen)),
                    text,
                );
            }
        }
    }
}

fn new_in<'a>(before: &'a Profile, after: &'a Profile) -> impl Iterator<Item = &'a super::report::Deviation> {
    after.deviations.iter().filter(|deviation| {
        !before.deviations.iter().any(|known| known.item == deviation.item && known.seen == deviation.seen)
    })
}

fn delays(before: &Domain, after: &Domain, grain_ns: i64, changes: &mut Changes) {
    let answers = |domain: &Domain| domain.answers.as_ref().and_then(|answers| answers.response_time_ns);
    moved(&after.key, "answers.response_time_ns", (answers(before), answers(after)), grain_ns, changes);
    let Some((was, is)) = before.path.as_ref().zip(after.path.as_ref()) else { return };
    let both = (was.mean_path_delay_ns, is.mean_path_delay_ns);
    moved(&after.key, "path.mean_path_delay_ns", both, grain_ns, changes);
    for (field, was, is) in [
        ("path.sync_jitter_ns", was.sync_jitter_ns, is.sync_jitter_ns),
        ("path.delay_variation_ns", was.delay_variation_ns, is.delay_variation_ns),
    ] {
        if let Some((was, is)) = was.zip(is).filter(|(was, is)| shift::has_scaled(*was, *is, grain_ns)) {
            say(&after.key, "jitter-shifted", field, was, is, changes);
        }
    }
}

fn moved(
    subject: &str,
    field: &str,
    (was, is): (Option<Spread>, Option<Spread>),
    grain_ns: i64,
    changes: &mut Changes,
) {
    if let Some((was, is)) = was.zip(is).filter(|(was, is)| shift::has_shifted(*was, *is, grain_ns)) {
        say(subject, "delay-shifted", field, was, is, changes);
    }
}

pub(super) fn say(
    subject: &str,
    kind: &'static str,
    field: &str,
    was: Spread,
    is: Spread,
    changes: &mut Changes,
) {
    let about = About { kind, subject, field, weight: WeightName::Minor };
    let value = |spread: Spread| json!({ "median": spread.median, "p5": spread.p5, "p95": spread.p95, "count": spread.count });
    let words = |spread: Spread| {
        format!(
            "{} (median; {} to {}, {} samples)",
            duration_ns(spread.median),
            duration_ns(spread.p5),
            duration_ns(spread.p95),
            spread.count
        )
    };
    let name = field.trim_start_matches("path.").trim_start_matches("answers.").trim_end_matches("_ns");
    let text = format!("{subject}: {} is {}, was {}", name.replace('_', " "), words(is), words(was));
    changes.say(about, value(was), value(is), text);
}
