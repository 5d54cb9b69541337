//! Encapsulations that mirrors and overlays put around a frame: GRE, ERSPAN, VXLAN.

use super::Frame;
use super::Inner;
use super::ethernet;
use super::stop::{Layer, Stop, StopReason};
use crate::bytes::Cursor;
use crate::bytes::DecodeError;

/// UDP destination port of VXLAN (RFC 7348 section 5).
pub(super) const VXLAN_PORT: u16 = 4789;

/// GRE protocol type of an Ethernet frame ("transparent Ethernet bridging", RFC 7637 section 3.2, from memory).
const ETHERNET_BRIDGING: u16 = 0x6558;
/// GRE protocol type of ERSPAN types I and II (draft-foschiano-erspan, from memory).
const ERSPAN_I_II: u16 = 0x88BE;
/// GRE protocol type of ERSPAN type III (draft-foschiano-erspan, from memory).
const ERSPAN_III: u16 = 0x22EB;

/// An encapsulation that was taken off.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Tunnel {
    /// GRE around an Ethernet frame or an IP packet (RFC 2784, RFC 2890).
    Gre,
    /// GRE with a mirrored frame and no header of its own.
    ErspanI,
    /// GRE with a mirrored frame and 8 octets of header.
    ErspanII,
    /// GRE with a mirrored frame and 12 or 20 octets of header.
    ErspanIII,
    /// VXLAN (RFC 7348).
    Vxlan,
}

impl Tunnel {
    /// The name in running text.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Gre => "GRE",
            Self::ErspanI => "ERSPAN I",
            Self::ErspanII => "ERSPAN II",
            Self::ErspanIII => "ERSPAN III",
            Self::Vxlan => "VXLAN",
        }
    }
}

/// The encapsulations taken off one frame, outermost first; at most [`Tunnels::MOST`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Tunnels {
    kinds: [Option<Tunnel>; Self::MOST],
}

impl Tunnels {
    /// Most encapsulations that are taken off (chosen: a mirror of an overlay is two, twice that is spare).
    pub const MOST: usize = 4;

    /// A frame that was in no tunnel.
    pub const NONE: Self = Self { kinds: [None; Self::MOST] };

    /// The encapsulations, outermost first.
    pub fn iter(&self) -> impl Iterator<Item = Tunnel> {
        self.kinds.into_iter().flatten()
    }

    /// Whether none was taken off.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.kinds.iter().all(Option::is_none)
    }

    /// Adds one inside those there; `false` where there is no room.
    fn push(&mut self, kind: Tunnel) -> bool {
        let Some(place) = self.kinds.iter_mut().find(|place| place.is_none()) else { return false };
        *place = Some(kind);
        true
    }
}

/// Reads a GRE header; where it carries a frame or packet, `frame` starts afresh with that.
pub(super) fn gre<'a>(frame: &mut Frame<'a>, octets: &'a [u8]) -> Option<Inner<'a>> {
    match read_gre(octets) {
        Ok((protocol, rest)) => {
            frame.payload = rest;
            match protocol {
                ETHERNET_BRIDGING => open(frame, Layer::Gre, Tunnel::Gre, Inner::Ethernet(rest)),
                ethernet::IPV4 | ethernet::IPV6 => {
                    open(frame, Layer::Gre, Tunnel::Gre, Inner::Typed(protocol, rest))
                }
                ERSPAN_I_II if !has_sequence(octets) => {
                    open(frame, Layer::Erspan, Tunnel::ErspanI, Inner::Ethernet(rest))
                }
                ERSPAN_I_II => erspan(frame, rest, read_erspan_ii(rest), Tunnel::ErspanII),
                ERSPAN_III => erspan(frame, rest, read_erspan_iii(rest), Tunnel::ErspanIII),
                _ => None,
            }
        }
        Err(error) => {
            frame.note(Stop::from_error(Layer::Gre, &error));
            None
        }
    }
}

/// Reads a VXLAN header. Octets on VXLAN's port without its flag are left alone.
pub(super) fn vxlan<'a>(frame: &mut Frame<'a>, octets: &'a [u8]) -> Option<Inner<'a>> {
    // RFC 7348 section 5: flag I (0x08) set, the other flags are ignored; 24 bits reserved, VNI, 8 bits reserved.
    if octets.first().is_none_or(|flags| flags & 0x08 == 0) {
        return None;
    }
    let Some((_, inner)) = octets.split_first_chunk::<8>() else {
        frame.note(Stop::cut(Layer::Vxlan, 8, octets.len()));
        return None;
    };
    open(frame, Layer::Vxlan, Tunnel::Vxlan, Inner::Ethernet(inner))
}

fn open<'a>(frame: &mut Frame<'a>, layer: Layer, kind: Tunnel, inner: Inner<'a>) -> Option<Inner<'a>> {
    let mut tunnels = frame.tunnels;
    if !tunnels.push(kind) {
        frame.note(Stop { layer, reason: StopReason::TooDeep });
        return None;
    }
    let stop = frame.stop;
    *frame = Frame::empty(inner.octets());
    frame.tunnels = tunnels;
    frame.stop = stop;
    Some(inner)
}

fn erspan<'a>(
    frame: &mut Frame<'a>,
    octets: &'a [u8],
    read: Result<Inner<'a>, DecodeError>,
    kind: Tunnel,
) -> Option<Inner<'a>> {
    match read {
        Ok(inner) => open(frame, Layer::Erspan, kind, inner),
        Err(error) => {
            frame.payload = octets;
            frame.note(Stop::from_error(Layer::Erspan, &error));
            None
        }
    }
}

fn has_sequence(octets: &[u8]) -> bool {
    octets.first().is_some_and(|flags| flags & 0x10 != 0)
}

/// RFC 2784 section 2 and RFC 2890 section 2: flags, protocol, then checksum, key and sequence where flagged.
fn read_gre(octets: &[u8]) -> Result<(u16, &[u8]), DecodeError> {
    let mut cursor = Cursor::new(octets);
    let flags = cursor.u16("GRE flags")?;
    let protocol = cursor.u16("GRE protocol type")?;
    if flags & 0x4007 != 0 {
        return Err(DecodeError::Value {
            field: "GRE flags",
            offset: 0,
            value: u64::from(flags),
            rule: "source routes and versions other than 0 are not read",
        });
    }
    for (flag, field) in [(0x8000, "GRE checksum"), (0x2000, "GRE key"), (0x1000, "GRE sequence number")] {
        if flags & flag != 0 {
            cursor.skip(field, 4)?;
        }
    }
    Ok((protocol, cursor.rest()))
}

fn erspan_version(cursor: &mut Cursor<'_>, expected: u8) -> Result<(), DecodeError> {
    let [first, _] = cursor.take::<2>("ERSPAN version")?;
    if first >> 4 == expected {
        return Ok(());
    }
    Err(DecodeError::Value {
        field: "ERSPAN version",
        offset: 0,
        value: u64::from(first >> 4),
        rule: "1 is type II, 2 is type III, each under its own GRE protocol type",
    })
}

fn read_erspan_ii(octets: &[u8]) -> Result<Inner<'_>, DecodeError> {
    let mut cursor = Cursor::new(octets);
    erspan_version(&mut cursor, 1)?;
    cursor.skip("ERSPAN session and index", 6)?;
    Ok(Inner::Ethernet(cursor.rest()))
}

fn read_erspan_iii(octets: &[u8]) -> Result<Inner<'_>, DecodeError> {
    let mut cursor = Cursor::new(octets);
    erspan_version(&mut cursor, 2)?;
    cursor.skip("ERSPAN session, timestamp and group tag", 8)?;
    // P(1) FT(5) Hw ID(6) D(1) Gra(2) O(1): FT 2 is an IP packet, O says that 8 octets more follow.
    let word = cursor.u16("ERSPAN frame type")?;
    if word & 1 != 0 {
        cursor.skip("ERSPAN platform subheader", 8)?;
    }
    let inner = cursor.rest();
    Ok(if (word >> 10) & 0x1F == 2 { Inner::Ip(inner) } else { Inner::Ethernet(inner) })
}
