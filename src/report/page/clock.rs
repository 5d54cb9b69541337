//! Who leads, and who is not on the clock.

use maud::Markup;
use maud::html;

use super::devices;
use super::safe::foreign;
use super::table::table;
use crate::report::document::DeviceDocument;
use crate::report::document::Document;
use crate::report::document::DomainDocument;
use crate::report::document::StateName;
use crate::report::format::things;

/// Domains told in brief; all have their place further down.
const DOMAINS: usize = 6;

/// The section.
pub(super) fn section(document: &Document) -> Markup {
    let off: Vec<&DeviceDocument> =
        document.devices.iter().filter(|device| !devices::is_sound(device.state)).collect();
    html! {
        section id="clock" {
            h2 { "Who leads, and who is not on the clock" }
            @if document.domains.is_empty() { p { "No PTP was seen in this capture." } }
            div.cards { @for domain in document.domains.iter().take(DOMAINS) { (card(document, domain)) } }
            @if document.devices.is_empty() {
                p { "No device was seen to take part." }
            } @else if off.is_empty() {
                p.good { "All " (things(number(document.devices.len()), "device")) " that were seen are on the clock." }
            } @else {
                (table("off-clock", "Not on the clock, or not proven to be", &devices::COLUMNS, devices::rows(document, &off)))
            }
        }
    }
}

fn number(count: usize) -> u64 {
    u64::try_from(count).unwrap_or(u64::MAX)
}

fn card(document: &Document, domain: &DomainDocument) -> Markup {
    let role = match (document.site_domain.keys.contains(&domain.key), document.site_domain.assumed) {
        (true, true) if document.domains.len() > 1 => "taken for the site’s: most devices follow here",
        (true, _) => "the site’s domain",
        (false, _) => "beside the site’s domain",
    };
    let following = document
        .devices
        .iter()
        .filter(|device| device.state == StateName::Following && device.leader == domain.leader)
        .count();
    html! {
        div.card {
            h3 { (foreign(&domain.key)) }
            p.note { (role) }
            @match &domain.leader {
                Some(leader) => p.leader { strong { (name_of(document, leader)) } " leads" },
                None => p.leader { strong { "Nobody" } " leads at the end of the capture" },
            }
            dl {
                @if let Some(leader) = &domain.leader { dt { "clock" } dd { code { (leader) } } }
                @if let Some(tenure) = domain.tenures.last() {
                    dt { "since" } dd { (format!("{:.3} s", tenure.from_at_s))
                        @if tenure.won_on == "only-candidate" { ", the only candidate" } @else { ", won on " (tenure.won_on) } }
                }
                dt { "next" }
                dd { @match domain.succession.first() { Some(next) => (name_of(document, next)), None => "nobody has shown itself" } }
                @if domain.leader.is_some() { dt { "followed by" } dd { (things(number(following), "device")) } }
            }
        }
    }
}

/// What the device with a clock is called; else the clock.
pub(super) fn name_of(document: &Document, clock: &str) -> String {
    let of = |device: &&DeviceDocument| device.clocks.iter().any(|own| own == clock);
    document.devices.iter().find(of).map_or_else(|| foreign(clock), devices::name)
}
