//! IPv4, IPv6 with its extension headers, and UDP.
//!
//! etherparse reads the single headers; the walk is our own, because a later fragment must not be taken for
//! what its protocol number says, and a length that cannot be true is told and not only passed over.

use std::net::IpAddr;

use etherparse::IpAuthHeaderSlice;
use etherparse::IpNumber;
use etherparse::Ipv4HeaderSlice;
use etherparse::Ipv6FragmentHeaderSlice;
use etherparse::Ipv6HeaderSlice;
use etherparse::Ipv6RawExtHeaderSlice;
use etherparse::UdpHeaderSlice;
use etherparse::err::ip_auth::HeaderSliceError as AuthError;
use etherparse::err::ipv4::HeaderSliceError as Ipv4Error;
use etherparse::err::ipv6::HeaderSliceError as Ipv6Error;
use etherparse::ip_number;

use super::Frame;
use super::Inner;
use super::network::{Fragment, Network, Udp};
use super::stop::{Layer, Stop};
use super::tunnel;

/// Most extension headers that are gone through (chosen: RFC 8200 section 4.1 lists seven, each once).
const MOST_EXTENSIONS: usize = 8;

/// Reads IP of the version its first nibble says.
pub(super) fn ip<'a>(frame: &mut Frame<'a>, octets: &'a [u8]) -> Option<Inner<'a>> {
    match octets.first().map(|first| first >> 4) {
        Some(6) => ipv6(frame, octets),
        _ => ipv4(frame, octets),
    }
}

/// Reads an IPv4 header (RFC 791 section 3.1) and what follows.
pub(super) fn ipv4<'a>(frame: &mut Frame<'a>, octets: &'a [u8]) -> Option<Inner<'a>> {
    frame.payload = octets;
    frame.fingerprint_octets = octets;
    let header = match Ipv4HeaderSlice::from_slice(octets) {
        Ok(header) => header,
        Err(Ipv4Error::Len(error)) => {
            frame.note(Stop::cut(Layer::Ipv4, error.required_len, error.len));
            return None;
        }
        Err(Ipv4Error::Content(_)) => {
            let first = octets.first().copied().unwrap_or_default();
            let rule = "version 4 and 5 or more words of header are wanted";
            frame.note(Stop::value(Layer::Ipv4, "version and IHL", u64::from(first), rule));
            return None;
        }
    };
    let header_octets = header.slice().len();
    let total = usize::from(header.total_len());
    // 0 is left by segmentation offload on the capturing machine: the length is then what is there.
    let packet = if total == 0 {
        octets
    } else if total < header_octets {
        frame.note(Stop::length(Layer::Ipv4, "total length", u64::from(header.total_len())));
        octets
    } else {
        within(frame, Layer::Ipv4, octets, total)
    };
    let fragment = fragment(header.fragments_offset().value(), header.more_fragments());
    frame.fingerprint_octets = packet;
    frame.network = Some(Network {
        source: IpAddr::V4(header.source_addr()),
        destination: IpAddr::V4(header.destination_addr()),
        ttl: header.ttl(),
        dscp: header.dcp().value(),
        ecn: header.ecn().value(),
        fragment,
        protocol: header.protocol().0,
    });
    let rest = packet.get(header_octets..).unwrap_or_default();
    frame.payload = rest;
    if fragment == Fragment::Later {
        return None;
    }
    // Of the extension headers only the authentication header exists in IPv4.
    if header.protocol() == ip_number::AUTH {
        return extensions(frame, ip_number::AUTH, rest);
    }
    upper(frame, header.protocol(), rest)
}

/// Reads an IPv6 header (RFC 8200 section 3), its extension headers (section 4) and what follows.
pub(super) fn ipv6<'a>(frame: &mut Frame<'a>, octets: &'a [u8]) -> Option<Inner<'a>> {
    frame.payload = octets;
    frame.fingerprint_octets = octets;
    let header = match Ipv6HeaderSlice::from_slice(octets) {
        Ok(header) => header,
        Err(Ipv6Error::Len(error)) => {
            frame.note(Stop::cut(Layer::Ipv6, error.required_len, error.len));
            return None;
        }
        Err(Ipv6Error::Content(_)) => {
            let version = octets.first().copied().unwrap_or_default() >> 4;
            frame.note(Stop::value(Layer::Ipv6, "version", u64::from(version), "6 is wanted"));
            return None;
        }
    };
    let header_octets = header.slice().len();
    // 0 stands for a jumbo payload (RFC 2675) or offload: the length is then what is there.
    let packet = match usize::from(header.payload_length()) {
        0 => octets,
        length => within(frame, Layer::Ipv6, octets, header_octets.saturating_add(length)),
    };
    frame.fingerprint_octets = packet;
    frame.network = Some(Network {
        source: IpAddr::V6(header.source_addr()),
        destination: IpAddr::V6(header.destination_addr()),
        ttl: header.hop_limit(),
        dscp: header.dscp().value(),
        ecn: header.ecn().value(),
        fragment: Fragment::None,
        protocol: header.next_header().0,
    });
    let rest = packet.get(header_octets..).unwrap_or_default();
    frame.payload = rest;
    extensions(frame, header.next_header(), rest)
}

/// The first `length` of `octets`, or all of them with a note that they are cut.
fn within<'a>(frame: &mut Frame<'a>, layer: Layer, octets: &'a [u8], length: usize) -> &'a [u8] {
    octets.get(..length).unwrap_or_else(|| {
        frame.note(Stop::cut(layer, length, octets.len()));
        octets
    })
}

const fn fragment(offset: u16, more: bool) -> Fragment {
    match (offset, more) {
        (0, false) => Fragment::None,
        (0, true) => Fragment::First,
        _ => Fragment::Later,
    }
}

fn extensions<'a>(frame: &mut Frame<'a>, first: IpNumber, octets: &'a [u8]) -> Option<Inner<'a>> {
    let mut next = first;
    let mut rest = octets;
    for _ in 0..MOST_EXTENSIONS {
        let (following, taken) = match next {
            ip_number::IPV6_HOP_BY_HOP | ip_number::IPV6_ROUTE | ip_number::IPV6_DEST_OPTIONS => {
                match Ipv6RawExtHeaderSlice::from_slice(rest) {
                    Ok(header) => (header.next_header(), header.slice().len()),
                    Err(error) => {
                        frame.note(Stop::cut(Layer::Ipv6Extension, error.required_len, error.len));
                        return None;
                    }
                }
            }
            ip_number::IPV6_FRAG => match Ipv6FragmentHeaderSlice::from_slice(rest) {
                Ok(header) => {
                    let part = fragment(header.fragment_offset().value(), header.more_fragments());
                    if let Some(network) = &mut frame.network {
                        network.fragment = part;
                    }
                    (header.next_header(), header.slice().len())
                }
                Err(error) => {
                    frame.note(Stop::cut(Layer::Ipv6Extension, error.required_len, error.len));
                    return None;
                }
            },
            ip_number::AUTH => match IpAuthHeaderSlice::from_slice(rest) {
                Ok(header) => (header.next_header(), header.slice().len()),
                Err(AuthError::Len(error)) => {
                    frame.note(Stop::cut(Layer::Authentication, error.required_len, error.len));
                    return None;
                }
                Err(AuthError::Content(_)) => {
                    frame.note(Stop::length(Layer::Authentication, "payload length", 0));
                    return None;
                }
            },
            other => return upper(frame, other, rest),
        };
        next = following;
        rest = rest.get(taken..).unwrap_or_default();
        frame.payload = rest;
        if let Some(network) = &mut frame.network {
            network.protocol = following.0;
            if network.fragment == Fragment::Later {
                return None;
            }
        }
    }
    match next {
        ip_number::IPV6_HOP_BY_HOP
        | ip_number::IPV6_ROUTE
        | ip_number::IPV6_DEST_OPTIONS
        | ip_number::IPV6_FRAG
        | ip_number::AUTH => {
            let rule = "more extension headers than are gone through";
            frame.note(Stop::value(Layer::Ipv6Extension, "next header", u64::from(next.0), rule));
            None
        }
        other => upper(frame, other, rest),
    }
}

fn upper<'a>(frame: &mut Frame<'a>, protocol: IpNumber, octets: &'a [u8]) -> Option<Inner<'a>> {
    match protocol {
        ip_number::UDP => udp(frame, octets),
        ip_number::GRE => tunnel::gre(frame, octets),
        _ => None,
    }
}

fn udp<'a>(frame: &mut Frame<'a>, octets: &'a [u8]) -> Option<Inner<'a>> {
    let header = match UdpHeaderSlice::from_slice(octets) {
        Ok(header) => header,
        Err(error) => {
            frame.note(Stop::cut(Layer::Udp, error.required_len, error.len));
            return None;
        }
    };
    let header_octets = header.slice().len();
    let length = usize::from(header.length());
    let is_part = frame.network.is_some_and(|network| network.fragment == Fragment::First);
    let datagram = if length == 0 || (is_part && length > octets.len()) {
        // 0 is a jumbogram (RFC 2675 section 4) or offload; a first fragment ends before its datagram does.
        octets
    } else if length < header_octets {
        frame.note(Stop::length(Layer::Udp, "length", u64::from(header.length())));
        octets
    } else {
        within(frame, Layer::Udp, octets, length)
    };
    frame.udp = Some(Udp {
        source_port: header.source_port(),
        destination_port: header.destination_port(),
        length: header.length(),
        checksum: header.checksum(),
    });
    frame.payload = datagram.get(header_octets..).unwrap_or_default();
    if header.destination_port() == tunnel::VXLAN_PORT {
        return tunnel::vxlan(frame, frame.payload);
    }
    None
}
