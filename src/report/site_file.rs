//! A first site file from a capture: what was seen, as expectations for the user to edit.

use std::collections::BTreeMap;
use std::collections::BTreeSet;
use std::io;
use std::io::Write;

use super::document::DeviceDocument;
use super::document::Document;
use super::document::DomainDocument;
use super::document::StateName;
use super::document::VerdictName;
use super::format::address_digits;

/// Writes the file. What the capture does not show stands there as a comment.
///
/// # Errors
/// Where `out` cannot be written.
pub fn write(document: &Document, out: &mut impl Write) -> io::Result<()> {
    let files: Vec<String> = document.captures.iter().map(|capture| comment(&capture.file)).collect();
    writeln!(out, "# What downbeat saw in {}.", files.join(", "))?;
    writeln!(out, "# Read it, name the devices, and take out what is not meant to stay so.")?;
    writeln!(out, "# Then `downbeat check --site THIS-FILE CAPTURE` says what differs.")?;
    if document.verdict != VerdictName::Sound {
        writeln!(out, "# This capture is no good day: what is written down from it needs a second look.")?;
        writeln!(out, "# {}.", comment(&document.verdict_because))?;
    }
    writeln!(out)?;
    writeln!(out, "[site]\n# name = \"Harbour Playhouse\"\n")?;
    clock(document, out)?;
    writeln!(
        out,
        "[link]\n# speed = \"1G\"\n# keep_free = 0.25              # the part of the link that must stay free"
    )?;
    let site = keys_meant(document);
    let mut names: BTreeMap<&str, usize> = BTreeMap::new();
    for device in &document.devices {
        *names.entry(name(device)).or_default() += 1;
    }
    let mut taken = BTreeSet::new();
    for device in &document.devices {
        let is_of_the_site = device.domains.iter().any(|domain| site.contains(domain.as_str()));
        let is_own = names.get(name(device)).is_none_or(|times| *times == 1);
        let mut entry = Vec::new();
        let is_first = taken.insert(address(&device.key, &device.macs, &device.clocks));
        self::device(device, is_own, is_of_the_site, &mut entry)?;
        if is_first {
            out.write_all(&entry)?;
            continue;
        }
        // A site file names nobody twice.
        writeln!(out, "\n# The next one has the address of one above: say which of the two is meant.")?;
        for line in String::from_utf8_lossy(&entry).trim_start().lines() {
            writeln!(out, "# {line}")?;
        }
    }
    writeln!(out, "\n# Streams that are to be added, for `downbeat fit`:")?;
    writeln!(out, "# [[planned]]\n# name = \"balcony cameras\"\n# count = 2")?;
    writeln!(out, "# rate = \"700M\"                  # what each takes on the wire")?;
    writeln!(out, "# direction = \"in\"               # in or out of this link")
}

fn clock(document: &Document, out: &mut impl Write) -> io::Result<()> {
    writeln!(out, "[clock]")?;
    let own = document.domains.iter().filter(|domain| document.site_domain.keys.contains(&domain.key));
    // Of several VLANs the one that is led; the number is the same.
    let domain = own.max_by_key(|domain| domain.leader.is_some());
    let Some(domain) = domain else {
        writeln!(out, "# domain = 0                    # no PTP was seen")?;
        return writeln!(out);
    };
    match &domain.domain {
        serde_json::Value::String(name) => writeln!(out, "domain = {}", quoted(name))?,
        number => writeln!(out, "domain = {number}")?,
    }
    writeln!(out, "version = {}", if domain.ptp_version == "1" { "1" } else { "2" })?;
    match domain.profiles.iter().find(|profile| profile.fits) {
        Some(profile) => writeln!(out, "profile = {}", quoted(profile.name))?,
        None => writeln!(out, "# profile = \"aes67\"             # none fits what was seen")?,
    }
    match &domain.leader {
        Some(leader) => writeln!(out, "leader = {}", quoted(leader))?,
        None => writeln!(out, "# leader =                      # nobody leads at the end of the capture")?,
    }
    next(domain, out)?;
    writeln!(out, "# max_offset = \"1us\"             # what counts as adrift\n")
}

fn next(domain: &DomainDocument, out: &mut impl Write) -> io::Result<()> {
    if domain.succession.is_empty() {
        return writeln!(out, "# next = []                     # no other clock was heard that could lead");
    }
    let next: Vec<String> = domain.succession.iter().map(|clock| quoted(clock)).collect();
    writeln!(out, "next = [{}]", next.join(", "))
}

/// Domains that the name in the file means: on whatever VLAN.
fn keys_meant(document: &Document) -> BTreeSet<&str> {
    let own = document.domains.iter().filter(|domain| document.site_domain.keys.contains(&domain.key));
    let own: Vec<&DomainDocument> = own.collect();
    let is_meant = |domain: &&DomainDocument| own.iter().any(|own| own.domain == domain.domain);
    document.domains.iter().filter(is_meant).map(|domain| domain.key.as_str()).collect()
}

/// What a device is called until the user names it.
fn name(device: &DeviceDocument) -> &str {
    device.name.as_deref().or(device.ips.first().map(String::as_str)).unwrap_or(&device.key)
}

/// What a device is told apart by in a site file: the digits of a MAC address, also where a clock is made of one.
fn address(key: &str, macs: &[String], clocks: &[String]) -> String {
    let by = macs.iter().find(|mac| *mac == key).or_else(|| clocks.first()).map_or(key, String::as_str);
    let digits = address_digits(by).unwrap_or_else(|| by.to_owned());
    // An EUI-64 made of a MAC address has ff-fe, or ff-ff, in its middle (IEEE 1588-2008 7.5.2.2.2, from memory).
    match (digits.get(..6), digits.get(6..10), digits.get(10..16)) {
        (Some(maker), Some("fffe" | "ffff"), Some(rest)) if digits.len() == 16 => format!("{maker}{rest}"),
        _ => digits,
    }
}

/// An entry; what shares its name with others is told apart by its key.
fn device(
    device: &DeviceDocument,
    name_is_own: bool,
    is_of_the_site: bool,
    out: &mut impl Write,
) -> io::Result<()> {
    let state = match device.state {
        StateName::Leading => "leading",
        StateName::Relaying => "relaying",
        StateName::Following => "following",
        StateName::StandingBy => "standing by",
        StateName::Rival => "rival",
        StateName::Unanswered => "unanswered",
        StateName::Astray => "astray",
        StateName::Adrift => "adrift",
        StateName::Unclocked => "sending media without PTP",
        StateName::Unproven => "unproven",
    };
    let on_clock = is_of_the_site
        && matches!(device.state, StateName::Leading | StateName::Relaying | StateName::Following);
    let ips: Vec<String> = device.ips.iter().map(|ip| comment(ip)).collect();
    let at = if ips.is_empty() { String::new() } else { format!(", {}", ips.join(", ")) };
    writeln!(out, "\n[[device]]                      # seen {state}{at}")?;
    let called = name(device);
    let called = if name_is_own { called.to_owned() } else { format!("{called} ({})", device.key) };
    writeln!(out, "name = {}", quoted(&called))?;
    // The key is a MAC address where one is known to be the device's alone, else its clock.
    match device.macs.iter().find(|mac| **mac == device.key) {
        Some(mac) => writeln!(out, "mac = {}", quoted(mac))?,
        None => match device.clocks.first() {
            Some(clock) => writeln!(out, "clock = {}", quoted(clock))?,
            None => writeln!(out, "mac = {}", quoted(&device.key))?,
        },
    }
    writeln!(out, "needs_clock = {on_clock}")
}

/// A TOML basic string (TOML 1.0, section String).
fn quoted(text: &str) -> String {
    let mut quoted = String::from("\"");
    for c in text.chars() {
        match c {
            '"' => quoted.push_str("\\\""),
            '\\' => quoted.push_str("\\\\"),
            c if hides(c) => quoted.push_str(&format!("\\U{:08X}", u32::from(c))),
            c => quoted.push(c),
        }
    }
    quoted.push('"');
    quoted
}

/// Text for a comment: it must not end it.
fn comment(text: &str) -> String {
    super::format::plain(text)
}

/// Characters that do not show, or that turn the direction of writing.
fn hides(c: char) -> bool {
    super::format::plain(c.encode_utf8(&mut [0; 4])).len() > c.len_utf8()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_clock_and_the_mac_address_that_it_is_made_of_are_one_address() {
        let one = |text: &str| vec![text.to_owned()];
        let by_mac = address("02:00:5e:10:00:0A", &one("02:00:5e:10:00:0A"), &[]);
        let by_clock = address("x", &[], &one("02-00-5e-ff-fe-10-00-0a"));
        assert_eq!((by_mac.as_str(), by_clock.as_str()), ("02005e10000a", "02005e10000a"));
        assert_ne!(by_mac, address("x", &[], &one("02-00-5e-10-00-0a-00-01")));
    }

    #[test]
    fn a_name_cannot_leave_its_quotes() {
        assert_eq!(quoted("a\"b\\c\nd\u{202e}"), "\"a\\\"b\\\\c\\U0000000Ad\\U0000202E\"");
        assert_eq!(quoted("Bühne links"), "\"Bühne links\"");
    }
}
