//! The report as one page that needs nothing else: no network, no fonts, no scripts but its own.
//!
//! Text from files and packets goes through [`safe::foreign`] into templates that escape it, into labels that plotters
//! escapes, or into the data block that [`safe::data_block`] escapes. A content security policy allows the page's own
//! style and script by their digests and nothing else, so markup that slipped through would do nothing.

mod capture;
mod clock;
mod data;
mod devices;
mod domains;
mod figure;
mod multicast;
mod safe;
mod streams;
mod table;
mod timeline;
mod verdict;

use std::io;
use std::io::Write;

use maud::DOCTYPE;
use maud::Markup;
use maud::PreEscaped;
use maud::html;

use super::document::Document;
use super::format::count;
use super::format::duration;
use super::format::ptp_messages;
use super::plot::Plots;
use super::plot::ticks::time_label;
use super::series::Series;
use super::text::kept_together;
use safe::foreign;

/// The page's style.
const STYLE: &str = include_str!("page.css");
/// The page's script.
const SCRIPT: &str = concat!(include_str!("tables.js"), include_str!("page.js"));

/// Writes the page.
///
/// # Errors
/// Where `out` cannot be written.
pub fn write(document: &Document, series: &Series, out: &mut impl Write) -> io::Result<()> {
    out.write_all(page(document, series).into_string().as_bytes())
}

fn page(document: &Document, series: &Series) -> Markup {
    let plots = Plots::of(document, series);
    let data = data::block(series, plots.all());
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta http-equiv="Content-Security-Policy" content=(policy());
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="referrer" content="no-referrer";
                meta name="generator" content={ (document.tool.name) " " (document.tool.version) };
                link rel="icon" href="data:,";
                title { (verdict::word(document)) ": " (files(document)) " · downbeat" }
                style { (PreEscaped(STYLE)) }
            }
            body {
                a.skip href="#verdict" { "To the verdict" }
                header.head {
                    p.brand { "downbeat" }
                    p.subject {
                        @if let Some(site) = &document.site_domain.site { strong { (foreign(site)) } " · " }
                        (files(document)) " · " (span(document))
                    }
                }
                (contents())
                main {
                    (verdict::section(document))
                    (clock::section(document, &plots.order))
                    (streams::room(document))
                    (time_bar())
                    (timeline::section(document, plots.leaders.as_ref()))
                    (domains::section(document, &plots.order, &plots.domains))
                    (devices::section(document))
                    (streams::section(document, plots.load.as_ref()))
                    (multicast::section(document, plots.members.as_ref()))
                    (capture::section(document))
                    (capture::sources(document))
                }
                footer { p { (document.tool.name) " " (document.tool.version) " · " (document.schema) } }
                script type="application/json" id="series" { (PreEscaped(data)) }
                script { (PreEscaped(SCRIPT)) }
            }
        }
    }
}

/// What the page may do: show its style, run its script, and nothing else.
fn policy() -> String {
    format!(
        "default-src 'none'; style-src '{}'; script-src '{}'; img-src data:; base-uri 'none'; form-action 'none'",
        safe::digest(STYLE),
        safe::digest(SCRIPT)
    )
}

fn files(document: &Document) -> String {
    match document.captures.as_slice() {
        [one] => foreign(&one.file),
        several => format!("{} files", several.len()),
    }
}

fn span(document: &Document) -> String {
    let span = &document.span;
    let length = span.duration_s.map_or_else(|| "of unknown length".to_owned(), length);
    let from = span.first.as_deref().map(|first| format!(" from {first}")).unwrap_or_default();
    kept_together(&format!("{length}{from}, {} frames, {}", count(span.frames), ptp_messages(span)))
}

/// A duration, in hours and days too where it has some.
fn length(seconds: f64) -> String {
    if seconds < 120.0 {
        duration(seconds)
    } else {
        format!("{} ({})", time_label(seconds, 1.0), duration(seconds))
    }
}

fn contents() -> Markup {
    let places = [
        ("verdict", "Verdict"),
        ("clock", "On the clock"),
        ("room", "Room"),
        ("timeline", "Timeline"),
        ("domains", "Domains"),
        ("devices", "Devices"),
        ("streams", "Streams"),
        ("multicast", "Multicast"),
        ("capture", "The capture"),
        ("sources", "Sources"),
    ];
    html! {
        nav.contents aria-label="Parts of the report" {
            ul { @for (id, name) in places { li { a href={ "#" (id) } { (name) } } } }
        }
    }
}

/// What moves all plots over time at once; the script shows it.
fn time_bar() -> Markup {
    let buttons = [
        ("earlier", "◀", "earlier"),
        ("later", "▶", "later"),
        ("closer", "+", "closer"),
        ("wider", "−", "wider"),
        ("whole", "all", "all of the capture"),
    ];
    html! {
        div.time-bar id="time-bar" role="toolbar" aria-label="Time shown in all plots" hidden {
            span id="time-shown" role="status" {}
            @for (id, face, name) in buttons {
                button type="button" data-move=(id) aria-label=(name) { (face) }
            }
            button type="button" id="fit" aria-pressed="true" { "heights follow" }
            span.hint { "drag across a plot to zoom; in a plot, arrow keys move, + and − zoom, Escape shows all" }
        }
        p.printed.note id="time-printed" {}
    }
}
