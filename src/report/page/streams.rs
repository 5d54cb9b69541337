//! Room on the link, streams, and who sends them.

use maud::Markup;
use maud::html;

use super::figure::figure;
use super::safe::foreign;
use super::table::Cell;
use super::table::ROWS;
use super::table::more;
use super::table::table;
use crate::report::document::Document;
use crate::report::document::LoadDocument;
use crate::report::document::StreamDocument;
use crate::report::format::count;
use crate::report::format::duration_ns_typeset;
use crate::report::format::float;
use crate::report::format::holes;
use crate::report::format::per_cent;
use crate::report::format::rate;
use crate::report::plot::Plot;

/// Width of the bar that shows the link, pixels of its own.
const BAR: f64 = 1000.0;

/// Room on the link.
pub(super) fn room(document: &Document) -> Markup {
    let link = &document.link;
    let known = match link.speed_known_by {
        "settings" => "as given",
        "capture-file" => "by the capture file",
        _ => "assumed: name it with --link-speed",
    };
    html! {
        section id="room" {
            h2 { "Room on the link" }
            @match (link.load_mean, link.mean_bps) {
                (Some(load), Some(mean)) => {
                    p {
                        strong { (per_cent(load)) } " of " (rate(link.speed_bps)) " (" (known) ") on average: " (rate(mean))
                        @if let (Some(peak), Some(bps)) = (link.load_peak_1s, link.peak_1s_bps) {
                            "; in the fullest second " strong { (per_cent(peak)) } ", " (rate(bps))
                        }
                        @if let Some(bps) = link.peak_1ms_bps { "; in the fullest millisecond " (rate(bps)) }
                        ". All directions together, so there is at least that much room."
                    }
                    (bar(load, link.load_peak_1s.unwrap_or(load)))
                }
                _ => p { "No time passes in this capture, so it shows no load." },
            }
            @if let Some(holes) = holes(&link.holes) { p.note { "Not watched throughout: " (holes) "." } }
        }
    }
}

/// The link as a bar: what is used on average, and the fullest second.
fn bar(mean: f64, peak: f64) -> Markup {
    let part = |load: f64| (load.clamp(0.0, 1.0) * BAR).round();
    html! {
        svg.room-bar viewBox="0 0 1000 44" preserveAspectRatio="none" role="img"
            aria-label={ "used on average " (per_cent(mean)) ", in the fullest second " (per_cent(peak)) } {
            rect.free x="0" y="4" width=(BAR) height="36" {}
            rect.peak x="0" y="4" width=(part(peak)) height="36" {}
            rect.mean x="0" y="4" width=(part(mean).max(2.0)) height="36" {}
            line.edge x1=(part(peak).max(2.0)) x2=(part(peak).max(2.0)) y1="0" y2="44" {}
        }
        p.hint { "filled: average; pale, up to the upright line: the fullest second; the rest is free" }
    }
}

/// Streams and their sources.
pub(super) fn section(document: &Document, plot: Option<&Plot>) -> Markup {
    html! {
        section id="streams" {
            h2 { "Streams" }
            @if let Some(plot) = plot { (figure(plot)) }
            @if document.sources.is_empty() && document.streams.is_empty() {
                p { "No streams were seen." }
            }
            @if !document.sources.is_empty() || !document.streams.is_empty() {
                p.note {
                    "A mean is of the time from the first packet of a stream, or of a source with all its streams, to the last "
                    "one, without times in which nothing was captured. The fullest second is one of the clock’s, so of what "
                    "lasts hardly longer the mean can lie above it. Rates of media clocks are against the leader, or against the "
                    "capture’s clock where no leader’s time was in view."
                }
            }
            @if !document.sources.is_empty() {
                (table("sources-table", "Sources", &["source", "streams", "mean", "fullest second", "share of the link"],
                    document.sources.iter().take(ROWS).map(|source| self::source(document, source)).collect()))
                (more(document.sources.len()))
            }
            @if !document.streams.is_empty() {
                (table("all-streams", "Streams",
                    &["from", "to", "what", "mean", "fullest second", "lost", "jitter", "DSCP", "media clock", "receivers"],
                    document.streams.iter().take(ROWS).map(|stream| self::stream(document, stream)).collect()))
                (more(document.streams.len()))
            }
        }
    }
}

fn bits(bps: Option<u64>) -> Cell {
    Cell::number(bps.map(rate), bps.map(float))
}

/// A device's own name where it has one, with its address.
fn sender(document: &Document, device: Option<&str>, address: Option<&str>) -> Cell {
    let known = device.and_then(|key| document.devices.iter().find(|device| device.key == key));
    let name = known.map(super::devices::name).or_else(|| device.map(foreign));
    let address = foreign(address.unwrap_or(""));
    match name {
        Some(name) if name != address => {
            Cell::markup(html! { strong { (name) } div.addresses { (address) } })
        }
        _ => Cell::markup(html! { strong { (address) } }),
    }
}

/// Of one packet there is no rate, and 0 is none.
fn has_mean(source: &LoadDocument) -> bool {
    source.mean_bps > 0
}

fn source(document: &Document, source: &LoadDocument) -> Vec<Cell> {
    vec![
        sender(document, source.device.as_deref(), Some(&source.source_ip)),
        Cell::number(Some(count(source.streams)), Some(float(source.streams))),
        bits(Some(source.mean_bps).filter(|_| has_mean(source))),
        bits(source.peak_1s_bps),
        Cell::number(
            Some(per_cent(source.share_of_link)).filter(|_| has_mean(source)),
            Some(source.share_of_link),
        ),
    ]
}

/// A media clock's rate.
fn rate_words(stream: &StreamDocument) -> Option<String> {
    let ppm = stream.media_rate_ppm?;
    let sigma = stream.media_rate_sigma_ppm.unwrap_or_default();
    Some(format!("{ppm:+.3} ± {sigma:.3} ppm"))
}

fn stream(document: &Document, stream: &StreamDocument) -> Vec<Cell> {
    let rtp = stream.rtp.as_ref();
    let session = stream.session.as_ref().map(|session| foreign(&session.name));
    let address = stream.source_ip.as_deref().or(stream.source_mac.as_deref());
    let to = match (&stream.group, stream.port) {
        (Some(group), Some(port)) if group.contains(':') => format!("[{group}]:{port}"),
        (Some(group), Some(port)) => format!("{group}:{port}"),
        (Some(group), None) => group.clone(),
        _ => "–".to_owned(),
    };
    let jitter = rtp.and_then(|rtp| rtp.jitter_ns);
    let dscp: Vec<String> = stream.dscp.iter().map(ToString::to_string).collect();
    let clocked = match (stream.clocked, stream.media_rate_ppm) {
        (Some(true), _) => "at the leader’s rate".to_owned(),
        (Some(false), Some(ppm)) => format!("off by {ppm:+.2} ppm"),
        (Some(false), None) => "off".to_owned(),
        (None, _) => "cannot tell".to_owned(),
    };
    let receivers = stream.receivers.as_ref().map(Vec::len).and_then(|number| u64::try_from(number).ok());
    vec![
        sender(document, stream.device.as_deref(), address),
        Cell::foreign(&to),
        Cell::markup(html! {
            (stream.kind)
            @if let Some(codec) = &stream.codec { ", " (foreign(codec)) }
            @if let Some(session) = session { div.addresses { (session) } }
            @for text in stream.session.iter().flat_map(|session| &session.contradictions) {
                div.addresses { (foreign(text)) }
            }
        }),
        bits(stream.mean_bps),
        bits(stream.peak_1s_bps),
        Cell::number(rtp.map(|rtp| count(rtp.lost)), rtp.map(|rtp| float(rtp.lost))),
        Cell::number(
            jitter.map(duration_ns_typeset),
            jitter.and_then(|ns| u64::try_from(ns).ok()).map(float),
        ),
        Cell::text(&dscp.join(", ")),
        Cell::markup(html! {
            (clocked)
            @if let (None, Some(rate)) = (stream.clocked, rate_words(stream)) { div.note { (rate) } }
        }),
        Cell::number(receivers.map(count), receivers.map(float)),
    ]
}
