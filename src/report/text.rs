//! The report for a terminal: what needs attention first, then who leads, who follows, what happened.
//!
//! It is written from the document alone and fits 80 columns, or more where there is room; text from files and packets is
//! escaped.

pub(super) mod cell;
mod devices;
mod domains;
mod fit;
pub(super) mod labels;
mod multicast;
mod over_time;
mod paper;
mod spark;
mod streams;
pub(super) mod viewpoint;

pub(super) use domains::rate as rate_with_error;
pub use paper::Style;
pub(super) use paper::kept_together;
pub(crate) use paper::{Paper, paragraph};

use std::collections::BTreeMap;
use std::io;
use std::io::Write;

use self::labels::Labels;
use super::document::Document;
use super::document::EventDocument;
use super::document::EvidenceDocument;
use super::document::FindingDocument;
use super::document::FitDocument;
use super::document::FrameReference;
use super::document::LeftOutDocument;
use super::document::SeverityName;
use super::document::SpanDocument;
use super::document::VerdictName;
use super::format::count;
use super::format::duration;
use super::format::partial;
use super::format::plain;
use super::format::ptp_messages;
use super::format::things;
use super::format::times;
use super::series::Series;

/// Events shown, those of clocks first; all of them are in the JSON report.
const EVENTS_SHOWN: usize = 16;

/// Findings of one rule shown of those that follow from another.
const EFFECTS_SHOWN: usize = 4;

/// Findings in a row of one rule and severity that are told in full; the rest of them have a line each.
const ALIKE_SHOWN: usize = 3;

/// Pieces of evidence shown of one finding.
const EVIDENCE_SHOWN: usize = 6;

/// Writes the report.
///
/// # Errors
/// Where `out` cannot be written.
pub fn write(document: &Document, out: &mut impl Write) -> io::Result<()> {
    Paper::of(Style::default(), out, |paper| whole(document, None, paper))
}

/// Writes the report for a terminal, with lines over time.
///
/// # Errors
/// Where `out` cannot be written.
pub fn write_in_style(
    document: &Document,
    series: &Series,
    style: Style,
    out: &mut impl Write,
) -> io::Result<()> {
    Paper::of(style, out, |paper| whole(document, Some(series), paper))
}

fn whole(document: &Document, series: Option<&Series>, out: &mut Paper<'_>) -> io::Result<()> {
    verdict(document, out)?;
    // Context is told in a line each, further down.
    let (noted, wrong): (Vec<&FindingDocument>, Vec<&FindingDocument>) =
        document.findings.iter().partition(|finding| matches!(finding.severity, SeverityName::Info));
    let labels = Labels::of(document);
    findings(&wrong, document.captures.len() > 1, &labels, out)?;
    for domain in &document.domains {
        domains::write(domain, document, out)?;
    }
    devices::write(document, out)?;
    streams::brief(document, out)?;
    if let Some(series) = series {
        over_time::write(series, out)?;
    }
    multicast::write(document, out)?;
    notes(&noted, &labels, out)?;
    events(document, out)?;
    viewpoint::write(&document.viewpoint, out)?;
    capture_quality(document, out)?;
    if !document.not_judged.is_empty() {
        writeln!(out, "\nNot judged")?;
        for rule in &document.not_judged {
            paragraph(out, 2, &format!("{}: ", rule.id), &plain(&rule.why))?;
        }
    }
    writeln!(out)?;
    paragraph(out, 0, "", document.caution)
}

/// Writes every stream under its source.
///
/// # Errors
/// Where `out` cannot be written.
pub fn write_streams(document: &Document, style: Style, out: &mut impl Write) -> io::Result<()> {
    Paper::of(style, out, |paper| streams::full(document, paper))
}

/// Writes the answer first, then how it was worked out, then what it does not know.
///
/// # Errors
/// Where `out` cannot be written.
pub fn write_fit(document: &FitDocument, style: Style, out: &mut impl Write) -> io::Result<()> {
    Paper::of(style, out, |paper| fit::write(document, paper))
}

/// What stands above a report of a part.
pub(crate) fn notice(span: &SpanDocument, out: &mut Paper<'_>) -> io::Result<()> {
    partial(span).map_or(Ok(()), |text| paragraph(out, 0, "PARTIAL: ", &text))
}

fn verdict(document: &Document, out: &mut Paper<'_>) -> io::Result<()> {
    let word = match document.verdict {
        VerdictName::Sound => "SOUND",
        VerdictName::Watch => "WATCH",
        VerdictName::Fault => "FAULT",
        VerdictName::CannotTell => "CANNOT TELL",
    };
    notice(&document.span, out)?;
    paragraph(out, 0, &format!("{word}: "), &plain(&document.verdict_because))?;
    let leading = document.findings.first().filter(|finding| finding.severity > SeverityName::Info);
    if let Some(step) = leading.and_then(|finding| finding.next.first()) {
        paragraph(out, 2, "do first: ", step)?;
    }
    let span = &document.span;
    let length = span.duration_s.map_or_else(|| "of unknown length".to_owned(), duration);
    let begin = span.first.as_deref().map(|first| format!(" from {first}")).unwrap_or_default();
    let files = match document.captures.as_slice() {
        [one] => plain(&one.file),
        several => format!("{} files", several.len()),
    };
    let site = document.site_domain.site.as_deref().map(|site| format!("{}, ", plain(site)));
    let site = site.unwrap_or_default();
    let text =
        format!("{site}{files}: {length}{begin}, {} frames, {}", count(span.frames), ptp_messages(span));
    paragraph(out, 0, "", &text)?;
    for step in &document.verdict_next {
        paragraph(out, 2, "do: ", step)?;
    }
    Ok(())
}

/// Findings, each with what likely follows from it in a line each. Of many in a row that say the same of several devices
/// the first few are told in full.
fn findings(
    wrong: &[&FindingDocument],
    many_files: bool,
    labels: &Labels<'_>,
    out: &mut Paper<'_>,
) -> io::Result<()> {
    let mut rest = wrong;
    let (mut alike, mut briefly) = (0_usize, false);
    while let [leading, behind @ ..] = rest {
        let effects = behind.iter().take_while(|finding| finding.follows_from.is_some()).count();
        let (effects, others) = behind.split_at(effects);
        let same = |next: &&&FindingDocument| {
            next.id == leading.id && next.severity == leading.severity && next.next == leading.next
        };
        let again = others.first().filter(same).is_some();
        if alike < ALIKE_SHOWN || !effects.is_empty() {
            finding(leading, many_files, labels, out)?;
            // What to do is said once, behind the last of the same that are told in full.
            if !again || !effects.is_empty() || alike + 1 == ALIKE_SHOWN {
                what_to_do(leading, out)?;
            }
            follow(effects, labels, out)?;
            briefly = false;
        } else {
            if !std::mem::replace(&mut briefly, true) {
                writeln!(out, "  the same of others (--format json has evidence and steps):")?;
            }
            paragraph(out, 4, "", &labels.put_into(&leading.title))?;
        }
        alike = if again { alike + 1 } else { 0 };
        rest = others;
    }
    Ok(())
}

/// What likely follows from the finding above: of each rule the first few.
fn follow(effects: &[&FindingDocument], labels: &Labels<'_>, out: &mut Paper<'_>) -> io::Result<()> {
    if effects.is_empty() {
        return Ok(());
    }
    writeln!(out, "  likely follows from it (--format json has evidence and steps):")?;
    let mut shown = BTreeMap::new();
    for effect in effects {
        let count: &mut usize = shown.entry(effect.id).or_default();
        *count += 1;
        if *count <= EFFECTS_SHOWN {
            let label = format!("{}, {}: {}: ", severity(effect), strength(effect), effect.id);
            paragraph(out, 4, &label, &labels.put_into(&effect.title))?;
        }
    }
    for (id, count) in shown {
        let more = count.saturating_sub(EFFECTS_SHOWN);
        if more > 0 {
            writeln!(out, "    and {more} more {id}")?;
        }
    }
    Ok(())
}

const fn severity(finding: &FindingDocument) -> &'static str {
    match finding.severity {
        SeverityName::Info => "info",
        SeverityName::Minor => "minor",
        SeverityName::Major => "major",
        SeverityName::Critical => "critical",
    }
}

const fn strength(finding: &FindingDocument) -> &'static str {
    match finding.strength {
        super::StrengthName::Shown => "shown",
        super::StrengthName::Inferred => "inferred",
        super::StrengthName::CannotTell => "cannot tell",
    }
}

fn finding(
    finding: &FindingDocument,
    many_files: bool,
    labels: &Labels<'_>,
    out: &mut Paper<'_>,
) -> io::Result<()> {
    writeln!(out, "\n{}, {}: {}", severity(finding), strength(finding), finding.id)?;
    paragraph(out, 2, "", &labels.put_into(&finding.title))?;
    for evidence in finding.evidence.iter().take(EVIDENCE_SHOWN) {
        let place = place(evidence, many_files);
        paragraph(out, 4, &place, &labels.put_into(&evidence.text))?;
    }
    let more = finding.evidence.len().saturating_sub(EVIDENCE_SHOWN);
    if more > 0 {
        writeln!(out, "    and {more} more (see --format json)")?;
    }
    Ok(())
}

/// Findings that are no fault, a line each.
fn notes(noted: &[&FindingDocument], labels: &Labels<'_>, out: &mut Paper<'_>) -> io::Result<()> {
    if !noted.is_empty() {
        writeln!(out, "\nNoted (no faults; --format json has evidence and sources)")?;
    }
    for finding in noted {
        paragraph(out, 2, &format!("{}: ", finding.id), &labels.put_into(&finding.title))?;
    }
    Ok(())
}

fn what_to_do(finding: &FindingDocument, out: &mut Paper<'_>) -> io::Result<()> {
    for step in &finding.next {
        paragraph(out, 2, "do: ", step)?;
    }
    paragraph(out, 2, "source: ", &finding.sources.join("; "))
}

fn place(evidence: &EvidenceDocument, many_files: bool) -> String {
    match (evidence.frame, &evidence.file) {
        (Some(frame), Some(file)) if many_files => format!("{} frame {frame}: ", plain(file)),
        (Some(frame), _) => format!("frame {frame}: "),
        (None, _) => String::new(),
    }
}

fn events(document: &Document, out: &mut Paper<'_>) -> io::Result<()> {
    if document.events.is_empty() {
        return Ok(());
    }
    writeln!(out, "\nWhat happened (seconds from the first frame)")?;
    let several = document.domains.len() > 1;
    let shown = shown(&document.events);
    for event in &shown {
        let domain = event.domain.as_deref().filter(|_| several).map(|domain| format!("{domain}: "));
        let frames: Vec<String> = event.frames.iter().map(frame).collect();
        let frames =
            if frames.is_empty() { String::new() } else { format!(" (frame {})", frames.join(", ")) };
        let text = format!("{}{}{frames}", plain(&domain.unwrap_or_default()), plain(&event.text));
        paragraph(out, 0, &format!("{:>12.3}  ", event.at_s), &text)?;
    }
    let more = document.events.len().saturating_sub(shown.len());
    if more > 0 {
        writeln!(out, "              and {more} more (see --format json)")?;
    }
    Ok(())
}

/// The events that are shown, in order: what concerns a clock first, streams and members as far as there is room.
fn shown(events: &[EventDocument]) -> Vec<&EventDocument> {
    let of_a_clock = |event: &&EventDocument| event.domain.is_some();
    let clock = events.iter().filter(of_a_clock).count();
    let mut room = (clock.min(EVENTS_SHOWN), EVENTS_SHOWN.saturating_sub(clock));
    let mut taken = |event: &&EventDocument| {
        let room = if of_a_clock(event) { &mut room.0 } else { &mut room.1 };
        let fits = *room > 0;
        *room = room.saturating_sub(1);
        fits
    };
    events.iter().filter(|event| taken(event)).collect()
}

fn frame(frame: &FrameReference) -> String {
    match frame {
        FrameReference::Number(number) => number.to_string(),
        FrameReference::InFile { file, frame } => format!("{} {frame}", plain(file)),
    }
}

/// What is odd about the files; nothing where nothing is.
fn capture_quality(document: &Document, out: &mut Paper<'_>) -> io::Result<()> {
    let lines = oddities(document);
    if !lines.is_empty() {
        writeln!(out, "\nThe capture itself")?;
        for (file, text) in lines {
            paragraph(out, 2, &format!("{file}: "), &text)?;
        }
    }
    Ok(())
}

/// What is odd about the files: each with the file's name, both [`plain`].
pub(super) fn oddities(document: &Document) -> Vec<(String, String)> {
    let mut lines = Vec::new();
    for capture in &document.captures {
        let mut say = |text: String| lines.push((plain(&capture.file), text));
        for damage in &capture.damage {
            say(format!("damaged at octet {}: {}", damage.offset, plain(&damage.text)));
        }
        for problem in &capture.problems {
            let frames = things(problem.count, "frame");
            say(format!("{frames}: {}, first in frame {}", plain(&problem.text), problem.first_frame));
        }
        if capture.undeclared_frame_checks > 0 {
            say(format!(
                "{} end with their check sequence, which the file does not say: rates count it once",
                things(capture.undeclared_frame_checks, "frame")
            ));
        }
        if let Some(drops) = capture.drops_reported.filter(|drops| *drops > 0) {
            say(format!("the capturing machine lost {} frames", count(drops)));
        }
        if capture.time_backsteps > 0 {
            say(format!("time goes backwards {}", times(capture.time_backsteps)));
        }
        if capture.resolution_ns.is_some_and(|step| step > 1000) {
            let step = capture.resolution_ns.unwrap_or_default();
            say(format!("stamps are no finer than {step} ns"));
        }
    }
    for gap in &document.gaps {
        let text = format!("{} missing before {}", duration(gap.duration_s), plain(&gap.before_file));
        lines.push((plain(&gap.after_file), text));
    }
    for file in &document.unreadable {
        lines.push((plain(&file.file), format!("not read: {}", plain(&file.text))));
    }
    if document.span.mirror_copies > 0 {
        let copies = count(document.span.mirror_copies);
        lines.push(("all".to_owned(), format!("{copies} PTP frames were captured twice and counted once")));
    }
    if let Some(left_out) = &document.span.left_out {
        lines.push(("all".to_owned(), no_room(left_out)));
    }
    if document.span.frames_outside > 0 {
        let outside = count(document.span.frames_outside);
        lines.push(("all".to_owned(), format!("{outside} frames lie outside the span asked for")));
    }
    lines
}

/// What was left out, in words.
fn no_room(left_out: &LeftOutDocument) -> String {
    let kinds = [
        (left_out.domains, "domain"),
        (left_out.ports, "port"),
        (left_out.requesters, "requester"),
        (left_out.announces, "Announce"),
        (left_out.events, "event"),
        (left_out.flows, "flow"),
        (left_out.memberships, "membership"),
        (left_out.names, "name"),
    ];
    let told = kinds.into_iter().filter(|(number, _)| *number > 0).map(|(number, kind)| things(number, kind));
    format!("left out, as there is no room for more: {}", told.collect::<Vec<_>>().join(", "))
}
