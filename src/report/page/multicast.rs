//! Who asks for which groups.

use maud::Markup;
use maud::html;

use super::figure::figure;
use super::safe::foreign;
use super::table::Cell;
use super::table::ROWS;
use super::table::more;
use super::table::table;
use crate::report::document::Document;
use crate::report::document::MembershipDocument;
use crate::report::document::QuerierDocument;
use crate::report::format::count;
use crate::report::format::duration;
use crate::report::plot::Plot;

/// The section.
pub(super) fn section(document: &Document, plot: Option<&Plot>) -> Markup {
    let multicast = &document.multicast;
    let nothing = multicast.queriers.is_empty() && multicast.memberships.is_empty();
    html! {
        section id="multicast" {
            h2 { "Multicast" }
            @if nothing { p { "No query and no report of membership was seen." } }
            @if !multicast.queriers.is_empty() {
                (table("queriers", "Queriers", &["address", "VLAN", "version", "interval", "state"],
                    multicast.queriers.iter().take(ROWS).map(querier).collect()))
            }
            @if let Some(plot) = plot { (figure(plot)) }
            @if !multicast.memberships.is_empty() {
                (table("memberships", "Groups", &["group", "VLAN", "members at the end", "seen"],
                    multicast.memberships.iter().take(ROWS).map(membership).collect()))
                (more(multicast.memberships.len()))
            }
            (list("On the wire and asked for by nobody in this capture", &multicast.unrequested))
            @if !multicast.unrequested.is_empty() && !multicast.unrequested_caveats.is_empty() {
                p.note { "That is no evidence: " (multicast.unrequested_caveats.join("; ")) "." }
            }
            (list("Asked for, and nothing came", &multicast.idle))
            @if !multicast.shared_macs.is_empty() {
                h3 { "Groups that share a MAC address" }
                ul { @for shared in multicast.shared_macs.iter().take(ROWS) {
                    li { code { (foreign(&shared.mac)) } ": " (shared.groups.join(", "))
                        @if let Some(reserved) = shared.reserved_for { ", and " (reserved) } }
                } }
            }
        }
    }
}

fn list(title: &str, groups: &[String]) -> Markup {
    html! {
        @if !groups.is_empty() {
            h3 { (title) }
            p { (foreign(&groups.join(", "))) }
        }
    }
}

fn vlan(vlan: Option<u16>) -> Cell {
    Cell::number(vlan.map(|vlan| vlan.to_string()), vlan.map(f64::from))
}

fn querier(querier: &QuerierDocument) -> Vec<Cell> {
    let state = match (querier.silent_since_s, querier.elected) {
        (Some(since), _) => match querier.last_at_s {
            Some(last) => format!("silent since {last:.3} s, overdue since {since:.3} s"),
            None => format!("overdue since {since:.3} s"),
        },
        (None, true) => "asks".to_owned(),
        (None, false) => "stands back".to_owned(),
    };
    vec![
        Cell::foreign(&querier.ip),
        vlan(querier.vlan),
        Cell::text(querier.version),
        Cell::number(querier.interval_s.map(duration), querier.interval_s),
        Cell::text(&state),
    ]
}

fn membership(group: &MembershipDocument) -> Vec<Cell> {
    let seen = u64::try_from(group.members.len()).unwrap_or(u64::MAX);
    vec![
        Cell::foreign(&group.group),
        vlan(group.vlan),
        Cell::foreign(&if group.hosts.is_empty() { "nobody".to_owned() } else { group.hosts.join(", ") }),
        Cell::number(Some(count(seen)), u32::try_from(seen).ok().map(f64::from)),
    ]
}
