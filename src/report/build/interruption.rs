//! Pauses of Sync, numbers that begin anew and holes of the capture, as events.

use super::event::happened;
use super::frame_reference;
use crate::analysis::Analysis;
use crate::domains::ClockPort;
use crate::domains::Domain;
use crate::domains::Kind;
use crate::observations::Place;
use crate::report::document::EventDocument;
use crate::report::format::duration;
use crate::report::format::seconds;
use crate::units::CaptureTime;

/// All of them, in no order.
pub(super) fn events(analysis: &Analysis) -> impl Iterator<Item = EventDocument> {
    let of_domains = analysis.domains.iter().flat_map(move |domain| {
        let leading = domain.leading_ports().flat_map(move |port| sync_pauses(analysis, domain, port));
        let all = domain.ports.values().flat_map(move |port| restarts(analysis, domain, port));
        leading.chain(all).chain(unheard(analysis, domain))
    });
    of_domains.chain(holes(analysis)).chain(set_backs(analysis))
}

/// What a sender's numbers say of a time without it.
fn numbers(skipped: Option<u16>, of_what: &str) -> String {
    match skipped {
        None => "its numbers begin anew after that".to_owned(),
        Some(0) => "no number is missing, so it sent none".to_owned(),
        Some(1) => format!("1 number{of_what} is missing: lost on the way here, or by the capture"),
        Some(n) => format!("{n} numbers{of_what} are missing: lost on the way here, or by the capture"),
    }
}

/// Pauses of a leader's Sync; silent altogether is told as that.
fn sync_pauses<'a>(
    analysis: &'a Analysis,
    domain: &'a Domain,
    port: &'a ClockPort,
) -> impl Iterator<Item = EventDocument> + 'a {
    // Of two that send as one port each is a pause of the other.
    let pauses = port.sync_pauses().filter(|pause| port.twins.two().is_none() && !analysis.is_in_hole(pause));
    pauses.filter_map(move |sync| {
        let numbers = numbers(sync.skipped, "");
        let text = format!("Sync of {} pauses for {}; {numbers}", port.port, duration(seconds(sync.length)));
        let places = [sync.before, sync.after];
        Some(of_port(analysis, domain, port, (sync.before.time?, "sync-gap", text), &places))
    })
}

/// Times without the leader in which nobody asked, so that nothing in the domain shows who lacked what.
fn unheard<'a>(analysis: &'a Analysis, domain: &'a Domain) -> impl Iterator<Item = EventDocument> + 'a {
    let spans =
        domain.unheard().into_iter().filter(|span| !span.asked_on && !span.syncs_went_on && !span.ended_lead);
    spans.filter_map(move |span| {
        let port = domain.ports.get(&span.port)?;
        let numbers = numbers(span.skipped, " of its Announces");
        let length = duration(seconds(span.length));
        let text = format!("last message of the leader {} for {length}; {numbers}", span.clock);
        let places = [span.before, span.after];
        Some(of_port(analysis, domain, port, (span.before.time?, "leader-not-heard", text), &places))
    })
}

/// Where the numbers of a port's Announces (version 1: Syncs) or requests begin anew.
fn restarts<'a>(
    analysis: &'a Analysis,
    domain: &'a Domain,
    port: &'a ClockPort,
) -> impl Iterator<Item = EventDocument> + 'a {
    let offers = if domain.key.is_v1() { Kind::Sync } else { Kind::Announce };
    let kinds = [offers, Kind::DelayReq, Kind::PdelayReq].into_iter().filter(|_| port.twins.two().is_none());
    kinds.filter_map(|kind| port.series(kind).map(|series| (kind, series))).flat_map(move |(kind, series)| {
        series.restart_places().iter().filter_map(move |place| {
            let text =
                format!("{} begins the numbers of its {} anew, as after a restart", port.port, kind.name());
            Some(of_port(analysis, domain, port, (place.time?, "numbers-restarted", text), &[*place]))
        })
    })
}

fn of_port(
    analysis: &Analysis,
    domain: &Domain,
    port: &ClockPort,
    (time, kind, text): (CaptureTime, &'static str, String),
    places: &[Place],
) -> EventDocument {
    EventDocument {
        domain: Some(domain.key.to_string()),
        device: analysis.device_of(port.port.clock).map(|device| device.key.clone()),
        frames: places.iter().map(|place| frame_reference(analysis, *place)).collect(),
        ..happened(analysis, time, kind, text)
    }
}

fn holes(analysis: &Analysis) -> impl Iterator<Item = EventDocument> {
    analysis.wire.link.holes.iter().map(|hole| {
        let length = duration(seconds(hole.length()));
        let text = format!(
            "nothing at all was captured for {length}: the capture missed that, its clock was set, or nobody sent"
        );
        happened(analysis, hole.from, "capture-hole", text)
    })
}

fn set_backs(analysis: &Analysis) -> impl Iterator<Item = EventDocument> {
    analysis.set_backs.iter().map(|set_back| {
        let size = duration(seconds(set_back.size()));
        let text = format!(
            "the capture's clock is set back by {size} or little more: times from here on may have been there before"
        );
        EventDocument {
            frames: vec![frame_reference(analysis, set_back.place)],
            ..happened(analysis, set_back.to, "time-step", text)
        }
    })
}
