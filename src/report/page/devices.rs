//! Devices.

use maud::Markup;
use maud::html;

use super::clock;
use super::safe::foreign;
use super::table::Cell;
use super::table::ROWS;
use super::table::more;
use super::table::table;
use super::verdict;
use crate::report::document::DeviceDocument;
use crate::report::document::Document;
use crate::report::document::StateName;
use crate::report::format::duration_ns_typeset;
use crate::report::format::seconds;
use crate::units::Nanos;

/// Columns of [`rows`].
pub(super) const COLUMNS: [&str; 6] = ["device", "state", "leader", "offset", "said", "why"];

/// Whether it is on the clock.
pub(super) const fn is_sound(state: StateName) -> bool {
    matches!(state, StateName::Leading | StateName::Relaying | StateName::Following | StateName::StandingBy)
}

/// A state's name, and a sign that differs in shape; the order is that of gravity.
const fn state(state: StateName) -> (&'static str, &'static str, f64) {
    match state {
        StateName::Rival => ("rival", "⚔", 0.0),
        StateName::Astray => ("astray", "↯", 1.0),
        StateName::Unanswered => ("unanswered", "∅", 2.0),
        StateName::Adrift => ("adrift", "≈", 3.0),
        StateName::Unproven => ("unproven", "?", 4.0),
        StateName::Unclocked => ("unclocked", "○", 5.0),
        StateName::Leading => ("leading", "★", 6.0),
        StateName::Relaying => ("relaying", "⇄", 7.0),
        StateName::Following => ("following", "♩", 8.0),
        StateName::StandingBy => ("standing by", "‖", 9.0),
    }
}

/// The section.
pub(super) fn section(document: &Document) -> Markup {
    let all: Vec<&DeviceDocument> = document.devices.iter().take(ROWS).collect();
    html! {
        section id="devices" {
            h2 { "Devices" }
            @if all.is_empty() { p { "No device was seen to take part." } }
            @else { (table("all-devices", "Devices", &COLUMNS, rows(document, &all))) }
            (more(document.devices.len()))
        }
    }
}

/// What it calls itself, else its key.
pub(super) fn name(device: &DeviceDocument) -> String {
    foreign(device.name.as_deref().unwrap_or(&device.key))
}

/// Rows of a table of devices, the gravest states first.
pub(super) fn rows(document: &Document, devices: &[&DeviceDocument]) -> Vec<Vec<Cell>> {
    let mut devices = devices.to_vec();
    devices.sort_by(|one, other| state(one.state).2.total_cmp(&state(other.state).2));
    devices.into_iter().map(|device| row(document, device)).collect()
}

fn row(document: &Document, device: &DeviceDocument) -> Vec<Cell> {
    let (word, sign, gravity) = state(device.state);
    let leader = match &device.leader {
        Some(leader) if device.clocks.contains(leader) => "itself".to_owned(),
        Some(leader) => clock::name_of(document, leader),
        None => "–".to_owned(),
    };
    let class = if is_sound(device.state) { "state good" } else { "state bad" };
    let offset = device.offset_ns.as_ref();
    vec![
        Cell::markup(html! { strong { (name(device)) } div.addresses { (addresses(device)) } }),
        Cell::sorted(html! { span class=(class) { span aria-hidden="true" { (sign) " " } (word) } }, gravity),
        Cell::text(&leader),
        Cell::number(
            offset.map(|offset| {
                format!(
                    "{} ± {}",
                    duration_ns_typeset(offset.median),
                    duration_ns_typeset(offset.uncertainty_ns)
                )
            }),
            offset.map(|offset| seconds(Nanos(offset.median))),
        ),
        Cell::text(verdict::strength(device.strength)),
        Cell::foreign(&device.reasons.join("; ")),
    ]
}

fn addresses(device: &DeviceDocument) -> String {
    let own = |address: &&String| device.name.is_some() || **address != device.key;
    let all = device.ips.iter().chain(&device.macs).filter(own);
    foreign(&all.map(String::as_str).collect::<Vec<_>>().join(" "))
}
