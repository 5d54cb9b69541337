//! The table of devices, what needs attention first.

use std::collections::BTreeMap;
use std::io;
use std::io::Write;

use super::super::document::DeviceDocument;
use super::super::document::Document;
use super::super::document::StateName;
use super::super::format::count;
use super::super::format::duration_ns;
use super::super::format::plain;
use super::super::format::plain_short;
use super::Paper;
use super::cell::columns;
use super::cell::cut_before;
use super::cell::cut_behind;
use super::cell::in_lines;
use super::cell::padded;
use super::paragraph;

/// States in the order of the text: the worst first, and among the sound ones who leads.
const ORDER: [(StateName, &str, Fold); 10] = [
    (StateName::Rival, "rival", Fold::Never),
    (StateName::Astray, "astray", Fold::Faulty),
    (StateName::Unanswered, "unanswered", Fold::Faulty),
    (StateName::Adrift, "adrift", Fold::Never),
    (StateName::Unproven, "unproven", Fold::SameReason),
    (StateName::Unclocked, "unclocked", Fold::SameReason),
    (StateName::Leading, "leading", Fold::SameState),
    (StateName::Relaying, "relaying", Fold::SameState),
    (StateName::Following, "following", Fold::SameState),
    (StateName::StandingBy, "standing by", Fold::SameState),
];

/// Which devices are alike enough that one line may count the rest of them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Fold {
    /// Something is wrong with each: all are shown.
    Never,
    /// Something is wrong with each; those of the same reason but for its numbers are named together.
    Faulty,
    /// Those of the same reason but for its numbers.
    SameReason,
    /// All: they are sound.
    SameState,
}

/// Rows of devices that are alike; beyond one more than that the rest are counted (chosen, so that a sound site of a
/// dozen devices is read at a glance).
const ALIKE_SHOWN: usize = 5;

/// Of those that something is wrong with, so many of the rest are named (chosen: a large room's).
const NAMED: usize = 60;

/// The widest that the columns grow: a MAC address, an IPv4 address, a time. What is longer is cut, and stands whole in
/// the JSON report.
const DEVICE_MOST: usize = 17;
const LEADER_MOST: usize = 15;
const OFFSET_MOST: usize = 12;

/// Where an offset comes from, in words.
const BASES: [(&str, &str); 4] = [
    ("management", "management answers"),
    ("peer-delay", "peer-delay stamps"),
    ("downstream-sync", "Syncs sent on"),
    ("request-origin", "request stamps"),
];

/// Why a device that does not lead has no offset: none of its messages carries its time.
const NOT_TOLD: &str = "not told";

/// One line of the table.
struct Row {
    device: String,
    state: &'static str,
    leader: String,
    offset: String,
    reason: String,
    /// Lines that its reason may take.
    lines: usize,
}

pub(super) fn write(document: &Document, out: &mut Paper<'_>) -> io::Result<()> {
    if document.devices.is_empty() {
        return Ok(());
    }
    let owners: BTreeMap<&str, &DeviceDocument> = document
        .devices
        .iter()
        .flat_map(|device| device.clocks.iter().map(move |clock| (clock.as_str(), device)))
        .collect();
    let mut blocks = Vec::new();
    for (state, name, fold) in ORDER {
        let mut devices: Vec<&DeviceDocument> =
            document.devices.iter().filter(|device| device.state == state).collect();
        // The farthest off first; those that do not tell after them.
        devices.sort_by_key(|device| {
            std::cmp::Reverse(device.offset_ns.as_ref().map(|offset| offset.median.unsigned_abs()))
        });
        for alike in groups(&devices, fold) {
            let shown = match fold {
                Fold::Never => alike.len(),
                _ if alike.len() <= ALIKE_SHOWN + 1 => alike.len(),
                _ => ALIKE_SHOWN,
            };
            let rows: Vec<Row> =
                alike.iter().take(shown).map(|device| row(device, name, fold, &owners)).collect();
            let rest = alike.get(shown..).unwrap_or_default();
            blocks.push((rows, (!rest.is_empty()).then(|| rest_of(rest, name, fold))));
        }
    }
    table(&blocks, out)?;
    offsets(document, out)
}

/// Devices that are alike, in the order of the first of each kind.
fn groups<'a>(devices: &[&'a DeviceDocument], fold: Fold) -> Vec<Vec<&'a DeviceDocument>> {
    let mut order: Vec<Vec<&DeviceDocument>> = Vec::new();
    let mut places: BTreeMap<String, usize> = BTreeMap::new();
    for device in devices {
        let kind = match fold {
            Fold::Faulty | Fold::SameReason => without_numbers(&device.reasons),
            Fold::Never | Fold::SameState => String::new(),
        };
        let place = *places.entry(kind).or_insert(order.len());
        match order.get_mut(place) {
            Some(group) => group.push(device),
            None => order.push(vec![device]),
        }
    }
    order
}

/// The reasons with each word that holds a digit left out: counts, times and addresses differ from device to device.
fn without_numbers(reasons: &[String]) -> String {
    let words = reasons.iter().flat_map(|reason| reason.split(' '));
    let plain: Vec<&str> = words.filter(|word| !word.contains(|c: char| c.is_ascii_digit())).collect();
    plain.join(" ")
}

fn row(
    device: &DeviceDocument,
    state: &'static str,
    fold: Fold,
    owners: &BTreeMap<&str, &DeviceDocument>,
) -> Row {
    let leader = match &device.leader {
        None => "nobody".to_owned(),
        Some(_) if leads(device) => "itself".to_owned(),
        Some(leader) => owners.get(leader.as_str()).map_or_else(|| plain(leader), |owner| short(owner)),
    };
    Row {
        device: cut_before(&short(device), DEVICE_MOST),
        state,
        leader: cut_before(&leader, LEADER_MOST),
        offset: cut_behind(&offset_of(device), OFFSET_MOST),
        reason: format!("{}{}", name(device), plain(&device.reasons.join("; "))),
        lines: match fold {
            Fold::Never | Fold::Faulty => 3,
            Fold::SameState if device.state != StateName::Relaying => 1,
            Fold::SameReason | Fold::SameState => 2,
        },
    }
}

fn leads(device: &DeviceDocument) -> bool {
    device.leader.as_ref().is_some_and(|leader| device.clocks.contains(leader))
}

/// Its offset, or why there is none.
fn offset_of(device: &DeviceDocument) -> String {
    match &device.offset_ns {
        Some(offset) => signed(offset.median),
        None if leads(device) => "leads".to_owned(),
        None if device.leader.is_none() => "no leader".to_owned(),
        None => NOT_TOLD.to_owned(),
    }
}

/// How many more there are, and how far off they are at the most.
fn rest_of(rest: &[&DeviceDocument], state: &str, fold: Fold) -> String {
    let number = u64::try_from(rest.len()).unwrap_or(u64::MAX);
    if fold == Fold::Faulty {
        let names: Vec<String> = rest.iter().take(NAMED).map(|device| short(device)).collect();
        let more = if rest.len() > NAMED { ", ... (see --format json)" } else { "" };
        return format!("and {} more {state}: {}{more}", count(number), names.join(", "));
    }
    let offsets = rest.iter().filter_map(|device| device.offset_ns.as_ref());
    let most = offsets.map(|offset| offset.median.saturating_abs()).max();
    let most = most.map(|ns| format!(", no farther off than {}", duration_ns(ns))).unwrap_or_default();
    format!("and {} more {state}{most} (see --format json)", count(number))
}

/// Widths of all columns but the last.
struct Widths {
    /// Of the whole table.
    all: usize,
    device: usize,
    state: usize,
    leader: usize,
    offset: usize,
}

impl Widths {
    fn of<'a>(all: usize, rows: impl Iterator<Item = &'a Row>) -> Self {
        let mut widths = Self { all, device: 0, state: 0, leader: 0, offset: 0 };
        for row in rows {
            widths.device = widths.device.max(columns(&row.device));
            widths.state = widths.state.max(columns(row.state));
            widths.leader = widths.leader.max(columns(&row.leader));
            widths.offset = widths.offset.max(columns(&row.offset));
        }
        widths
    }

    fn write(&self, row: &Row, out: &mut Paper<'_>) -> io::Result<()> {
        let cells = format!(
            "{}  {}  {}  {}{}  ",
            padded(&row.device, self.device),
            padded(row.state, self.state),
            padded(&row.leader, self.leader),
            " ".repeat(self.offset.saturating_sub(columns(&row.offset))),
            row.offset,
        );
        let before = columns(&cells);
        let reason = in_lines(&row.reason, self.all.saturating_sub(before), row.lines);
        let mut parts = reason.iter();
        let first = parts.next().map_or("", String::as_str);
        writeln!(out, "{}", format!("{cells}{first}").trim_end())?;
        for part in parts {
            writeln!(out, "{:before$}{part}", "")?;
        }
        Ok(())
    }
}

fn table(blocks: &[(Vec<Row>, Option<String>)], out: &mut Paper<'_>) -> io::Result<()> {
    let head = Row {
        device: "Devices".to_owned(),
        state: "state",
        leader: "leader".to_owned(),
        offset: "offset".to_owned(),
        reason: "reason".to_owned(),
        lines: 1,
    };
    let widths = Widths::of(out.width(), blocks.iter().flat_map(|(rows, _)| rows).chain([&head]));
    writeln!(out)?;
    widths.write(&head, out)?;
    for (rows, rest) in blocks {
        for row in rows {
            widths.write(row, out)?;
        }
        if let Some(rest) = rest {
            paragraph(out, 2, "", rest)?;
        }
    }
    Ok(())
}

/// A device in few letters: its IPv4 address, else its key.
fn short(device: &DeviceDocument) -> String {
    let ipv4 = device.ips.iter().find(|ip| !ip.contains(':'));
    ipv4.cloned().unwrap_or_else(|| plain(&device.key))
}

fn signed(ns: i64) -> String {
    format!("{}{}", if ns < 0 { "-" } else { "+" }, duration_ns(ns.saturating_abs()))
}

/// What the offsets were worked out of, and what it means that there is none.
fn offsets(document: &Document, out: &mut Paper<'_>) -> io::Result<()> {
    let told: Vec<_> = document.devices.iter().filter_map(|device| device.offset_ns.as_ref()).collect();
    let mut parts: Vec<String> = Vec::new();
    for (basis, words) in BASES {
        let bound =
            told.iter().filter(|offset| offset.basis == basis).map(|offset| offset.uncertainty_ns).max();
        if let Some(bound) = bound {
            let bound = if bound > 0 { format!(" ± {}", duration_ns(bound)) } else { String::new() };
            parts.push(format!("{words}{bound}"));
        }
    }
    let mut text = Vec::new();
    if !parts.is_empty() {
        text.push(parts.join(", "));
    }
    if document.devices.iter().any(|device| offset_of(device) == NOT_TOLD) {
        text.push(format!("{NOT_TOLD}: not on the wire"));
    }
    if text.is_empty() { Ok(()) } else { paragraph(out, 2, "offset: ", &text.join("; ")) }
}

/// What a device calls itself, before what is said of it.
fn name(device: &DeviceDocument) -> String {
    device.name.as_deref().map(|name| format!("\"{}\" ", plain_short(name))).unwrap_or_default()
}
