//! Devices by state, what needs attention first.

use std::io;
use std::io::Write;

use super::super::document::DeviceDocument;
use super::super::document::Document;
use super::super::document::StateName;
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
                let text = format!("{}  {}", address(device), plain(&device.reasons.join("; ")));
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
    Ok(())
}

/// For lists where nothing is wrong: the IP address where there is one, else the key.
fn short(device: &DeviceDocument) -> String {
    device.ips.first().cloned().unwrap_or_else(|| plain(&device.key))
}

/// The address people look a device up by: IP where there is one, else its key.
fn address(device: &DeviceDocument) -> String {
    match device.ips.as_slice() {
        [] => plain(&device.key),
        [ip] => format!("{} {ip}", plain(&device.key)),
        [ip, ..] => format!("{} {ip}+{}", plain(&device.key), device.ips.len() - 1),
    }
}
