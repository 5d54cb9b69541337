//! The capture itself, what could not be judged, sources and caution.

use std::collections::BTreeSet;

use maud::Markup;
use maud::html;

use super::safe::foreign;
use super::table::Cell;
use super::table::ROWS;
use super::table::table;
use super::verdict;
use crate::report::document::CaptureDocument;
use crate::report::document::Document;
use crate::report::format::count;
use crate::report::format::duration;
use crate::report::format::things;
use crate::report::text;

/// The capture's quality, its place, and what could not be judged.
pub(super) fn section(document: &Document) -> Markup {
    let odd = text::oddities(document);
    let viewpoint = &document.viewpoint;
    let cut = document.captures.iter().map(|capture| capture.snapped).fold(0, u64::saturating_add);
    html! {
        section id="capture" {
            h2 { "The capture, and what could not be judged" }
            (table("captures", "Files", &["file", "format", "from", "length", "frames", "cut", "odd", "stamps"],
                document.captures.iter().take(ROWS).map(file).collect()))
            @if odd.is_empty() {
                p { @if cut > 0 { "Nothing is odd about it but that " (things(cut, "frame")) @if cut == 1 { " is" } @else { " are" } " cut short." } @else { "Nothing is odd about it." } }
            } @else {
                ul { @for (file, text) in odd.iter().take(ROWS) { li { (foreign(file)) ": " (foreign(text)) } } }
            }
            h3 { "Seen from " (text::viewpoint::place(viewpoint.kind)) " (" (verdict::strength(viewpoint.strength)) ")" }
            (list("shown by", &viewpoint.shown_by))
            (list("cannot be seen from there", &viewpoint.cannot_see))
            @if !document.not_judged.is_empty() {
                h3 { "Not judged" }
                dl.facts { @for rule in &document.not_judged { dt { code { (rule.id) } } dd { (foreign(&rule.why)) } } }
            }
        }
    }
}

fn list(title: &str, items: &[String]) -> Markup {
    html! {
        @if !items.is_empty() {
            p.note { (title) ":" }
            ul { @for item in items { li { (foreign(item)) } } }
        }
    }
}

fn file(capture: &CaptureDocument) -> Vec<Cell> {
    let number = |value: u64| Cell::number(Some(count(value)), u32::try_from(value).ok().map(f64::from));
    let step = capture.resolution_ns.map(|step| format!("{step} ns"));
    vec![
        Cell::foreign(&capture.file),
        Cell::text(&match capture.compression {
            Some(packing) => format!("{}, {packing}", capture.format),
            None => capture.format.to_owned(),
        }),
        Cell::text(capture.first.as_deref().unwrap_or("–")),
        Cell::number(capture.duration_s.map(duration), capture.duration_s),
        number(capture.packets),
        number(capture.snapped),
        number(capture.undecodable),
        Cell::text(step.as_deref().unwrap_or("–")),
    ]
}

/// Where the rules come from, and what to keep in mind.
pub(super) fn sources(document: &Document) -> Markup {
    let sources: BTreeSet<&str> =
        document.findings.iter().flat_map(|finding| finding.sources.iter().copied()).collect();
    html! {
        section id="sources" {
            h2 { "Sources and caution" }
            @if !sources.is_empty() { ul { @for source in sources { li { (source) } } } }
            p {
                "PTP is named as in IEEE 1588-2019. Bit rates are those of the wire: each frame with its check sequence, "
                "preamble and gap. Times are seconds from the first frame of the capture."
            }
            p.caution { (document.caution) }
        }
    }
}
