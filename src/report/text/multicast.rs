//! Group membership in brief, where there is something to say; all of it is in the JSON report.

use std::io;
use std::io::Write;

use super::super::document::Document;
use super::super::document::QuerierDocument;
use super::super::document::SharedMacDocument;
use super::super::format::duration;
use super::super::format::things;
use super::Paper;
use super::paragraph;

/// Groups, queriers and addresses that a line lists.
const SHOWN: usize = 8;

pub(super) fn write(document: &Document, out: &mut Paper<'_>) -> io::Result<()> {
    let multicast = &document.multicast;
    // What nobody asked for is told only where others' asking would have been captured.
    let unrequested: &[String] =
        if multicast.unrequested_caveats.is_empty() { &multicast.unrequested } else { &[] };
    let has_members = !multicast.memberships.is_empty();
    // One querier that keeps asking is as it should be, and a short report is read.
    let keeps_asking = matches!(multicast.queriers.as_slice(), [one] if one.silent_since_s.is_none());
    let is_quiet = multicast.queriers.is_empty() && !has_members;
    let odd = multicast.reports_of_no_group;
    let all_wanted =
        odd == 0 && unrequested.is_empty() && multicast.idle.is_empty() && multicast.shared_macs.is_empty();
    if (keeps_asking || is_quiet) && all_wanted {
        return Ok(());
    }
    writeln!(out, "\nGroups")?;
    let queriers: Vec<String> = multicast.queriers.iter().map(querier).collect();
    let queriers = if queriers.is_empty() { "nobody in this capture".to_owned() } else { list(&queriers) };
    paragraph(out, 2, "asked by    ", &queriers)?;
    if has_members {
        let hosts: usize = multicast.memberships.iter().map(|membership| membership.hosts.len()).sum();
        let groups = multicast.memberships.iter().filter(|membership| !membership.hosts.is_empty()).count();
        let number = |count: usize| u64::try_from(count).unwrap_or(u64::MAX);
        let text =
            format!("{} in {} at the end", things(number(hosts), "member"), things(number(groups), "group"));
        paragraph(out, 2, "members     ", &text)?;
    }
    if !unrequested.is_empty() {
        paragraph(out, 2, "not asked   ", &format!("{}: on the wire, no member in view", list(unrequested)))?;
    }
    if !multicast.idle.is_empty() {
        paragraph(out, 2, "empty       ", &format!("{}: asked for, nothing came", list(&multicast.idle)))?;
    }
    if let Some(address) = multicast.no_group.as_ref().filter(|_| odd > 0) {
        let text = format!("{} for addresses that are no groups, the first {address}", things(odd, "report"));
        paragraph(out, 2, "ignored     ", &text)?;
    }
    for shared in multicast.shared_macs.iter().take(SHOWN) {
        paragraph(out, 2, "one MAC     ", &shared_mac(shared))?;
    }
    let more = multicast.shared_macs.len().saturating_sub(SHOWN);
    if more > 0 {
        writeln!(out, "              and {more} more (see --format json)")?;
    }
    Ok(())
}

fn querier(querier: &QuerierDocument) -> String {
    let interval = match (querier.interval_s, querier.declared_interval_s) {
        (Some(seen), _) => format!(", every {}", duration(seen)),
        (None, Some(declared)) => format!(", every {} as declared", duration(declared)),
        (None, None) => String::new(),
    };
    let vlan = querier.vlan.map(|vlan| format!(", VLAN {vlan}")).unwrap_or_default();
    let silent = querier
        .silent_since_s
        .zip(querier.last_at_s)
        .map(|(_, last)| format!(", silent since {last:.3} s"))
        .unwrap_or_default();
    format!("{} ({}{interval}{vlan}{silent})", querier.ip, querier.version)
}

fn shared_mac(shared: &SharedMacDocument) -> String {
    let reserved = match shared.reserved_for {
        Some("ptp") => ", which is PTP's",
        Some(_) => ", which switches pass on to everybody",
        None => "",
    };
    format!("{}: {}{reserved}", list(&shared.groups), shared.mac)
}

fn list(items: &[String]) -> String {
    let more = items.len().saturating_sub(SHOWN);
    let shown: Vec<&str> = items.iter().take(SHOWN).map(String::as_str).collect();
    let more = if more > 0 { format!(" and {more} more") } else { String::new() };
    format!("{}{more}", shown.join(", "))
}
