//! Streams: gone, new, with another rate, marking or coding.

use serde_json::Value;
use serde_json::json;

use super::change::About;
use super::change::Changes;
use super::change::WeightName;
use super::report::Report;
use super::report::Stream;

/// Tenths by which a stream's mean rate must differ (chosen: video that packs differently from picture to picture stays
/// within it over some seconds; another format does not).
const RATE_TENTHS: u64 = 1;

pub(super) fn compare(before: &Report, after: &Report, changes: &mut Changes) {
    let (Some(known), Some(seen)) = (&before.streams, &after.streams) else {
        if before.streams.is_some() != after.streams.is_some() {
            changes.not_compared.push("streams: one of the reports holds none".to_owned());
        }
        return;
    };
    // At another place an absence says little.
    let same_place = before.viewpoint.kind == after.viewpoint.kind;
    let weight = if same_place { WeightName::Major } else { WeightName::Minor };
    for stream in known.iter().filter(|stream| !seen.iter().any(|other| is_same(stream, other))) {
        let about = About { kind: "stream-gone", subject: &stream.key, field: "seen", weight };
        let text = format!("{} is not seen any more", label(stream));
        changes.say(about, json!(stream.mean_bps), Value::Null, text);
    }
    for stream in seen {
        match known.iter().find(|known| is_same(known, stream)) {
            Some(known) => one(known, stream, changes),
            None => {
                let about = About {
                    kind: "stream-new",
                    subject: &stream.key,
                    field: "seen",
                    weight: WeightName::Minor,
                };
                let text = format!("{} was not seen before", label(stream));
                changes.say(about, Value::Null, json!(stream.mean_bps), text);
            }
        }
    }
}

/// The same sender to the same place: the key may hold a number that changes with each start.
fn is_same(one: &Stream, other: &Stream) -> bool {
    let place = |stream: &Stream| (stream.source_ip.clone(), stream.group.clone(), stream.port, stream.vlan);
    if one.source_ip.is_none() && one.group.is_none() {
        one.key == other.key
    } else {
        place(one) == place(other)
    }
}

fn label(stream: &Stream) -> String {
    let kind = stream.kind.as_deref().unwrap_or("unknown");
    let codec = stream.codec.as_deref().map(|codec| format!(" {codec}")).unwrap_or_default();
    format!("stream {} ({kind}{codec})", stream.key)
}

fn one(before: &Stream, after: &Stream, changes: &mut Changes) {
    let about = |kind: &'static str, field: &'static str, weight: WeightName| About {
        kind,
        subject: &after.key,
        field,
        weight,
    };
    if let Some((was, is)) = before.mean_bps.zip(after.mean_bps)
        && was.abs_diff(is) > was.max(is) / 10 * RATE_TENTHS
    {
        let text = format!("{}: {is} bit/s on average, were {was}", label(after));
        changes.say(about("stream-rate-changed", "mean_bps", WeightName::Minor), json!(was), json!(is), text);
    }
    let coding = about("stream-coding-changed", "codec", WeightName::Major);
    changes.differ(coding, before.codec.as_ref(), after.codec.as_ref());
    let marking = about("stream-marking-changed", "dscp", WeightName::Minor);
    changes.differ(marking, before.dscp.as_ref(), after.dscp.as_ref());
    if let Some((was, is)) = before.clocked.zip(after.clocked).filter(|(was, is)| was != is) {
        let weight = if is { WeightName::Info } else { WeightName::Critical };
        let verb = if is { "runs at the leader's rate again" } else { "no longer runs at the leader's rate" };
        let text = format!("{}: its media clock {verb}", label(after));
        changes.say(about("stream-clock-changed", "clocked", weight), json!(was), json!(is), text);
    }
}
