//! The timeline for a terminal.

use std::io;
use std::io::Write;

use super::document::IncidentDocument;
use super::document::TimelineDocument;
use crate::report::EventDocument;
use crate::report::FrameReference;
use crate::report::Paper;
use crate::report::Style;
use crate::report::duration;
use crate::report::notice;
use crate::report::paragraph;
use crate::report::plain;
use crate::report::ptp_messages;

/// Writes the timeline, as wide as the style has it; text from files and packets is escaped.
///
/// # Errors
/// Where `out` cannot be written.
pub fn write(timeline: &TimelineDocument, style: Style, out: &mut impl Write) -> io::Result<()> {
    Paper::of(style, out, |paper| whole(timeline, paper))
}

fn whole(timeline: &TimelineDocument, out: &mut Paper<'_>) -> io::Result<()> {
    let span = &timeline.span;
    notice(span, out)?;
    let files = match timeline.captures.as_slice() {
        [one] => plain(&one.file),
        several => format!("{} files", several.len()),
    };
    let length = span.duration_s.map_or_else(|| "of unknown length".to_owned(), duration);
    let begin = span.first.as_deref().map(|first| format!(" from {first}")).unwrap_or_default();
    paragraph(out, 0, "", &format!("{files}: {length}{begin}, {}", ptp_messages(span)))?;
    for gap in &timeline.gaps {
        let text = format!(
            "nothing is known of {} between {} and {}",
            duration(gap.duration_s),
            plain(&gap.after_file),
            plain(&gap.before_file)
        );
        paragraph(out, 0, "", &text)?;
    }
    for file in &timeline.unreadable {
        paragraph(out, 0, &format!("{}: not read: ", plain(&file.file)), &plain(&file.text))?;
    }
    if timeline.events.is_empty() {
        return writeln!(out, "\nnothing happened, or nothing of what was asked for");
    }
    writeln!(out, "\nseconds from the first frame, time of day by the capture's clock (UTC)")?;
    let several = domains(timeline) > 1;
    let mut day = "";
    for incident in &timeline.incidents {
        if let Some(date) = incident.from.get(..10).filter(|date| *date != day) {
            day = date;
            writeln!(out, "\n{date}")?;
        }
        self::incident(timeline, incident, several, out)?;
    }
    Ok(())
}

fn domains(timeline: &TimelineDocument) -> usize {
    let domains: std::collections::BTreeSet<_> =
        timeline.events.iter().filter_map(|event| event.domain.as_ref()).collect();
    domains.len()
}

fn incident(
    timeline: &TimelineDocument,
    incident: &IncidentDocument,
    several: bool,
    out: &mut Paper<'_>,
) -> io::Result<()> {
    let mut events = incident.events.iter().filter_map(|index| timeline.events.get(*index));
    if incident.events.len() == 1 {
        return events.try_for_each(|event| self::event(event, "", several, out));
    }
    let length = duration(incident.until_at_s - incident.from_at_s);
    let text = format!("{} ({} events in {length})", plain(&incident.because), incident.events.len());
    paragraph(out, 0, &label(incident.from_at_s, &incident.from, ""), &text)?;
    events.try_for_each(|event| self::event(event, "| ", several, out))
}

fn event(event: &EventDocument, mark: &str, several: bool, out: &mut Paper<'_>) -> io::Result<()> {
    let domain = event.domain.as_deref().filter(|_| several).map(|domain| format!("{domain}: "));
    let frames: Vec<String> = event.frames.iter().map(frame).collect();
    let frames = if frames.is_empty() { String::new() } else { format!(" (frame {})", frames.join(", ")) };
    let text = format!("{}{}{frames}", plain(&domain.unwrap_or_default()), plain(&event.text));
    paragraph(out, 0, &label(event.at_s, &event.time, mark), &text)
}

/// Both times: `39.461  19:28:39.461`.
fn label(at_s: f64, time: &str, mark: &str) -> String {
    format!("{at_s:>10.3}  {}  {mark}", time.get(11..23).unwrap_or(time))
}

fn frame(frame: &FrameReference) -> String {
    match frame {
        FrameReference::Number(number) => number.to_string(),
        FrameReference::InFile { file, frame } => format!("{} {frame}", plain(file)),
    }
}
