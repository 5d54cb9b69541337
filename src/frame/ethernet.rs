//! IEEE 802.3 frames: addresses, tags, and what type or length says of the rest.

use super::Frame;
use super::Inner;
use super::stop::{Layer, Stop};
use super::vlan::VlanTag;
use crate::units::MacAddress;

/// Ethertype of IPv4 (IANA IEEE 802 numbers).
pub(super) const IPV4: u16 = 0x0800;
/// Ethertype of IPv6 (IANA IEEE 802 numbers).
pub(super) const IPV6: u16 = 0x86DD;
/// Customer tag (IEEE 802.1Q 9.5, from memory).
pub(super) const C_TAG: u16 = 0x8100;
/// Service tag (IEEE 802.1Q 9.5, from memory).
const S_TAG: u16 = 0x88A8;
/// Stacked tag before 802.1ad (common practice, no source).
const OLD_S_TAG: u16 = 0x9100;

/// Largest length; 1501 to 1535 are neither length nor type (IEEE 802.3 3.2.6, from memory).
const LARGEST_LENGTH: u16 = 1500;
const SMALLEST_TYPE: u16 = 1536;

/// Reads the addresses and goes on with the type or length.
pub(super) fn ethernet<'a>(frame: &mut Frame<'a>, octets: &'a [u8]) -> Option<Inner<'a>> {
    let Some((header, rest)) = octets.split_first_chunk::<14>() else {
        frame.payload = octets;
        frame.note(Stop::cut(Layer::Ethernet, 14, octets.len()));
        return None;
    };
    let [d0, d1, d2, d3, d4, d5, s0, s1, s2, s3, s4, s5, t0, t1] = *header;
    frame.destination_mac = Some(MacAddress([d0, d1, d2, d3, d4, d5]));
    frame.source_mac = Some(MacAddress([s0, s1, s2, s3, s4, s5]));
    Some(Inner::Typed(u16::from_be_bytes([t0, t1]), rest))
}

/// Takes off the tags and goes on with what the innermost type or length says.
pub(super) fn typed<'a>(frame: &mut Frame<'a>, first_type: u16, octets: &'a [u8]) -> Option<Inner<'a>> {
    let mut ethertype = first_type;
    let mut rest = octets;
    while matches!(ethertype, C_TAG | S_TAG | OLD_S_TAG) {
        let Some(([a, b, c, d], after)) = rest.split_first_chunk::<4>() else {
            frame.payload = rest;
            frame.note(Stop::cut(Layer::Vlan, 4, rest.len()));
            return None;
        };
        frame.vlans.push(VlanTag::from_tci(ethertype, u16::from_be_bytes([*a, *b])));
        ethertype = u16::from_be_bytes([*c, *d]);
        rest = after;
    }
    frame.payload = rest;
    frame.fingerprint_octets = rest;
    if ethertype <= LARGEST_LENGTH {
        return with_length(frame, usize::from(ethertype), rest);
    }
    if ethertype < SMALLEST_TYPE {
        let rule = "up to 1500 is a length, from 1536 on a type";
        frame.note(Stop::value(Layer::Ethernet, "length/type", u64::from(ethertype), rule));
        return None;
    }
    by_ethertype(frame, ethertype, rest)
}

/// Reads LLC; a SNAP header that holds an Ethertype (RFC 1042) is gone through, other LLC is payload.
pub(super) fn llc<'a>(frame: &mut Frame<'a>, octets: &'a [u8]) -> Option<Inner<'a>> {
    frame.payload = octets;
    frame.fingerprint_octets = octets;
    let Some((header, rest)) = octets.split_first_chunk::<8>() else {
        // Three octets of LLC are a whole frame, but a SNAP header that begins must also end.
        if octets.starts_with(&[0xAA, 0xAA, 0x03]) || octets.len() < 3 {
            frame.note(Stop::cut(Layer::Llc, 8, octets.len()));
        }
        return None;
    };
    let [0xAA, 0xAA, 0x03, 0, 0, 0, t0, t1] = *header else { return None };
    frame.payload = rest;
    by_ethertype(frame, u16::from_be_bytes([t0, t1]), rest)
}

fn with_length<'a>(frame: &mut Frame<'a>, length: usize, rest: &'a [u8]) -> Option<Inner<'a>> {
    let Some(inside) = rest.get(..length) else {
        frame.note(Stop::cut(Layer::Llc, length, rest.len()));
        return llc(frame, rest);
    };
    llc(frame, inside)
}

fn by_ethertype<'a>(frame: &mut Frame<'a>, ethertype: u16, rest: &'a [u8]) -> Option<Inner<'a>> {
    frame.ethertype = Some(ethertype);
    match ethertype {
        IPV4 => Some(Inner::Ipv4(rest)),
        IPV6 => Some(Inner::Ipv6(rest)),
        _ => None,
    }
}
