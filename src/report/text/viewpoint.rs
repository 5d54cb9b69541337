//! Where the captures were taken, and what is out of view there.

use std::io;
use std::io::Write;

use super::super::document::SeatName;
use super::super::document::StrengthName;
use super::super::document::SwitchPortDocument;
use super::super::document::ViewpointDocument;
use super::super::format::plain;
use super::super::format::plain_short;
use super::Paper;
use super::paragraph;

/// Switch ports shown.
const PORTS_SHOWN: usize = 4;

/// What cannot be seen, as far as it is shown; all of it is in the JSON report.
const LIMITS_SHOWN: usize = 3;

pub(super) fn write(viewpoint: &ViewpointDocument, out: &mut Paper<'_>) -> io::Result<()> {
    let place = place(viewpoint.kind);
    let strength = match viewpoint.strength {
        StrengthName::Inferred => " (inferred)",
        StrengthName::Shown | StrengthName::CannotTell => "",
    };
    let why: Vec<String> = viewpoint.shown_by.iter().map(|text| plain(text)).collect();
    let colon = if why.is_empty() { "" } else { ": " };
    writeln!(out)?;
    switch_ports(viewpoint, out)?;
    if viewpoint.kind == SeatName::Unknown {
        // Nothing tells the place; what limits every such capture fits behind it.
        let limit = viewpoint.cannot_see.first().map(|text| format!("; cannot see {}", plain(text)));
        paragraph(out, 0, "seen from    ", &format!("{place}{}", limit.unwrap_or_default()))?;
        return more(viewpoint.cannot_see.len().saturating_sub(1), out);
    }
    paragraph(out, 0, "seen from    ", &format!("{place}{strength}{colon}{}", why.join("; ")))?;
    for (place, limit) in viewpoint.cannot_see.iter().take(LIMITS_SHOWN).enumerate() {
        let label = if place == 0 { "cannot see   " } else { "             " };
        paragraph(out, 0, label, &plain(limit))?;
    }
    more(viewpoint.cannot_see.len().saturating_sub(LIMITS_SHOWN), out)
}

/// Where that is, in words.
pub(in crate::report) const fn place(kind: SeatName) -> &'static str {
    match kind {
        SeatName::AtLeader => "the leader's port",
        SeatName::AtFollower => "a follower's port",
        SeatName::Mirror => "a mirror port or a link between switches",
        SeatName::Access => "a port of a device that is not on the clock",
        SeatName::Unknown => "a place that the file does not show",
    }
}

/// Which switch ports sent LLDP here.
fn switch_ports(viewpoint: &ViewpointDocument, out: &mut Paper<'_>) -> io::Result<()> {
    let ports: Vec<String> = viewpoint.switch_ports.iter().take(PORTS_SHOWN).map(switch_port).collect();
    match (ports.as_slice(), viewpoint.switch_ports.len()) {
        ([], _) => Ok(()),
        ([one], 1) => paragraph(out, 0, "hangs on     ", &format!("{one}, by its LLDP")),
        (some, all) => {
            let more =
                if all > some.len() { format!(" and {} more", all - some.len()) } else { String::new() };
            paragraph(out, 0, "LLDP from    ", &format!("{}{more}", some.join("; ")))
        }
    }
}

fn more(count: usize, out: &mut Paper<'_>) -> io::Result<()> {
    if count > 0 {
        writeln!(out, "             and {count} more (see --format json)")?;
    }
    Ok(())
}

fn switch_port(port: &SwitchPortDocument) -> String {
    let system = port.system.as_deref().map_or_else(|| port.mac.clone(), plain_short);
    let name = port.port.as_deref().map(|name| format!(", port {}", plain_short(name))).unwrap_or_default();
    let description = port.port_description.as_deref().filter(|text| port.port.as_deref() != Some(text));
    let description = description.map(|text| format!(" ({})", plain_short(text))).unwrap_or_default();
    format!("{system}{name}{description}")
}
