//! The link types that are not Ethernet: raw IP, BSD loopback, Linux cooked capture.
//!
//! Layouts: the link-layer header types list of the tcpdump project (from memory).

use super::Frame;
use super::Inner;
use super::stop::{Layer, Stop, StopReason};
use crate::bytes::Cursor;
use crate::bytes::DecodeError;
use crate::capture::LinkType;
use crate::units::MacAddress;

/// Raw IP as some systems number it in the file.
const RAW_BSD: LinkType = LinkType(12);
/// Raw IP as OpenBSD numbers it.
const RAW_OPENBSD: LinkType = LinkType(14);

/// Protocol numbers below every Ethertype that stand for LLC in a cooked header (802.2 and "802.3 only").
const COOKED_LLC: [u16; 2] = [0x0001, 0x0004];

/// Says with what a record of this link type begins.
pub(super) fn start<'a>(frame: &mut Frame<'a>, link: LinkType, octets: &'a [u8]) -> Option<Inner<'a>> {
    frame.payload = octets;
    match link {
        LinkType::ETHERNET => Some(Inner::Ethernet(octets)),
        LinkType::RAW | RAW_BSD | RAW_OPENBSD | LinkType::IPV4 | LinkType::IPV6 => Some(Inner::Ip(octets)),
        LinkType::NULL | LinkType::LOOP => loopback(frame, octets),
        LinkType::LINUX_SLL => cooked(frame, octets, read_cooked),
        LinkType::LINUX_SLL2 => cooked(frame, octets, read_cooked_2),
        LinkType(number) => {
            frame.note(Stop { layer: Layer::Link, reason: StopReason::LinkType(number) });
            None
        }
    }
}

/// Four octets of address family. Both orders are tried for both types: the family is a small number, so
/// only one order makes sense, and files with the type of the other are about.
fn loopback<'a>(frame: &mut Frame<'a>, octets: &'a [u8]) -> Option<Inner<'a>> {
    let Some((family, rest)) = octets.split_first_chunk::<4>() else {
        frame.note(Stop::cut(Layer::Link, 4, octets.len()));
        return None;
    };
    let number = u32::from_le_bytes(*family).min(u32::from_be_bytes(*family));
    match number {
        // AF_INET is 2 everywhere.
        2 => Some(Inner::Ipv4(rest)),
        // AF_INET6: Linux 10, Windows 23, NetBSD and OpenBSD 24, FreeBSD 28, Darwin 30.
        10 | 23 | 24 | 28 | 30 => Some(Inner::Ipv6(rest)),
        // Another family, such as AppleTalk, is no fault of the frame.
        _ => {
            frame.payload = rest;
            None
        }
    }
}

/// What the two versions of the cooked header have in common.
struct Cooked<'a> {
    protocol: u16,
    address_length: u16,
    address: [u8; 8],
    rest: &'a [u8],
}

/// Version 1: packet type, hardware type, address length, address, protocol; 16 octets.
fn read_cooked(octets: &[u8]) -> Result<Cooked<'_>, DecodeError> {
    let mut cursor = Cursor::new(octets);
    cursor.skip("packet type and hardware type", 4)?;
    let address_length = cursor.u16("address length")?;
    let address = cursor.take::<8>("address")?;
    let protocol = cursor.u16("protocol type")?;
    Ok(Cooked { protocol, address_length, address, rest: cursor.rest() })
}

/// Version 2: protocol, reserved, interface, hardware type, packet type, address length, address; 20 octets.
fn read_cooked_2(octets: &[u8]) -> Result<Cooked<'_>, DecodeError> {
    let mut cursor = Cursor::new(octets);
    let protocol = cursor.u16("protocol type")?;
    cursor.skip("interface, hardware type and packet type", 9)?;
    let address_length = u16::from(cursor.u8("address length")?);
    let address = cursor.take::<8>("address")?;
    Ok(Cooked { protocol, address_length, address, rest: cursor.rest() })
}

fn cooked<'a>(
    frame: &mut Frame<'a>,
    octets: &'a [u8],
    read: impl FnOnce(&'a [u8]) -> Result<Cooked<'a>, DecodeError>,
) -> Option<Inner<'a>> {
    match read(octets) {
        Ok(Cooked { protocol, address_length, address: [a, b, c, d, e, f, _, _], rest }) => {
            frame.payload = rest;
            if address_length == 6 {
                frame.source_mac = Some(MacAddress([a, b, c, d, e, f]));
            }
            Some(if COOKED_LLC.contains(&protocol) { Inner::Llc(rest) } else { Inner::Typed(protocol, rest) })
        }
        Err(error) => {
            frame.note(Stop::from_error(Layer::LinuxCooked, &error));
            None
        }
    }
}
