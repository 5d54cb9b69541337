//! Devices by state, what needs attention first.

use std::io;
use std::io::Write;

use super::super::document::DeviceDocument;
use super::super::document::Document;
use super::super::document::StateName;
use super::super::format::duration_ns;
use super::super::format::plain;
use super::paragraph;

/// States in the order of the text; `true` where every device is told with its reason.
const ORDER: [(StateName, &str, bool); 9] = [
    (StateName::Rival, "rival", true),
    (StateName::Astray, "astray", true),
    (StateName::Unanswered, "unanswered", true),
    (StateName::Adrift, "adrift", true),
    (StateName::Leading, "leading", false),
    (StateName::Relaying, "relaying", true),
    (StateName::Following, "following", false),
    (StateName::StandingBy, "standing by", true),
    (StateName::Unproven, "unproven", true),
];

/// Devices of one state that are told one by one.
const SHOWN: usize = 12;

/// Devices of one state that a list holds.
const SHOWN_IN_LIST: usize = 40;

/// Where an offset comes from, in words.
const BASES: [(&str, &str); 4] = [
    ("management", "management answers"),
    ("peer-delay", "peer-delay stamps"),
    ("downstream-sync", "Syncs sent on"),
    ("request-origin", "stamps of requests"),
];

pub(super) fn write(document: &Document, out: &mut impl Write) -> io::Result<()> {
    if document.devices.is_empty() {
        return Ok(());
    }
    writeln!(out, "\nDevices")?;
    for (state, name, with_reason) in ORDER {
        let devices: Vec<&DeviceDocument> =
            document.devices.iter().filter(|device| device.state == state).collect();
        if devices.is_empty() {
            continue;
        }
        if with_reason {
            for device in devices.iter().take(SHOWN) {
                let offset = device.offset_ns.as_ref().map(|offset| format!(" ({})", signed(offset.median)));
                let offset = offset.unwrap_or_default();
                let text = format!("{}{offset}  {}", address(device), plain(&device.reasons.join("; ")));
                paragraph(out, 2, &format!("{name:<12}"), &text)?;
            }
            let more = devices.len().saturating_sub(SHOWN);
            if more > 0 {
                writeln!(out, "  {name:<12}and {more} more (see --format json)")?;
            }
        } else {
            let list: Vec<String> = devices.iter().take(SHOWN_IN_LIST).map(|device| short(device)).collect();
            let more = devices.len().saturating_sub(SHOWN_IN_LIST);
            let more = if more > 0 { format!(", and {more} more") } else { String::new() };
            let number = if devices.len() > 1 { format!("{}: ", devices.len()) } else { String::new() };
            paragraph(out, 2, &format!("{name:<12}"), &format!("{number}{}{more}", list.join(", ")))?;
        }
    }
    offsets(document, out)
}

/// For lists where nothing is wrong: the IP address where there is one, else the key, and the offset.
fn short(device: &DeviceDocument) -> String {
    let address = device.ips.first().cloned().unwrap_or_else(|| plain(&device.key));
    let name = format!("{address}{}", name(device));
    match &device.offset_ns {
        Some(offset) => format!("{name} ({})", signed(offset.median)),
        None => name,
    }
}

fn signed(ns: i64) -> String {
    // Without the space, so that a line break does not part number and unit.
    format!("{}{}", if ns < 0 { "-" } else { "+" }, duration_ns(ns.saturating_abs()).replace(' ', ""))
}

/// What the offsets in brackets are, and why the others have none.
fn offsets(document: &Document, out: &mut impl Write) -> io::Result<()> {
    let told: Vec<_> = document.devices.iter().filter_map(|device| device.offset_ns.as_ref()).collect();
    let follows =
        |device: &&DeviceDocument| matches!(device.state, StateName::Following | StateName::Relaying);
    let untold = document.devices.iter().filter(follows).filter(|device| device.offset_ns.is_none()).count();
    if told.is_empty() && untold == 0 {
        return Ok(());
    }
    let mut parts: Vec<String> = Vec::new();
    for (basis, words) in BASES {
        let bound =
            told.iter().filter(|offset| offset.basis == basis).map(|offset| offset.uncertainty_ns).max();
        if let Some(bound) = bound {
            let bound = if bound > 0 { format!(" ± {}", duration_ns(bound)) } else { String::new() };
            parts.push(format!("{words}{bound}"));
        }
    }
    let silent = (untold > 0).then(|| format!("{untold} do not tell"));
    let from = (!parts.is_empty()).then(|| format!("from {}", parts.join(", ")));
    let text: Vec<String> = from.into_iter().chain(silent).collect();
    paragraph(out, 2, "offset      ", &text.join("; "))
}

/// The address people look a device up by: IP where there is one, else its key.
fn address(device: &DeviceDocument) -> String {
    let name = name(device);
    match device.ips.as_slice() {
        [] => format!("{}{name}", plain(&device.key)),
        [ip] => format!("{} {ip}{name}", plain(&device.key)),
        [ip, ..] => format!("{} {ip}+{}{name}", plain(&device.key), device.ips.len() - 1),
    }
}

/// What a device is called, behind its address.
fn name(device: &DeviceDocument) -> String {
    device.name.as_deref().map(|name| format!(" \"{}\"", plain(name))).unwrap_or_default()
}
