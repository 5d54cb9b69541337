//! Each domain: its election, its time, its profiles.

use maud::Markup;
use maud::html;

use super::clock;
use super::figure::figure;
use super::safe::foreign;
use super::table::Cell;
use super::table::ROWS;
use super::table::table;
use crate::ptp::v2::registry;
use crate::report::document::ClockDocument;
use crate::report::document::Document;
use crate::report::document::DomainDocument;
use crate::report::document::PathDocument;
use crate::report::document::SpreadDocument;
use crate::report::format::count;
use crate::report::format::duration;
use crate::report::format::duration_ns_exact;
use crate::report::format::things;
use crate::report::format::times;
use crate::report::plot::Plot;
use crate::report::text::rate_with_error;

/// The section; `order` has the places of the domains, `plots` those of the first of them.
pub(super) fn section(document: &Document, order: &[usize], plots: &[Vec<Plot>]) -> Markup {
    let without = document.domains.len().saturating_sub(plots.len());
    let domains = order.iter().filter_map(|index| document.domains.get(*index));
    html! {
        section id="domains" {
            h2 { "Domains" }
            @if document.domains.is_empty() { p { "No PTP was seen in this capture." } }
            @for (index, domain) in domains.enumerate().take(ROWS) {
                (self::domain(document, index, domain, plots.get(index).map(Vec::as_slice).unwrap_or_default()))
            }
            @if without > 0 { p { "The last " (without) " domains have no plots here." } }
        }
    }
}

fn domain(document: &Document, index: usize, domain: &DomainDocument, plots: &[Plot]) -> Markup {
    let messages = &domain.messages;
    let counts = [
        ("Announce", messages.announce),
        ("Sync", messages.sync),
        ("Follow_Up", messages.follow_up),
        ("Delay_Req", messages.delay_req),
        ("Delay_Resp", messages.delay_resp),
        ("Pdelay_Req", messages.pdelay_req),
        ("Pdelay_Resp", messages.pdelay_resp),
        ("Signaling", messages.signaling),
        ("Management", messages.management),
    ];
    let counts: Vec<String> = counts
        .iter()
        .filter(|(_, number)| *number > 0)
        .map(|(name, number)| format!("{} {name}", count(*number)))
        .collect();
    html! {
        article.domain {
            h3 { (foreign(&domain.key)) }
            p.note {
                "PTP version " (domain.ptp_version) ", " (domain.transports.join(", ")) " · " (counts.join(", "))
            }
            (election(document, index, domain))
            @if let Some(path) = &domain.path { (time(path)) }
            @if domain.answers.requesters > 0 {
                p {
                    (things(domain.answers.answered, "request")) " for delay from " (things(domain.answers.requesters, "port"))
                    @if domain.answers.answered == 1 { " was" } @else { " were" } " answered, " (count(domain.answers.unanswered)) " not."
                }
            }
            div.plots { @for plot in plots { (figure(plot)) } }
            (profiles(index, domain))
            @if !domain.notes.is_empty() {
                h4 { "Odd in its messages" }
                ul { @for note in &domain.notes { li { (foreign(&note.text)) " (" (times(note.count)) ")" } } }
            }
        }
    }
}

/// Clocks that offer themselves, in the order in which they would lead.
fn election(document: &Document, index: usize, domain: &DomainDocument) -> Markup {
    let place = |clock: &ClockDocument| {
        if domain.leader.as_ref() == Some(&clock.clock) {
            return (0, "leads".to_owned());
        }
        match domain.succession.iter().position(|next| *next == clock.clock) {
            Some(place) => (place + 1, format!("next but {place}").replace("next but 0", "next")),
            None => (usize::MAX, "–".to_owned()),
        }
    };
    let mut offers: Vec<&ClockDocument> =
        domain.clocks.iter().filter(|clock| clock.priority1.is_some() || clock.stratum.is_some()).collect();
    offers.sort_by_key(|clock| (place(clock).0, &clock.clock, clock.port));
    let is_v1 = domain.ptp_version == "1";
    let columns: &[&str] = if is_v1 {
        &["clock", "place", "preferred", "stratum", "identifier", "variance", "steps", "Sync every"]
    } else {
        &[
            "clock",
            "place",
            "priority1",
            "class",
            "accuracy",
            "variance",
            "priority2",
            "steps",
            "Announce every",
            "Sync every",
        ]
    };
    let row = |clock: &&ClockDocument| {
        let mut cells = vec![
            Cell::markup(html! {
                strong { (clock::name_of(document, &clock.clock)) }
                div.addresses { code { (foreign(&clock.clock)) "/" (clock.port) } }
            }),
            Cell::sorted(
                html! { (place(clock).1) },
                u32::try_from(place(clock).0).map_or(f64::INFINITY, f64::from),
            ),
        ];
        let octet =
            |value: Option<u8>| Cell::number(value.map(|value| value.to_string()), value.map(f64::from));
        // As IEEE 1588 and data sheets write it; that of version 1 has a sign.
        let written = |value: i32| if is_v1 { value.to_string() } else { format!("{value:#06x}") };
        let variance = Cell::number(clock.variance.map(written), clock.variance.map(f64::from));
        let steps = Cell::number(
            clock.steps_removed.map(|value| value.to_string()),
            clock.steps_removed.map(f64::from),
        );
        let cadence = |cadence: &Option<super::super::CadenceDocument>| {
            let median = cadence.as_ref().and_then(|cadence| cadence.median_s);
            Cell::number(median.map(|median| duration(median).replace(" us", " µs")), median)
        };
        if is_v1 {
            cells.push(Cell::text(match clock.preferred {
                Some(true) => "yes",
                Some(false) => "no",
                None => "–",
            }));
            cells.push(octet(clock.stratum));
            cells.push(Cell::foreign(clock.identifier.as_deref().unwrap_or("–")));
            cells.extend([variance, steps]);
        } else {
            cells.push(octet(clock.priority1));
            cells.push(octet(clock.clock_class));
            cells.push(Cell::number(clock.clock_accuracy.map(accuracy), clock.clock_accuracy.map(f64::from)));
            cells.push(variance);
            cells.push(octet(clock.priority2));
            cells.push(steps);
            cells.push(cadence(&clock.announce));
        }
        cells.push(cadence(&clock.sync));
        cells
    };
    html! {
        @if !offers.is_empty() {
            (table(&format!("election-{index}"), "The election: who would lead, in order", columns, offers.iter().take(ROWS).map(row).collect()))
            @if let (Some(rightful), Some(by)) = (&domain.rightful, domain.decided_by) {
                p { "By the comparison of data sets " strong { (clock::name_of(document, rightful)) } " should lead; "
                    @if by == "only-candidate" { "it is the only candidate." } @else { "decided by " (by) "." } }
            }
        }
    }
}

fn accuracy(value: u8) -> String {
    registry::clock_accuracy_name(value).map_or_else(|| format!("0x{value:02x}"), str::to_owned)
}

fn spread(spread: &SpreadDocument) -> String {
    format!(
        "{} (5th to 95th percentile {} to {}, {} samples)",
        duration_ns_exact(spread.median),
        duration_ns_exact(spread.p5),
        duration_ns_exact(spread.p95),
        count(spread.count)
    )
}

/// Which of the two counts UTC, where one does and the other TAI.
fn timescales(path: &PathDocument) -> Option<&'static str> {
    match path.timescales {
        "capture-utc-leader-tai" => Some("the capture’s clock counts UTC and the leader’s TAI"),
        "capture-tai-leader-utc" => Some("the capture’s clock counts TAI and the leader’s UTC"),
        _ => None,
    }
}

fn time(path: &PathDocument) -> Markup {
    html! {
        dl.facts {
            dt { "capture’s clock less the leader’s" } dd {
                (spread(&path.offset_ns))
                @if let (Some(clocks), Some(rest)) = (timescales(path), path.residual_offset_ns) {
                    "; " (clocks) ", and less those 37 s it is " (duration_ns_exact(rest))
                }
            }
            @if let Some(delay) = &path.mean_path_delay_ns { dt { "mean path delay" } dd { (spread(delay)) } }
            @if let Some(jitter) = &path.sync_jitter_ns { dt { "jitter of Sync" } dd { (spread(jitter)) } }
            @if let (Some(rate), Some(sigma)) = (path.rate_ppm, path.rate_sigma_ppm) {
                dt { "rate of the capture’s clock" } dd {
                    (rate_with_error(rate, sigma))
                    @if path.rate_is_seen == Some(false) { ": no rate to be seen" }
                }
            }
            dt { "basis" } dd { (foreign(&path.basis)) }
        }
    }
}

fn profiles(index: usize, domain: &DomainDocument) -> Markup {
    let fits: Vec<&str> =
        domain.profiles.iter().filter(|profile| profile.fits).map(|profile| profile.name).collect();
    let deviations = domain.profiles.iter().flat_map(|profile| {
        profile.deviations.iter().map(|deviation| {
            vec![
                Cell::text(profile.name),
                Cell::foreign(&deviation.item),
                Cell::foreign(&deviation.seen),
                Cell::foreign(&deviation.expected),
                Cell::text(deviation.source),
                Cell::text(deviation.confidence),
            ]
        })
    });
    let rows: Vec<Vec<Cell>> = deviations.take(ROWS).collect();
    html! {
        @if !domain.profiles.is_empty() {
            h4 { "Profiles" }
            p { @if fits.is_empty() { "What was seen fits none, or too little was seen." } @else { "Nothing that was seen speaks against: " (fits.join(", ")) "." } }
            @if !rows.is_empty() {
                details {
                    summary { "What differs from each (" (rows.len()) ")" }
                    (table(&format!("profiles-{index}"), "Deviations from profiles",
                        &["profile", "item", "seen", "laid down", "source", "source is"], rows))
                }
            }
        }
    }
}
