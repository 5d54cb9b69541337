//! Rows of what is told of the whole capture: files, streams, devices, events, findings.

use std::io;
use std::path::Path;

use super::Formats;
use super::manifest::FileEntry;
use super::sheet::Sheet;
use super::table::Cell;
use super::tables;
use crate::analysis::Analysis;
use crate::domains::ClockId;
use crate::domains::Domain;
use crate::report::Document;
use crate::report::FrameReference;
use crate::report::plain;
use crate::units::CaptureTime;
use serde::Serialize;

/// Names in the order they stand, with `between` between them; nothing where there is none.
fn joined<'a, T: AsRef<str>>(names: &[T], between: &str) -> Cell<'a> {
    let names: Vec<&str> = names.iter().map(AsRef::as_ref).collect();
    if names.is_empty() { Cell::Nothing } else { plain(&names.join(between)).into() }
}

fn shown<'a>(text: Option<&String>) -> Cell<'a> {
    text.map(|text| plain(text)).into()
}

/// A name as the JSON report has it.
fn word<'a>(value: impl Serialize) -> Cell<'a> {
    match serde_json::to_value(value) {
        Ok(serde_json::Value::String(name)) => name.into(),
        _ => Cell::Nothing,
    }
}

/// The nanoseconds of a time of the document.
fn nanoseconds(text: &str) -> Option<i64> {
    let time: jiff::Timestamp = text.parse().ok()?;
    i64::try_from(time.as_nanosecond()).ok()
}

pub(super) fn write(
    analysis: &Analysis,
    document: &Document,
    (formats, folder): (Formats, &Path),
    into: &mut Vec<FileEntry>,
) -> io::Result<()> {
    let sheet = |table| Sheet::create(table, formats, folder);
    let mut sheets = [
        captures(analysis, document, sheet(&tables::CAPTURES)?)?,
        streams(document, sheet(&tables::STREAMS)?)?,
        devices(document, sheet(&tables::DEVICES)?)?,
        states(analysis, sheet(&tables::DEVICE_STATES)?.veiled(analysis.settings.pseudonyms.as_ref()))?,
        events(analysis, document, sheet(&tables::EVENTS)?)?,
        findings(document, sheet(&tables::FINDINGS)?)?,
        evidence(document, sheet(&tables::EVIDENCE)?)?,
    ]
    .into_iter();
    sheets.try_for_each(|sheet| sheet.finish(into))
}

fn captures(analysis: &Analysis, document: &Document, mut to: Sheet) -> io::Result<Sheet> {
    for (number, (capture, report)) in (1_i64..).zip(document.captures.iter().zip(&analysis.captures)) {
        to.row([
            number.into(),
            plain(&capture.file).into(),
            capture.format.into(),
            capture.packets.into(),
            capture.octets.into(),
            report.summary.first.map(|time| time.0).into(),
            report.summary.last.map(|time| time.0).into(),
            capture.drops_reported.into(),
        ])?;
    }
    Ok(to)
}

fn streams(document: &Document, mut to: Sheet) -> io::Result<Sheet> {
    for stream in &document.streams {
        to.row([
            plain(&stream.key).into(),
            shown(stream.device.as_ref()),
            shown(stream.source_ip.as_ref()),
            shown(stream.group.as_ref()),
            stream.port.into(),
            stream.vlan.into(),
            stream.ssrc.into(),
            stream.kind.into(),
            shown(stream.codec.as_ref()),
            stream.known_by.into(),
            stream.packets.into(),
            stream.octets.into(),
            stream.mean_bps.into(),
            stream.rtp.as_ref().map(|rtp| rtp.lost).into(),
            stream.rtp.as_ref().and_then(|rtp| rtp.jitter_ns).into(),
            stream.media_rate_ppm.into(),
        ])?;
    }
    Ok(to)
}

fn devices(document: &Document, mut to: Sheet) -> io::Result<Sheet> {
    for device in &document.devices {
        let offset = device.offset_ns.as_ref();
        to.row([
            plain(&device.key).into(),
            shown(device.name.as_ref()),
            device.named_by.into(),
            word(device.state),
            word(device.strength),
            shown(device.leader.as_ref()),
            joined(&device.reasons, "; "),
            joined(&device.macs, " "),
            joined(&device.ips, " "),
            joined(&device.clocks, " "),
            offset.map(|offset| offset.median).into(),
            offset.map(|offset| offset.uncertainty_ns).into(),
            offset.map(|offset| offset.basis).into(),
        ])?;
    }
    Ok(to)
}

/// A span in a state.
struct Span {
    clock: ClockId,
    /// How the clock, or the port, is written.
    who: String,
    state: &'static str,
    from: CaptureTime,
    until: Option<CaptureTime>,
    ended_by: Option<&'static str>,
}

fn spans(domain: &Domain) -> Vec<Span> {
    let leads = domain.election.tenures().map(|tenure| Span {
        clock: tenure.clock,
        who: tenure.clock.to_string(),
        state: "leading",
        from: tenure.from,
        until: tenure.until,
        ended_by: Some(tenure.ended_by.name()),
    });
    let rivals = domain.election.rivalries().iter().map(|rivalry| Span {
        clock: rivalry.clock,
        who: rivalry.clock.to_string(),
        state: "rival",
        from: rivalry.since,
        until: Some(rivalry.until),
        ended_by: None,
    });
    let outages = domain.requesters.iter().flat_map(|((port, _), requester)| {
        requester.outages().iter().filter_map(|outage| {
            Some(Span {
                clock: port.clock,
                who: port.to_string(),
                state: "unanswered",
                from: outage.from.time?,
                until: outage.until.and_then(|place| place.time),
                ended_by: None,
            })
        })
    });
    let mut spans: Vec<Span> = leads.chain(rivals).chain(outages).collect();
    spans.sort_by_key(|span| span.from);
    spans
}

fn states(analysis: &Analysis, mut to: Sheet) -> io::Result<Sheet> {
    let at = |time: CaptureTime| analysis.since_origin(time).0;
    for domain in analysis.domains.iter() {
        for span in spans(domain) {
            to.row([
                analysis.device_of(span.clock).map(|device| plain(&device.key)).into(),
                plain(&domain.key.to_string()).into(),
                span.who.into(),
                span.state.into(),
                span.from.0.into(),
                at(span.from).into(),
                span.until.map(|until| until.0).into(),
                span.until.map(at).into(),
                span.ended_by.into(),
            ])?;
        }
    }
    Ok(to)
}

fn events(analysis: &Analysis, document: &Document, mut to: Sheet) -> io::Result<Sheet> {
    let number_of = |name: &str| {
        let place = document.captures.iter().position(|capture| capture.file == name);
        place.map_or(1, |place| place + 1)
    };
    for event in &document.events {
        let time = nanoseconds(&event.time);
        let frames: Vec<String> = event
            .frames
            .iter()
            .map(|frame| match frame {
                FrameReference::Number(frame) => format!("1:{frame}"),
                FrameReference::InFile { file, frame } => format!("{}:{frame}", number_of(file)),
            })
            .collect();
        to.row([
            time.into(),
            time.map(|time| analysis.since_origin(CaptureTime(time)).0).into(),
            event.kind.into(),
            shown(event.domain.as_ref()),
            shown(event.device.as_ref()),
            plain(&event.text).into(),
            joined(&frames, " "),
        ])?;
    }
    Ok(to)
}

fn findings(document: &Document, mut to: Sheet) -> io::Result<Sheet> {
    for (number, finding) in (1_i64..).zip(&document.findings) {
        to.row([
            number.into(),
            finding.id.into(),
            word(finding.severity),
            word(finding.strength),
            shown(finding.domain.as_ref()),
            shown(finding.device.as_ref()),
            shown(finding.stream.as_ref()),
            plain(&finding.title).into(),
            joined(&finding.next, "; "),
            joined(&finding.sources, "; "),
        ])?;
    }
    Ok(to)
}

fn evidence(document: &Document, mut to: Sheet) -> io::Result<Sheet> {
    for (number, finding) in (1_i64..).zip(&document.findings) {
        for evidence in &finding.evidence {
            to.row([
                number.into(),
                shown(evidence.file.as_ref()),
                evidence.frame.into(),
                evidence.time.as_deref().and_then(nanoseconds).into(),
                plain(&evidence.text).into(),
            ])?;
        }
    }
    Ok(to)
}
