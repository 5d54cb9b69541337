//! Walks the classic format: a 24-octet header, then records (draft-ietf-opsawg-pcap, from memory).

use crate::units::CaptureTime;
use crate::units::NANOS_PER_SECOND;
use crate::units::Nanos;

use super::damage::DamageList;
use super::error::Error;
use super::order::ByteOrder;
use super::order::position;
use super::order::size;
use super::record::LinkType;
use super::walk::Frame;
use super::walk::LONGEST;
use super::walk::Lost;
use super::walk::PLAUSIBLE;
use super::walk::Place;
use super::walk::Step;
use super::walk::Verdict;
use super::walk::find;

/// Octets of the file's header.
pub(super) const HEADER: usize = 24;

const MAGIC_MICROSECONDS: u32 = 0xA1B2_C3D4;
const MAGIC_NANOSECONDS: u32 = 0xA1B2_3C4D;
/// A Linux variant with 8 more octets in each record header: interface, protocol, packet type (libpcap's
/// `KUZNETZOV_TCPDUMP_MAGIC`, from memory).
const MAGIC_MODIFIED: u32 = 0xA1B2_CD34;

/// Headers in a row that must make sense before a place found after damage is believed; guesses by fewer are
/// wrong too often where a capture holds the copy of a capture.
const CHAIN: u32 = 4;

/// How far before the last good stamp a record found after damage may be, in seconds: a day.
const PLAUSIBLE_BEFORE: i64 = 86_400;
/// How far after, in seconds: 30 days.
const PLAUSIBLE_AFTER: i64 = 30 * 86_400;

const NEXT: &str = "plausible record";

/// A walker, knowing what the file's header says.
#[derive(Debug, Clone)]
pub(super) struct Pcap {
    order: ByteOrder,
    /// Fractions to a second: 10⁶ or 10⁹.
    fractions: u32,
    /// Nanoseconds to a fraction: 1,000 or 1.
    fraction_nanos: u32,
    record_header: usize,
    link: LinkType,
    fcs_octets: Option<u8>,
    longest: u32,
    /// Seconds of the first good record and of the last: one of them may itself be damaged.
    known: Option<(u32, u32)>,
    lost: Option<Lost>,
}

/// A record's header.
#[derive(Debug, Clone, Copy)]
struct Head {
    seconds: u32,
    fraction: u32,
    captured: u32,
    original: u32,
}

/// Tells a pcap file by its first octets.
pub(super) fn recognise(octets: &[u8]) -> Option<ByteOrder> {
    [ByteOrder::Little, ByteOrder::Big].into_iter().find(|order| {
        matches!(order.u32_at(octets, 0), Some(MAGIC_MICROSECONDS | MAGIC_NANOSECONDS | MAGIC_MODIFIED))
    })
}

impl Pcap {
    /// Reads the file's header, the first [`HEADER`] octets.
    pub(super) fn new(header: &[u8], order: ByteOrder) -> Result<Self, Error> {
        let short = || Error::CutHeader { available: header.len(), needed: HEADER };
        let magic = order.u32_at(header, 0).ok_or_else(short)?;
        let major = order.u16_at(header, 4).ok_or_else(short)?;
        let minor = order.u16_at(header, 6).ok_or_else(short)?;
        let snaplen = order.u32_at(header, 16).ok_or_else(short)?;
        let link = order.u32_at(header, 20).ok_or_else(short)?;
        // Before 2.4 the two lengths of a record were the other way round, or might be.
        if (major, minor) < (2, 4) || major > 2 {
            return Err(Error::Unsupported {
                offset: 4,
                what: format!("pcap version {major}.{minor}, only 2.4 is read"),
            });
        }
        let (fractions, fraction_nanos) =
            if magic == MAGIC_NANOSECONDS { (1_000_000_000, 1) } else { (1_000_000, 1_000) };
        let [upper, _, type_high, type_low] = link.to_be_bytes();
        // Top four bits: length in 16-bit words; bit 26 says whether they count.
        let fcs_octets = (upper & 0x04 != 0).then_some((upper >> 4) * 2);
        Ok(Self {
            order,
            fractions,
            fraction_nanos,
            record_header: if magic == MAGIC_MODIFIED { 24 } else { 16 },
            link: LinkType(u16::from_be_bytes([type_high, type_low])),
            fcs_octets,
            longest: snaplen.clamp(PLAUSIBLE, LONGEST),
            known: None,
            lost: None,
        })
    }

    pub(super) fn for_part(&self) -> Self {
        Self { known: None, lost: None, ..self.clone() }
    }

    #[inline]
    pub(super) fn seems_to_begin(&self, window: &[u8], at: usize, ended: bool, told: &Self) -> Verdict {
        if self.has_no_lengths(window, at) {
            return Verdict::No;
        }
        self.chain(window, at, ended, told.known)
    }

    /// Whether what would be a record's lengths are none, as at nearly every octet where none begins.
    #[inline]
    fn has_no_lengths(&self, window: &[u8], at: usize) -> bool {
        let lengths = window.get(at.saturating_add(8)..).and_then(<[u8]>::first_chunk);
        let Some(&[a, b, c, d, e, f, g, h]) = lengths else { return false };
        let word = |octets| match self.order {
            ByteOrder::Little => u32::from_le_bytes(octets),
            ByteOrder::Big => u32::from_be_bytes(octets),
        };
        !are_lengths(word([a, b, c, d]), word([e, f, g, h]))
    }

    pub(super) fn is_lost(&self) -> bool {
        self.lost.is_some()
    }

    pub(super) fn adopt(&mut self, part: &Self) {
        if let Some((first, last)) = part.known {
            self.known = Some((self.known.map_or(first, |(first, _)| first), last));
        }
    }

    pub(super) fn resolution(&self) -> Nanos {
        Nanos(i64::from(self.fraction_nanos))
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
        if let Some(frame) = self.common(window) {
            return Step::Frame(frame);
        }
        let Some(head) = self.head(window) else {
            return self.short_header(window, place, damage);
        };
        if let Some(why) = self.nonsense(head) {
            self.lost = Some(Lost { from: place.at, why });
            return self.search(window, place, damage);
        }
        let whole = self.record_header.saturating_add(size(head.captured));
        if head.fraction >= self.fractions || head.original < head.captured || head.captured > PLAUSIBLE {
            // Odd, but readable if what follows makes sense.
            match self.vouched(head, window, whole, place.ended) {
                Verdict::Open => return Step::Need(whole.saturating_add(self.record_header)),
                Verdict::No => {
                    self.lost = Some(Lost { from: place.at, why: self.oddity(head) });
                    return self.search(window, place, damage);
                }
                Verdict::Yes => self.note_oddity(head, place, damage),
            }
        }
        if window.len() < whole {
            if !place.ended {
                return Step::Need(whole);
            }
            return self.cut_record(head, window, place, damage);
        }
        let first = self.known.map_or(head.seconds, |(first, _)| first);
        self.known = Some((first, head.seconds));
        Step::Frame(self.frame(head, whole))
    }

    /// The record that nearly every one is: whole, and nothing odd about it. What it says is what the long way would say.
    #[inline]
    pub(super) fn common(&mut self, window: &[u8]) -> Option<Frame> {
        let &[s0, s1, s2, s3, f0, f1, f2, f3, c0, c1, c2, c3, o0, o1, o2, o3] = window.first_chunk::<16>()?;
        let [seconds, fraction, captured, original] = match self.order {
            ByteOrder::Big => [
                u32::from_be_bytes([s0, s1, s2, s3]),
                u32::from_be_bytes([f0, f1, f2, f3]),
                u32::from_be_bytes([c0, c1, c2, c3]),
                u32::from_be_bytes([o0, o1, o2, o3]),
            ],
            ByteOrder::Little => [
                u32::from_le_bytes([s0, s1, s2, s3]),
                u32::from_le_bytes([f0, f1, f2, f3]),
                u32::from_le_bytes([c0, c1, c2, c3]),
                u32::from_le_bytes([o0, o1, o2, o3]),
            ],
        };
        let head = Head { seconds, fraction, captured, original };
        let is_common =
            (1..=PLAUSIBLE).contains(&captured) && original >= captured && fraction < self.fractions;
        let whole = self.record_header + size(captured);
        if !is_common || window.len() < whole {
            return None;
        }
        match &mut self.known {
            Some((_, last)) => *last = seconds,
            None => self.known = Some((seconds, seconds)),
        }
        Some(self.frame(head, whole))
    }

    fn head(&self, window: &[u8]) -> Option<Head> {
        let octets = window.get(..self.record_header)?;
        Some(Head {
            seconds: self.order.u32_at(octets, 0)?,
            fraction: self.order.u32_at(octets, 4)?,
            captured: self.order.u32_at(octets, 8)?,
            original: self.order.u32_at(octets, 12)?,
        })
    }

    #[inline]
    fn frame(&self, head: Head, end: usize) -> Frame {
        let time = (head.fraction < self.fractions).then(|| {
            let nanos = i64::from(head.fraction) * i64::from(self.fraction_nanos);
            CaptureTime(i64::from(head.seconds) * NANOS_PER_SECOND + nanos)
        });
        Frame {
            time,
            link: self.link,
            interface: 0,
            original_len: head.original.max(head.captured),
            fcs_octets: self.fcs_octets,
            data: self.record_header..end,
            taken: end,
        }
    }

    /// Why a header cannot be one.
    fn nonsense(&self, head: Head) -> Option<String> {
        if head.captured > self.longest {
            return Some(format!(
                "a record says it holds {} octets, more than the {} that are believed",
                head.captured, self.longest
            ));
        }
        // The tail of a file that was given its size before it was written.
        (head.seconds == 0 && head.fraction == 0 && head.captured == 0 && head.original == 0)
            .then(|| "a record header is all zero".to_owned())
    }

    fn oddity(&self, head: Head) -> String {
        if head.fraction >= self.fractions {
            format!("a record's fraction of a second is {} of {}", head.fraction, self.fractions)
        } else if head.original < head.captured {
            format!("a record holds {} octets of a frame of {}", head.captured, head.original)
        } else {
            format!("a record says it holds {} octets and no record follows them", head.captured)
        }
    }

    fn note_oddity(&self, head: Head, place: Place, damage: &mut DamageList) {
        if head.fraction >= self.fractions {
            damage
                .repeat(place.at, "a stamp's fraction is a second or more; the record is kept without time");
        }
        if head.original < head.captured {
            damage.repeat(place.at, "a record holds more octets than its frame had; the octets are kept");
        }
    }

    fn short_header(&self, window: &[u8], place: Place, damage: &mut DamageList) -> Step {
        if !place.ended {
            return Step::Need(self.record_header);
        }
        damage.add(
            place.at,
            format!(
                "the file ends inside a record header, after {} of {} octets",
                window.len(),
                self.record_header
            ),
        );
        Step::Pass(window.len())
    }

    /// A record that goes on after the end of the file: cut off, or its length is wrong.
    fn cut_record(&mut self, head: Head, window: &[u8], place: Place, damage: &mut DamageList) -> Step {
        let known = self.known.or(Some((head.seconds, head.seconds)));
        if find(window.len(), 1, |at| self.chain(window, at, true, known)).is_some() {
            self.known = known;
            let why = format!("a record says it holds {} octets, past the file's end", head.captured);
            self.lost = Some(Lost { from: place.at, why });
            return self.search(window, place, damage);
        }
        let there = window.len().saturating_sub(self.record_header);
        damage.add(
            place.at,
            format!(
                "the file ends inside a record, after {there} of its {} octets; {}",
                head.captured,
                if there == 0 { "it is left out" } else { "they are kept" }
            ),
        );
        if there == 0 { Step::Pass(window.len()) } else { Step::Frame(self.frame(head, window.len())) }
    }

    /// Looks for the next place that makes sense; ends with `lost` taken or the window used up.
    fn search(&mut self, window: &[u8], place: Place, damage: &mut DamageList) -> Step {
        let Some(lost) = self.lost.as_ref() else { return Step::Pass(0) };
        // Never the place where sense was lost: so each search moves on.
        let from = usize::from(lost.from == place.at);
        match find(window.len(), from, |at| self.chain(window, at, place.ended, self.known)) {
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

    /// Whether [`CHAIN`] records in a row make sense from `at` on, the first of them near a time if there is
    /// one to go by; fewer will do where the file ends with them.
    fn chain(&self, window: &[u8], at: usize, ended: bool, known: Option<(u32, u32)>) -> Verdict {
        let enough_at_end = if known.is_some() { 1 } else { 2 };
        let if_ended = |yes| match (ended, yes) {
            (false, _) => Verdict::Open,
            (true, true) => Verdict::Yes,
            (true, false) => Verdict::No,
        };
        let mut at = at;
        let mut known = known;
        for seen in 0..CHAIN {
            let Some(rest) = window.get(at..) else { return if_ended(seen >= 2) };
            if rest.is_empty() {
                return if_ended(seen >= enough_at_end);
            }
            let Some(head) = self.head(rest) else { return if_ended(seen >= 2) };
            if !self.plausible(head, known) {
                return Verdict::No;
            }
            known = known.or(Some((head.seconds, head.seconds)));
            at = at.saturating_add(self.record_header).saturating_add(size(head.captured));
        }
        Verdict::Yes
    }

    /// Whether a record, or the end of the file, follows an odd record that ends at `whole`. The one that
    /// follows may be odd too: some programs write every record so.
    fn vouched(&self, odd: Head, window: &[u8], whole: usize, ended: bool) -> Verdict {
        let rest = window.get(whole..).unwrap_or_default();
        match self.head(rest) {
            Some(head) if head.captured <= self.longest && head.is_near(odd.seconds) => Verdict::Yes,
            Some(_) => Verdict::No,
            None if ended => Verdict::Yes,
            None => Verdict::Open,
        }
    }

    fn plausible(&self, head: Head, known: Option<(u32, u32)>) -> bool {
        let length = are_lengths(head.captured, head.original);
        let near = known.is_none_or(|(first, last)| head.is_near(first) || head.is_near(last));
        length && head.fraction < self.fractions && near
    }
}

/// Whether a record may have these lengths. No empty ones: a run of zeros would be an endless row of them.
#[inline]
const fn are_lengths(captured: u32, original: u32) -> bool {
    captured > 0 && captured <= PLAUSIBLE && original >= captured
}

impl Head {
    fn is_near(self, seconds: u32) -> bool {
        let distance = i64::from(self.seconds) - i64::from(seconds);
        (-PLAUSIBLE_BEFORE..=PLAUSIBLE_AFTER).contains(&distance)
    }
}
