//! Walks the block format (draft-ietf-opsawg-pcapng, from memory).
//!
//! Memory: one [`Interface`] per interface described, at most [`INTERFACES`].

use crate::units::Nanos;

use super::damage::DamageList;
use super::error::Error;
use super::interface::Interface;
use super::interface::Options;
use super::interface::PacketOptions;
use super::order::ByteOrder;
use super::order::position;
use super::order::size;
use super::walk::Frame;
use super::walk::LONGEST;
use super::walk::Lost;
use super::walk::PLAUSIBLE;
use super::walk::Place;
use super::walk::Step;
use super::walk::Verdict;
use super::walk::find;

/// Speeds of interfaces that are told (chosen).
const SPEEDS_KEPT: usize = 8;

/// Reads the same in both byte orders.
pub(super) const SECTION_HEADER: u32 = 0x0A0D_0D0A;
const INTERFACE_DESCRIPTION: u32 = 1;
/// Obsolete, still met.
const PACKET: u32 = 2;
const SIMPLE_PACKET: u32 = 3;
const INTERFACE_STATISTICS: u32 = 5;
const ENHANCED_PACKET: u32 = 6;
/// Types a block found after damage may have: 1 to 6, then journal (9), secrets (10) and the two custom ones.
const OTHER_KNOWN: [u32; 4] = [9, 10, 0x0BAD, 0x4000_0BAD];

const BYTE_ORDER_MAGIC: u32 = 0x1A2B_3C4D;

/// Octets that tell a block's type, length and, for a section header, byte order.
pub(super) const SECTION_START: usize = 12;
/// Octets of a section header without options.
pub(super) const SECTION_LEAST: usize = 28;
/// Type, length before and length after.
const FRAMING: u32 = 12;
/// Where a packet's octets begin in an Enhanced or obsolete Packet Block, counted from its body.
const PACKET_DATA: usize = 20;
/// Where a block's body begins.
const BODY: usize = 8;
/// A block found after damage is a frame with its framing and options; longer ones are not looked for.
const PLAUSIBLE_BLOCK: u32 = PLAUSIBLE + 4096;
/// Most interfaces believed, over all sections.
const INTERFACES: usize = 65_536;

const NEXT: &str = "plausible block";
const TOO_SHORT: &str = "a packet block is too short for its fields; it is left out";

/// A walker, knowing the interfaces so far.
#[derive(Debug, Clone)]
pub(super) struct Pcapng {
    order: ByteOrder,
    interfaces: Vec<Interface>,
    /// Interfaces of the sections before this one.
    section_base: usize,
    /// Sections and interfaces told of.
    tellings: u32,
    lost: Option<Lost>,
}

/// The first octets of a block.
#[derive(Debug, Clone, Copy)]
struct BlockHead {
    kind: u32,
    length: u32,
    order: ByteOrder,
}

impl BlockHead {
    /// Reads type and length; a section header brings its own order. `None` needs more octets or, with 12 of
    /// them, is a section header without a byte order.
    fn read(window: &[u8], order: ByteOrder) -> Option<Self> {
        let kind = order.u32_at(window, 0)?;
        let order = if kind == SECTION_HEADER { section_order(window)? } else { order };
        Some(Self { kind, length: order.u32_at(window, 4)?, order })
    }
}

/// The byte order of a section header block.
pub(super) fn section_order(block: &[u8]) -> Option<ByteOrder> {
    [ByteOrder::Little, ByteOrder::Big]
        .into_iter()
        .find(|order| order.u32_at(block, 8) == Some(BYTE_ORDER_MAGIC))
}

impl Pcapng {
    /// Begins at a section header whose first octets are `start`; walking begins with that block.
    pub(super) fn new(start: &[u8], order: ByteOrder) -> Result<Self, Error> {
        match order.u16_at(start, 12) {
            None => Err(Error::CutHeader { available: start.len(), needed: SECTION_LEAST }),
            Some(1) => Ok(Self { order, interfaces: Vec::new(), section_base: 0, tellings: 0, lost: None }),
            Some(major) => Err(Error::Unsupported {
                offset: 12,
                what: format!("pcapng version {major}, only version 1 is read"),
            }),
        }
    }

    pub(super) fn resolution(&self, interface: u32) -> Option<Nanos> {
        self.interfaces.get(size(interface)).map(|interface| interface.tick.resolution())
    }

    pub(super) fn for_part(&self) -> Self {
        let mut part = self.clone();
        part.lost = None;
        for interface in &mut part.interfaces {
            interface.statistics_drops = None;
            interface.packet_drops = None;
        }
        part
    }

    pub(super) fn seems_to_begin(&self, window: &[u8], at: usize, ended: bool) -> Verdict {
        // A block has its length at both ends, so that one says as much as a few records of the classic format.
        self.plausible(window, at, ended)
    }

    pub(super) fn is_lost(&self) -> bool {
        self.lost.is_some()
    }

    pub(super) fn tellings(&self) -> u32 {
        self.tellings
    }

    /// Takes in the losses that a part has counted.
    pub(super) fn adopt(&mut self, part: &Self) {
        for (ours, theirs) in self.interfaces.iter_mut().zip(&part.interfaces) {
            ours.statistics_drops = theirs.statistics_drops.or(ours.statistics_drops);
            if let Some(count) = theirs.packet_drops {
                ours.take_packet_drops(count);
            }
        }
    }

    /// The interfaces' speed, where those that tell one tell the same.
    pub(super) fn link_speed(&self) -> Option<u64> {
        let mut speeds = self.interfaces.iter().filter_map(|interface| interface.speed);
        let first = speeds.next()?;
        speeds.all(|speed| speed == first).then_some(first)
    }

    pub(super) fn link_speeds(&self) -> Vec<u64> {
        let mut speeds: Vec<u64> = self.interfaces.iter().filter_map(|interface| interface.speed).collect();
        speeds.sort_unstable();
        speeds.dedup();
        speeds.truncate(SPEEDS_KEPT);
        speeds
    }

    pub(super) fn drops_reported(&self) -> Option<u64> {
        self.interfaces.iter().filter_map(Interface::drops).reduce(u64::saturating_add)
    }

    pub(super) fn end(&mut self, end: u64, damage: &mut DamageList) {
        if let Some(lost) = self.lost.take() {
            lost.gave_up(end, NEXT, damage);
        }
    }

    pub(super) fn step(&mut self, window: &[u8], place: Place, damage: &mut DamageList) -> Step {
        if self.lost.is_some() {
            return self.search(window, place, damage);
        }
        let Some(head) = BlockHead::read(window, self.order) else {
            if window.len() >= SECTION_START {
                let why = "a section header has no byte order".to_owned();
                return self.lose(why, window, place, damage);
            }
            return Self::short_head(window, place, damage);
        };
        if head.length < FRAMING || !head.length.is_multiple_of(4) || head.length > LONGEST {
            let why = format!("a block of type {:#x} says it is {} octets long", head.kind, head.length);
            return self.lose(why, window, place, damage);
        }
        let length = size(head.length);
        let Some(block) = window.get(..length) else {
            if !place.ended {
                return Step::Need(length);
            }
            return self.cut_block(head, window, place, damage);
        };
        if head.order.u32_at(block, length.saturating_sub(4)) != Some(head.length) {
            match self.vouched(window, length, place.ended) {
                Verdict::Open => return Step::Need(length.saturating_add(SECTION_START)),
                Verdict::Yes => {
                    damage.repeat(
                        place.at,
                        "a block's second length differs from its first; the first is believed",
                    );
                }
                Verdict::No => {
                    let why = format!("a block of {length} octets does not end with its length");
                    return self.lose(why, window, place, damage);
                }
            }
        }
        let body = block.get(BODY..length.saturating_sub(4)).unwrap_or_default();
        self.block(head, body, length, place, damage)
    }

    /// The block that nearly every one is: an Enhanced Packet Block without options, whole, and nothing odd about it. What it
    /// says is what the long way would say.
    #[inline]
    pub(super) fn common(&self, window: &[u8]) -> Option<Frame> {
        let (&[kind, length, id, high, low, captured, original], _) =
            window.as_chunks::<4>().0.split_first_chunk::<7>()?;
        let word = |octets: [u8; 4]| match self.order {
            ByteOrder::Big => u32::from_be_bytes(octets),
            ByteOrder::Little => u32::from_le_bytes(octets),
        };
        let (captured, original) = (word(captured), word(original));
        let begin = BODY + PACKET_DATA;
        let padded = size(captured).saturating_add(3) & !3;
        let whole = begin.saturating_add(padded).saturating_add(4);
        let is_common = word(kind) == ENHANCED_PACKET
            && captured <= original
            && captured <= PLAUSIBLE
            && size(word(length)) == whole;
        let end = window.get(whole.checked_sub(4)?..)?.first_chunk::<4>()?;
        if !is_common || *end != length {
            return None;
        }
        let index = self.interface_index(word(id))?;
        let interface = self.interfaces.get(index)?;
        let ticks = u64::from(word(high)) << 32 | u64::from(word(low));
        Some(Frame {
            time: Some(interface.tick.time(ticks, interface.offset_seconds)?),
            link: interface.link,
            interface: u32::try_from(index).ok()?,
            original_len: original,
            fcs_octets: interface.fcs_octets,
            data: begin..begin.saturating_add(size(captured)),
            taken: whole,
        })
    }

    /// What a whole block says.
    fn block(
        &mut self,
        head: BlockHead,
        body: &[u8],
        length: usize,
        place: Place,
        damage: &mut DamageList,
    ) -> Step {
        match head.kind {
            ENHANCED_PACKET | PACKET | SIMPLE_PACKET => {
                return match self.packet(head.kind, body, length, place, damage) {
                    Some(frame) => Step::Frame(frame),
                    None => Step::Pass(length),
                };
            }
            SECTION_HEADER => {
                self.tellings = self.tellings.saturating_add(1);
                self.order = head.order;
                self.section_base = self.interfaces.len();
                if self.order.u16_at(body, 4) != Some(1) {
                    damage.repeat(place.at, "a section is not of version 1; it is read as if it were");
                }
            }
            INTERFACE_DESCRIPTION => match Interface::from_description(self.order, body) {
                Some(_) if self.interfaces.len() >= INTERFACES => {
                    damage.repeat(
                        place.at,
                        "more interfaces than are believed; this one and its frames are left out",
                    );
                }
                Some(interface) => {
                    self.tellings = self.tellings.saturating_add(1);
                    self.interfaces.push(interface);
                }
                None => damage.repeat(place.at, "an interface description is too short; it is left out"),
            },
            INTERFACE_STATISTICS => self.statistics(body, place, damage),
            _ => {}
        }
        Step::Pass(length)
    }

    fn statistics(&mut self, body: &[u8], place: Place, damage: &mut DamageList) {
        let options = Options::new(self.order, body.get(12..).unwrap_or_default());
        let interface = self.order.u32_at(body, 0).and_then(|id| self.interface_index(id));
        match interface.and_then(|index| self.interfaces.get_mut(index)) {
            Some(interface) => interface.take_statistics(options),
            None => damage
                .repeat(place.at, "statistics of an interface that was not described; they are left out"),
        }
    }

    #[inline]
    fn interface_index(&self, id: u32) -> Option<usize> {
        self.section_base.checked_add(size(id)).filter(|index| *index < self.interfaces.len())
    }

    /// The frame of a packet block; `body` may be cut off, `taken` is what to give up after it.
    fn packet(
        &mut self,
        kind: u32,
        body: &[u8],
        taken: usize,
        place: Place,
        damage: &mut DamageList,
    ) -> Option<Frame> {
        let order = self.order;
        let id = match kind {
            ENHANCED_PACKET => order.u32_at(body, 0),
            PACKET => order.u16_at(body, 0).map(u32::from),
            _ => Some(0),
        };
        let index = id.and_then(|id| self.interface_index(id));
        let Some((index, interface)) = index.and_then(|index| Some((index, self.interfaces.get_mut(index)?)))
        else {
            damage.repeat(place.at, "a packet of an interface that was not described; it is left out");
            return None;
        };
        if kind == SIMPLE_PACKET {
            let Some(original) = order.u32_at(body, 0) else {
                damage.repeat(place.at, TOO_SHORT);
                return None;
            };
            let captured = interface.simple_captured(original, body.len().saturating_sub(4));
            return Some(Frame {
                time: None,
                link: interface.link,
                interface: u32::try_from(index).ok()?,
                original_len: original,
                fcs_octets: interface.fcs_octets,
                data: BODY + 4..(BODY + 4).saturating_add(captured),
                taken,
            });
        }
        let fields = body.first_chunk::<PACKET_DATA>().and_then(|fixed| {
            let field = |at| order.u32_at(fixed, at);
            Some((field(4)?, field(8)?, field(12)?, field(16)?))
        });
        let Some((high, low, captured, original)) = fields else {
            damage.repeat(place.at, TOO_SHORT);
            return None;
        };
        let time = interface.tick.time(u64::from(high) << 32 | u64::from(low), interface.offset_seconds);
        if time.is_none() {
            damage.repeat(
                place.at,
                "a stamp is outside the years 1677 to 2262; the record is kept without time",
            );
        }
        if original < captured {
            damage.repeat(place.at, "a record holds more octets than its frame had; the octets are kept");
        }
        let space = body.len().saturating_sub(PACKET_DATA);
        let mut fcs_octets = interface.fcs_octets;
        if kind == PACKET {
            // 0xFFFF is "not known".
            if let Some(count) = order.u16_at(body, 2).filter(|count| *count != u16::MAX) {
                interface.take_packet_drops(u64::from(count));
            }
        }
        if size(captured) > space && BODY + body.len() + 4 == taken {
            damage.repeat(
                place.at,
                "a packet says it holds more octets than its block; those of the block are kept",
            );
        }
        let padded = size(captured).saturating_add(3) & !3;
        if let Some(octets) =
            body.get(PACKET_DATA.saturating_add(padded)..).filter(|octets| !octets.is_empty())
        {
            let options = PacketOptions::read(Options::new(order, octets));
            fcs_octets = options.fcs_octets.or(fcs_octets);
            if let Some(count) = options.dropped {
                interface.take_packet_drops(count);
            }
        }
        let begin = BODY + PACKET_DATA;
        Some(Frame {
            time,
            link: interface.link,
            interface: u32::try_from(index).ok()?,
            original_len: original.max(captured),
            fcs_octets,
            data: begin..begin.saturating_add(size(captured).min(space)),
            taken,
        })
    }

    fn short_head(window: &[u8], place: Place, damage: &mut DamageList) -> Step {
        if !place.ended {
            return Step::Need(SECTION_START);
        }
        damage.add(place.at, format!("the file ends inside a block header, after {} octets", window.len()));
        Step::Pass(window.len())
    }

    /// A block that goes on after the end of the file: cut off, or its length is wrong.
    fn cut_block(&mut self, head: BlockHead, window: &[u8], place: Place, damage: &mut DamageList) -> Step {
        if find(window.len(), 1, |at| self.plausible(window, at, true)).is_some() {
            let why = format!("a block says it is {} octets long, past the file's end", head.length);
            return self.lose(why, window, place, damage);
        }
        let is_packet = matches!(head.kind, ENHANCED_PACKET | PACKET | SIMPLE_PACKET);
        let data = if head.kind == SIMPLE_PACKET { BODY + 4 } else { BODY + PACKET_DATA };
        let kept = is_packet && window.len() > data;
        damage.add(
            place.at,
            format!(
                "the file ends inside a block, after {} of its {} octets; {}",
                window.len(),
                head.length,
                if kept { "what is there of the frame is kept" } else { "it is left out" }
            ),
        );
        if kept {
            let body = window.get(BODY..).unwrap_or_default();
            if let Some(frame) = self.packet(head.kind, body, window.len(), place, damage) {
                return Step::Frame(frame);
            }
        }
        Step::Pass(window.len())
    }

    fn lose(&mut self, why: String, window: &[u8], place: Place, damage: &mut DamageList) -> Step {
        self.lost = Some(Lost { from: place.at, why });
        self.search(window, place, damage)
    }

    /// Looks for the next place that makes sense; ends with `lost` taken or the window used up.
    fn search(&mut self, window: &[u8], place: Place, damage: &mut DamageList) -> Step {
        let Some(lost) = self.lost.as_ref() else { return Step::Pass(0) };
        let from = usize::from(lost.from == place.at);
        match find(window.len(), from, |at| self.plausible(window, at, place.ended)) {
            Some((at, Verdict::Yes)) => {
                if let Some(lost) = self.lost.take() {
                    lost.found(place.at.saturating_add(position(at)), NEXT, damage);
                }
                Step::Pass(at)
            }
            Some((at, _)) if at > 0 => Step::Pass(at),
            Some(_) => Step::Need(window.len().saturating_add(1)),
            None if window.is_empty() => Step::Need(1),
            None => Step::Pass(window.len()),
        }
    }

    /// Whether a block begins at `at`: a known type, a length of whole words, and the same length after it.
    fn plausible(&self, window: &[u8], at: usize, ended: bool) -> Verdict {
        let rest = window.get(at..).unwrap_or_default();
        let open = if ended { Verdict::No } else { Verdict::Open };
        let Some(head) = BlockHead::read(rest, self.order) else {
            return if rest.len() < SECTION_START { open } else { Verdict::No };
        };
        if !head.plausible() {
            return Verdict::No;
        }
        match head.order.u32_at(rest, size(head.length).saturating_sub(4)) {
            Some(trailer) if trailer == head.length => Verdict::Yes,
            Some(_) => Verdict::No,
            None => open,
        }
    }

    /// Whether the head of a block, or the file's end, stands at `at`.
    fn vouched(&self, window: &[u8], at: usize, ended: bool) -> Verdict {
        let rest = window.get(at..).unwrap_or_default();
        match BlockHead::read(rest, self.order) {
            Some(head) if head.plausible() => Verdict::Yes,
            Some(_) => Verdict::No,
            None if ended && rest.is_empty() => Verdict::Yes,
            None if ended || rest.len() >= SECTION_START => Verdict::No,
            None => Verdict::Open,
        }
    }
}

impl BlockHead {
    fn plausible(self) -> bool {
        let known = matches!(self.kind, 1..=6 | SECTION_HEADER) || OTHER_KNOWN.contains(&self.kind);
        known && (FRAMING..=PLAUSIBLE_BLOCK).contains(&self.length) && self.length.is_multiple_of(4)
    }
}
