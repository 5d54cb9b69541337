//! From the text to expectations.

use std::net::IpAddr;

use toml::de::DeTable;
use toml::de::DeValue;

use super::expectations::ClockExpectations;
use super::expectations::Direction;
use super::expectations::LinkExpectations;
use super::expectations::ListedDevice;
use super::expectations::PlannedLoad;
use super::expectations::PtpVersion;
use super::expectations::Site;
use super::expectations::WantedDomain;
use super::problem::Problem;
use super::section::Section;
use super::section::Text;
use super::value;
use crate::domains::ClockId;
use crate::profiles;
use crate::profiles::Profile;
use crate::units::BitsPerSecond;
use crate::units::MacAddress;
use crate::units::Nanos;

/// Reads a site file.
///
/// # Errors
/// All that is wrong with it, by line.
pub fn parse(text: &str) -> Result<Site, Vec<Problem>> {
    let mut told = Text::new(text);
    let root = match DeTable::parse(text) {
        Ok(root) => root,
        Err(error) => {
            let at = error.span().unwrap_or(0..0);
            // The key that is there twice is what the message leaves out.
            let key = text.get(at.clone()).filter(|_| error.message().contains("duplicate key"));
            told.wrong(&at, key.map(|key| key.trim().to_owned()), error.message().to_owned());
            return Err(told.problems);
        }
    };
    let file = Section { name: String::new(), table: root.get_ref(), span: root.span() };
    let site = site(&file, &mut told);
    if told.problems.is_empty() {
        Ok(site)
    } else {
        told.problems.sort();
        Err(told.problems)
    }
}

fn site(file: &Section<'_, '_>, told: &mut Text<'_>) -> Site {
    file.only(&["site", "clock", "link", "device", "planned"], told);
    let name = file.section("site", told).and_then(|section| {
        section.only(&["name"], told);
        section.take("name", string, told)
    });
    let clock = file.section("clock", told).map(|section| clock(&section, told)).unwrap_or_default();
    let link = file.section("link", told).map(|section| link(&section, told)).unwrap_or_default();
    let mut devices: Vec<ListedDevice> = Vec::new();
    for section in file.sections("device", told) {
        let Some(device) = device(&section, told) else { continue };
        match devices.iter().find_map(|other| Some((other, shared(other, &device)?))) {
            Some((other, what)) => {
                let text = format!("line {} lists a device of the same {what} already", other.line);
                told.wrong(&section.span, Some("device".to_owned()), text);
            }
            None => devices.push(device),
        }
    }
    let planned =
        file.sections("planned", told).iter().filter_map(|section| planned(section, told)).collect();
    Site { name, clock, link, devices, planned }
}

fn clock(section: &Section<'_, '_>, told: &mut Text<'_>) -> ClockExpectations {
    section.only(&["domain", "version", "profile", "leader", "next", "max_offset"], told);
    let clock = ClockExpectations {
        domain: section.take("domain", domain, told),
        version: section.take("version", version, told),
        profile: section.take("profile", profile, told),
        leader: section.take("leader", clock_id, told),
        next: section.take_list("next", clock_id, told),
        max_offset: section.take("max_offset", duration, told),
    };
    let v1 = clock.version.map(PtpVersion::is_v1);
    let named_v1 = clock.domain.map(|domain| matches!(domain, WantedDomain::Subdomain(_)));
    if let (Some(v1), Some(named_v1), Some(at)) = (v1, named_v1, section.value("domain"))
        && v1 != named_v1
    {
        let text = "version 1 names its domains, such as \"_DFLT\"; version 2 numbers them from 0 to 255";
        told.wrong(&at.span(), Some("clock.domain".to_owned()), text.to_owned());
    }
    clock
}

fn link(section: &Section<'_, '_>, told: &mut Text<'_>) -> LinkExpectations {
    section.only(&["speed", "keep_free"], told);
    LinkExpectations {
        speed: section.take("speed", rate, told),
        keep_free_millionths: section.take("keep_free", part, told),
    }
}

fn device(section: &Section<'_, '_>, told: &mut Text<'_>) -> Option<ListedDevice> {
    section.only(&["name", "mac", "ip", "clock", "needs_clock"], told);
    let name = section.need("name", string, told);
    let mac = section.take("mac", mac, told);
    let ip = section.take("ip", ip, told);
    let clock = section.take("clock", clock_id, told);
    let needs_clock = section.take("needs_clock", boolean, told).unwrap_or(false);
    if ["mac", "ip", "clock"].iter().all(|key| section.value(key).is_none()) {
        let text = "give at least one of mac, ip and clock";
        told.wrong(&section.span, Some("device".to_owned()), text.to_owned());
    }
    Some(ListedDevice { name: name?, mac, ip, clock, needs_clock, line: told.line(section.span.start) })
}

/// What makes two entries one device, or leaves them one name.
fn shared(one: &ListedDevice, other: &ListedDevice) -> Option<&'static str> {
    let is_own_mac = |one: &ListedDevice, other: &ListedDevice| {
        one.mac.is_some() && other.mac.is_none() && one.mac == other.known_mac()
    };
    if one.clock.is_some() && one.clock == other.clock {
        Some("clock")
    } else if (one.mac.is_some() && one.mac == other.mac) || is_own_mac(one, other) || is_own_mac(other, one)
    {
        Some("MAC address")
    } else if one.ip.is_some() && one.ip == other.ip {
        Some("IP address")
    } else if one.name == other.name {
        Some("name")
    } else {
        None
    }
}

fn planned(section: &Section<'_, '_>, told: &mut Text<'_>) -> Option<PlannedLoad> {
    section.only(&["name", "count", "rate", "direction"], told);
    let name = section.need("name", string, told);
    let count = section.take("count", count, told);
    let rate = section.need("rate", rate, told);
    let direction = section.take("direction", direction, told);
    Some(PlannedLoad { name: name?, count: count.unwrap_or(1), rate: rate?, direction })
}

fn text<'v>(value: &'v DeValue<'_>) -> Result<&'v str, String> {
    value.as_str().ok_or_else(|| format!("give text in quotes, not {}", kind(value)))
}

/// What a value is, in words.
const fn kind(value: &DeValue<'_>) -> &'static str {
    match value {
        DeValue::String(_) => "text",
        DeValue::Integer(_) => "a whole number",
        DeValue::Float(_) => "a number with decimals",
        DeValue::Boolean(_) => "true or false",
        DeValue::Datetime(_) => "a date",
        DeValue::Array(_) => "a list",
        DeValue::Table(_) => "a table",
    }
}

fn number(value: &DeValue<'_>) -> Option<u64> {
    let integer = value.as_integer()?;
    u64::from_str_radix(integer.as_str(), integer.radix()).ok()
}

fn string(value: &DeValue<'_>) -> Result<String, String> {
    let text = text(value)?.trim();
    if text.is_empty() { Err("this text is empty".to_owned()) } else { Ok(text.to_owned()) }
}

fn boolean(value: &DeValue<'_>) -> Result<bool, String> {
    value.as_bool().ok_or_else(|| format!("give true or false, not {}", kind(value)))
}

fn count(value: &DeValue<'_>) -> Result<u32, String> {
    let count = number(value).and_then(|count| u32::try_from(count).ok()).filter(|count| *count > 0);
    count.ok_or_else(|| "give a whole number from 1".to_owned())
}

fn domain(value: &DeValue<'_>) -> Result<WantedDomain, String> {
    if let Some(name) = value.as_str() {
        if !name.is_empty() && name.bytes().all(|letter| letter.is_ascii_digit()) {
            return Err(format!("write the number of a domain without quotes: domain = {name}"));
        }
        let mut octets = [0; 16];
        let fits = name.len() <= octets.len() && !name.is_empty() && name.is_ascii();
        octets.iter_mut().zip(name.bytes()).for_each(|(octet, letter)| *octet = letter);
        return if fits {
            Ok(WantedDomain::Subdomain(octets))
        } else {
            Err("give the name of a v1 subdomain, 1 to 16 letters, such as \"_DFLT\"".to_owned())
        };
    }
    let number = number(value).and_then(|number| u8::try_from(number).ok());
    number.map(WantedDomain::Number).ok_or_else(|| "give a domain number from 0 to 255".to_owned())
}

fn version(value: &DeValue<'_>) -> Result<PtpVersion, String> {
    let text = match value {
        DeValue::String(text) => text.as_ref(),
        DeValue::Integer(number) => number.as_str(),
        DeValue::Float(number) => number.as_str(),
        _ => "",
    };
    match text {
        "1" => Ok(PtpVersion::One),
        "2" => Ok(PtpVersion::Two),
        "2.0" => Ok(PtpVersion::TwoDot(0)),
        "2.1" => Ok(PtpVersion::TwoDot(1)),
        _ => Err("give 1, 2, 2.0 or 2.1".to_owned()),
    }
}

fn profile(value: &DeValue<'_>) -> Result<&'static Profile, String> {
    let name = text(value)?;
    profiles::expected(name).ok_or_else(|| {
        format!(
            "no profile is called that; the nearest known one is {} (docs/profiles.md lists them)",
            profiles::nearest(name)
        )
    })
}

fn direction(value: &DeValue<'_>) -> Result<Direction, String> {
    match text(value)? {
        "in" => Ok(Direction::In),
        "out" => Ok(Direction::Out),
        _ => Err("give \"in\" or \"out\"".to_owned()),
    }
}

fn ip(value: &DeValue<'_>) -> Result<IpAddr, String> {
    let ip: IpAddr =
        text(value)?.trim().parse().map_err(|_| "give an IP address, such as 10.77.0.21".to_owned())?;
    if ip.is_multicast() { Err("this IP address is a group's, not a device's".to_owned()) } else { Ok(ip) }
}

fn mac(value: &DeValue<'_>) -> Result<MacAddress, String> {
    value::mac(text(value)?)
}

fn clock_id(value: &DeValue<'_>) -> Result<ClockId, String> {
    value::clock(text(value)?)
}

fn duration(value: &DeValue<'_>) -> Result<Nanos, String> {
    value::duration(text(value)?)
}

fn rate(value: &DeValue<'_>) -> Result<BitsPerSecond, String> {
    match value {
        DeValue::Integer(_) => value::rate(&number(value).map(|bits| bits.to_string()).unwrap_or_default()),
        _ => value::rate(text(value)?),
    }
}

fn part(value: &DeValue<'_>) -> Result<u32, String> {
    match value {
        DeValue::Float(number) => value::millionths(number.as_str()),
        DeValue::Integer(number) => value::millionths(number.as_str()),
        _ => Err(format!("give a part of the whole, such as 0.25, not {}", kind(value))),
    }
}
