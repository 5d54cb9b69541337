//! Devices: gone, new, in another state, elsewhere.

use serde_json::Value;
use serde_json::json;

use super::change::About;
use super::change::Changes;
use super::change::WeightName;
use super::domains;
use super::report::Device;
use super::report::Report;
use super::shift;

/// States of a device that is on the clock.
const ON_CLOCK: [&str; 3] = ["leading", "relaying", "following"];

/// States that say that something is wrong with it.
const OFF_CLOCK: [&str; 5] = ["rival", "unanswered", "astray", "adrift", "unclocked"];

pub(super) fn compare(before: &Report, after: &Report, changes: &mut Changes) {
    let grain_ns = before.resolution_ns().max(after.resolution_ns());
    let same_place = before.viewpoint.kind == after.viewpoint.kind;
    for device in &before.devices {
        if after.devices.iter().any(|other| is_same(device, other)) {
            continue;
        }
        let on_clock = ON_CLOCK.contains(&device.state.as_str());
        // At another place, or in a shorter capture, an absence says little.
        let weight = if on_clock && same_place && !is_much_shorter(before, after) {
            WeightName::Major
        } else {
            WeightName::Minor
        };
        let about = About { kind: "device-gone", subject: &device.key, field: "seen", weight };
        let text = format!("{} is not seen any more; it was {}", label(device), device.state);
        changes.say(about, json!(device.state), Value::Null, text);
    }
    for device in &after.devices {
        match before.devices.iter().find(|known| is_same(known, device)) {
            Some(known) => one(known, device, grain_ns, changes),
            None => {
                let weight = if OFF_CLOCK.contains(&device.state.as_str()) {
                    WeightName::Major
                } else {
                    WeightName::Minor
                };
                let about = About { kind: "device-new", subject: &device.key, field: "seen", weight };
                let text = format!("{} was not seen before; it is {}", label(device), device.state);
                changes.say(about, Value::Null, json!(device.state), text);
            }
        }
    }
}

/// A capture that is less than half as long may miss what is rarely sent (chosen).
fn is_much_shorter(before: &Report, after: &Report) -> bool {
    let length = |report: &Report| report.span.as_ref().and_then(|span| span.duration_s);
    length(before).zip(length(after)).is_some_and(|(before, after)| after < before / 2.0)
}

/// One clock in common, or else the same key. A device keeps its clock where its address changes.
fn is_same(one: &Device, other: &Device) -> bool {
    one.clocks.iter().any(|clock| other.clocks.contains(clock)) || one.key == other.key
}

fn label(device: &Device) -> String {
    let name = device.name.as_deref().map(|name| format!(" \"{name}\"")).unwrap_or_default();
    let ip = device.ips.first().map(|ip| format!(" {ip}")).unwrap_or_default();
    format!("{}{ip}{name}", device.key)
}

fn one(before: &Device, after: &Device, grain_ns: i64, changes: &mut Changes) {
    if before.state != after.state {
        let (was, is) = (before.state.as_str(), after.state.as_str());
        let weight = if OFF_CLOCK.contains(&is) {
            WeightName::Critical
        } else if ON_CLOCK.contains(&was) && !ON_CLOCK.contains(&is) {
            WeightName::Minor
        } else {
            WeightName::Info
        };
        let about = About { kind: "device-state-changed", subject: &after.key, field: "state", weight };
        let why = after.reasons.first().map(|reason| format!(": {reason}")).unwrap_or_default();
        changes.say(about, json!(was), json!(is), format!("{} is {is}, was {was}{why}", label(after)));
    }
    if before.ips != after.ips && !before.ips.is_empty() && !after.ips.is_empty() {
        let about = About {
            kind: "device-address-changed",
            subject: &after.key,
            field: "ips",
            weight: WeightName::Minor,
        };
        changes.differ(about, Some(&before.ips), Some(&after.ips));
    }
    if let Some((was, is)) = before.offset_ns.as_ref().zip(after.offset_ns.as_ref())
        && was.basis == is.basis
    {
        let grain_ns = grain_ns.max(was.uncertainty_ns).max(is.uncertainty_ns);
        if shift::has_shifted(was.spread, is.spread, grain_ns) {
            domains::say(&after.key, "offset-shifted", "offset_ns", was.spread, is.spread, changes);
        }
    }
}
