//! What a pcapng file says of a capture interface, and the options it says it in.

use super::order::ByteOrder;
use super::order::size;
use super::record::LinkType;
use super::ticks::TickLength;

// Option codes, draft-ietf-opsawg-pcapng (from memory): those of every block, then by block.
const OPT_ENDOFOPT: u16 = 0;
const IF_SPEED: u16 = 8;
const IF_TSRESOL: u16 = 9;
const IF_FCSLEN: u16 = 13;
const IF_TSOFFSET: u16 = 14;
const ISB_IFDROP: u16 = 5;
const ISB_OSDROP: u16 = 7;
const EPB_FLAGS: u16 = 2;
const EPB_DROPCOUNT: u16 = 4;

/// One capture interface.
#[derive(Debug, Clone)]
pub(super) struct Interface {
    pub(super) link: LinkType,
    /// Most octets kept of a frame; 0 is no limit.
    pub(super) snaplen: u32,
    pub(super) tick: TickLength,
    /// Seconds to add to each stamp.
    pub(super) offset_seconds: i64,
    pub(super) fcs_octets: Option<u8>,
    /// Bits a second; `None` where the file does not say, or says 0.
    pub(super) speed: Option<u64>,
    /// Losses as the latest Interface Statistics Block has them.
    pub(super) statistics_drops: Option<u64>,
    /// Losses summed from the packets' own counts.
    pub(super) packet_drops: Option<u64>,
}

/// What the options of a packet say.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) struct PacketOptions {
    /// Overrides the interface's.
    pub(super) fcs_octets: Option<u8>,
    /// Frames lost between the one before and this.
    pub(super) dropped: Option<u64>,
}

/// Options of a block, in order; ends at the end marker or the first that does not fit.
#[derive(Debug, Clone)]
pub(super) struct Options<'a> {
    order: ByteOrder,
    rest: &'a [u8],
}

impl<'a> Options<'a> {
    pub(super) fn new(order: ByteOrder, octets: &'a [u8]) -> Self {
        Self { order, rest: octets }
    }
}

impl<'a> Iterator for Options<'a> {
    type Item = (u16, &'a [u8]);

    fn next(&mut self) -> Option<Self::Item> {
        let code = self.order.u16_at(self.rest, 0)?;
        let length = usize::from(self.order.u16_at(self.rest, 2)?);
        let value = self.rest.get(4..)?.get(..length)?;
        if code == OPT_ENDOFOPT {
            return None;
        }
        self.rest = self.rest.get(4 + length.next_multiple_of(4)..).unwrap_or_default();
        Some((code, value))
    }
}

impl Interface {
    /// Reads an Interface Description Block's body: link type, 2 reserved octets, snaplen, options.
    pub(super) fn from_description(order: ByteOrder, body: &[u8]) -> Option<Self> {
        let mut interface = Self {
            link: LinkType(order.u16_at(body, 0)?),
            snaplen: order.u32_at(body, 4)?,
            tick: TickLength::MICROSECOND,
            offset_seconds: 0,
            fcs_octets: None,
            speed: None,
            statistics_drops: None,
            packet_drops: None,
        };
        for (code, value) in Options::new(order, body.get(8..)?) {
            match (code, value) {
                (IF_TSRESOL, [raw]) => interface.tick = TickLength::from_if_tsresol(*raw),
                (IF_TSOFFSET, _) => interface.offset_seconds = order.i64_at(value, 0).unwrap_or(0),
                (IF_SPEED, _) => interface.speed = order.u64_at(value, 0).filter(|speed| *speed > 0),
                // In bits. Anything but whole octets cannot be used.
                (IF_FCSLEN, [bits]) => interface.fcs_octets = bits.is_multiple_of(8).then_some(bits / 8),
                _ => {}
            }
        }
        Some(interface)
    }

    /// Takes in an Interface Statistics Block's options; its counts run from the start of the capture, so the
    /// latest stands.
    pub(super) fn take_statistics(&mut self, options: Options<'_>) {
        let order = options.order;
        let mut dropped = None;
        for (code, value) in options {
            if let (ISB_IFDROP | ISB_OSDROP, Some(count)) = (code, order.u64_at(value, 0)) {
                dropped = Some(dropped.unwrap_or(0_u64).saturating_add(count));
            }
        }
        self.statistics_drops = dropped.or(self.statistics_drops);
    }

    pub(super) fn take_packet_drops(&mut self, count: u64) {
        self.packet_drops = Some(self.packet_drops.unwrap_or(0).saturating_add(count));
    }

    /// Frames lost; both sources count the same losses, so the larger stands.
    pub(super) fn drops(&self) -> Option<u64> {
        self.statistics_drops.max(self.packet_drops)
    }

    /// Octets of a Simple Packet Block that are of the frame; the rest is padding.
    pub(super) fn simple_captured(&self, original: u32, space: usize) -> usize {
        let limit = if self.snaplen == 0 { original } else { original.min(self.snaplen) };
        size(limit).min(space)
    }
}

impl PacketOptions {
    pub(super) fn read(options: Options<'_>) -> Self {
        let order = options.order;
        let mut found = Self::default();
        for (code, value) in options {
            match code {
                EPB_FLAGS => {
                    // Bits 5 to 8; 0 is "not known".
                    let octets = order.u32_at(value, 0).map_or(0, |flags| (flags >> 5) & 0xF);
                    found.fcs_octets = u8::try_from(octets).ok().filter(|octets| *octets > 0);
                }
                EPB_DROPCOUNT => found.dropped = order.u64_at(value, 0),
                _ => {}
            }
        }
        found
    }
}
