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
use crate::report::document::VerdictName;
use crate::report::format::count;
use crate::report::format::things;

/// Domains told in brief; all have their place further down.
const DOMAINS: usize = 6;

/// The section; `order` has the places of the domains.
pub(super) fn section(document: &Document, order: &[usize]) -> Markup {
    let off: Vec<&DeviceDocument> =
        document.devices.iter().filter(|device| !devices::is_sound(device.state)).collect();
    let more = document.domains.len().saturating_sub(DOMAINS);
    html! {
        section id="clock" {
            h2 { "Who leads, and who is not on the clock" }
            @if document.domains.is_empty() { p { "No PTP was seen in this capture." } }
            div.cards {
                @for domain in order.iter().take(DOMAINS).filter_map(|index| document.domains.get(*index)) {
                    (card(document, domain))
                }
            }
            @if more > 0 { p { "and " (things(number(more), "more domain")) ", all of them further down" } }
            @if document.devices.is_empty() {
                p { "No device was seen to take part." }
            } @else if off.is_empty() {
                (nobody_off(document))
            } @else {
                (table("off-clock", "Not on the clock, or not proven to be", &devices::COLUMNS, devices::rows(document, &off)))
            }
        }
    }
}

/// What can be said where no device is seen to be off the clock: who is on it, and who is not because it leads or waits.
fn nobody_off(document: &Document) -> Markup {
    let of =
        |state: StateName| number(document.devices.iter().filter(|device| device.state == state).count());
    let states = [
        (StateName::Leading, "leads", "lead"),
        (StateName::Following, "follows", "follow"),
        (StateName::Relaying, "relays", "relay"),
        (StateName::StandingBy, "stands by to lead", "stand by to lead"),
    ];
    let told: Vec<String> = states
        .into_iter()
        .map(|(state, one, several)| (of(state), one, several))
        .filter(|(count, ..)| *count > 0)
        .map(|(number, one, several)| {
            format!("{} {}", count(number), if number == 1 { one } else { several })
        })
        .collect();
    let told = told.join(", ");
    let is_proven =
        document.verdict != VerdictName::CannotTell && of(StateName::Following) + of(StateName::Relaying) > 0;
    html! {
        @if is_proven {
            p.good { "No device that was seen is off the clock: " (told) "." }
        } @else {
            p { "No device was seen to be off the clock, but none was seen to be proven on it either: " (told) "." }
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
    let following = document.devices.iter().filter(|device| is_following(device, document, domain)).count();
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

/// Whether a device follows in a domain: one clock may lead several, so its leader alone does not say.
fn is_following(device: &DeviceDocument, document: &Document, domain: &DomainDocument) -> bool {
    if device.state != StateName::Following || device.leader != domain.leader {
        return false;
    }
    // Of several with that leader its state speaks of the site's.
    let led = |key: &&String| {
        document.domains.iter().any(|other| other.key == **key && other.leader == device.leader)
    };
    let of_site = |key: &&String| document.site_domain.keys.contains(*key);
    let here: Vec<&String> = device.domains.iter().filter(led).collect();
    match here.iter().find(|key| of_site(key)) {
        Some(of_site) if !document.site_domain.keys.contains(&domain.key) => **of_site == domain.key,
        _ => here.contains(&&domain.key),
    }
}

/// What the device with a clock is called; else the clock.
pub(super) fn name_of(document: &Document, clock: &str) -> String {
    let of = |device: &&DeviceDocument| device.clocks.iter().any(|own| own == clock);
    document.devices.iter().find(of).map_or_else(|| foreign(clock), devices::name)
}
