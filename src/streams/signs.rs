//! Which payload format the first octets of packet after packet run as.
//!
//! One packet's octets prove nothing. Over many packets the fields that an RFC defines have to go on as it says: fragments
//! begin and end, counters count, lengths fill the packet. What keeps to one format's rules often enough, and breaks none
//! of them, is of that format.

use super::packet::Rtp;
use crate::bytes::DecodeError;
use crate::rtp::payload::ancillary;
use crate::rtp::payload::jpeg_2000;
use crate::rtp::payload::jpeg_xs;
use crate::rtp::payload::uncompressed;

/// Packets that are looked at (chosen: two pictures of a heavy stream).
const PACKETS: u16 = 4096;
/// Fragmented units that have to be whole, or pictures (chosen).
const UNITS: u16 = 2;
/// Packets whose lengths or counters have to be right (chosen).
const STEPS: u16 = 8;
/// Octets of payload headers.
const ANCILLARY_HEADER: u16 = 8;
const JPEG_2000_HEADER: u16 = 8;
/// The longest header without repeated parts.
const LONGEST_FIXED: usize = 8;

/// A payload format that shows itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Format {
    /// RFC 6184.
    H264,
    /// RFC 7798.
    H265,
    /// RFC 9134.
    JpegXs,
    /// RFC 5371.
    Jpeg2000,
    /// RFC 4175, ST 2110-20.
    Uncompressed,
    /// RFC 8331, ST 2110-40.
    Ancillary,
}

impl Format {
    const ALL: [Self; 6] =
        [Self::H264, Self::H265, Self::JpegXs, Self::Jpeg2000, Self::Uncompressed, Self::Ancillary];

    /// The media subtype.
    pub(super) const fn name(self) -> &'static str {
        match self {
            Self::H264 => "H264",
            Self::H265 => "H265",
            Self::JpegXs => "jxsv",
            Self::Jpeg2000 => "jpeg2000",
            Self::Uncompressed => "raw",
            Self::Ancillary => "smpte291",
        }
    }
}

/// How far one format fits.
#[derive(Debug, Clone, Copy, Default)]
struct Case {
    broken: bool,
    /// Packets that were as they have to be and could have been otherwise.
    steps: u16,
    /// Units or pictures that were whole.
    units: u16,
    /// What the last packet left open.
    open: Open,
}

/// What the next packet has to go on with.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
enum Open {
    /// Nothing is known of the packet before.
    #[default]
    Unknown,
    /// A new unit begins.
    Closed,
    /// A fragmented unit with this header goes on.
    Unit(u8),
    /// The next packet has this number, or octet, of the picture with this timestamp.
    Next(u32, u32),
}

/// The cases for each format. Memory: 150 octets.
#[derive(Debug, Clone, Default)]
pub(super) struct Signs {
    packets: u16,
    last: Option<u16>,
    cases: [Case; Format::ALL.len()],
}

impl Signs {
    /// Whether more packets are wanted.
    pub(super) const fn is_open(&self) -> bool {
        self.packets < PACKETS
    }

    /// Takes in the next packet: its payload as far as it was captured, and the octets it had.
    pub(super) fn push(&mut self, rtp: Rtp, payload: &[u8], octets: u16) {
        self.packets += 1;
        let follows = self.last.is_some_and(|last| rtp.sequence.wrapping_sub(last) == 1);
        self.last = Some(rtp.sequence);
        // Where the capture cut the headers off, nothing is shown or broken.
        let is_cut = payload.len() < usize::from(octets);
        if is_cut && payload.len() < LONGEST_FIXED {
            self.last = None;
            return;
        }
        for (format, case) in Format::ALL.into_iter().zip(&mut self.cases).filter(|(_, case)| !case.broken) {
            if !follows {
                case.open = Open::Unknown;
            }
            let kept = match format {
                Format::H264 => nal_units(case, rtp, h264(payload)),
                Format::H265 => nal_units(case, rtp, h265(payload)),
                Format::JpegXs => case_jpeg_xs(case, rtp, payload),
                Format::Jpeg2000 => case_jpeg_2000(case, rtp, payload, octets),
                Format::Uncompressed => case_uncompressed(case, rtp, payload, octets),
                Format::Ancillary => case_ancillary(case, payload, octets),
            };
            case.broken = kept.is_none();
        }
        if self.cases.iter().all(|case| case.broken) {
            self.packets = PACKETS;
        }
    }

    /// Adds what followed.
    pub(super) fn join(&mut self, right: &Self) {
        if !self.is_open() {
            return;
        }
        self.packets = self.packets.saturating_add(right.packets).min(PACKETS);
        self.last = right.last.or(self.last);
        for (left, right) in self.cases.iter_mut().zip(&right.cases) {
            left.broken |= right.broken;
            left.steps = left.steps.saturating_add(right.steps);
            left.units = left.units.saturating_add(right.units);
            left.open = right.open;
        }
    }

    /// The format, where it is one only.
    pub(super) fn format(&self) -> Option<Format> {
        let shown = |(format, case): &(Format, &Case)| {
            let enough = match format {
                // Pictures of one row are none.
                Format::Uncompressed => case.steps >= STEPS && case.units >= STEPS / 2,
                Format::Ancillary => case.steps >= STEPS,
                _ => case.units >= UNITS && case.steps >= STEPS.min(2 * UNITS),
            };
            !case.broken && enough
        };
        let mut found = Format::ALL.into_iter().zip(&self.cases).filter(shown);
        let first = found.next()?;
        found.next().is_none().then_some(first.0)
    }
}

/// A packet of NAL units.
enum Nal {
    /// Whole units.
    Whole,
    /// A fragment: the unit's header, and whether it begins or ends here.
    Fragment { unit: u8, start: bool, end: bool },
}

/// `None` where no H.264 packet begins so (RFC 6184 sections 5.3 and 5.8; interleaved modes are left out).
fn h264(payload: &[u8]) -> Option<Nal> {
    // Types 1 and 5 to 12 are slices, parameter sets, information and delimiters; 2 to 4 have not been seen in use.
    const UNITS: std::ops::RangeInclusive<u8> = 5..=12;
    let [header, rest @ ..] = payload else { return None };
    if header & 0x80 != 0 {
        return None;
    }
    match header & 0x1F {
        28 => {
            let (unit, start, end) = fragment(rest, 0x20)?;
            let known = unit == 1 || UNITS.contains(&unit);
            known.then_some(Nal::Fragment { unit: header & 0x60 | unit, start, end })
        }
        1 | 24 => Some(Nal::Whole),
        unit => UNITS.contains(&unit).then_some(Nal::Whole),
    }
}

/// `None` where no H.265 packet begins so (RFC 7798 sections 1.1.4 and 4.4).
fn h265(payload: &[u8]) -> Option<Nal> {
    let [first, second, rest @ ..] = payload else { return None };
    // Forbidden bit, layers above the base, and temporal identifier 0, which is not valid.
    if first & 0x81 != 0 || second & 0xF8 != 0 || second & 0x07 == 0 {
        return None;
    }
    let known = |unit: u8| matches!(unit, 0..=9 | 16..=21 | 32..=40);
    match first >> 1 {
        49 => {
            let (unit, start, end) = fragment(rest, 0)?;
            known(unit).then_some(Nal::Fragment { unit, start, end })
        }
        48 => Some(Nal::Whole),
        unit => known(unit).then_some(Nal::Whole),
    }
}

/// The header of a fragment: unit type, start, end; `None` where `reserved` bits are set or it starts and ends at once.
fn fragment(rest: &[u8], reserved: u8) -> Option<(u8, bool, bool)> {
    let header = *rest.first()?;
    let (start, end) = (header & 0x80 != 0, header & 0x40 != 0);
    let mask = if reserved == 0 { 0x3F } else { 0x1F };
    (header & reserved == 0 && !(start && end)).then_some((header & mask, start, end))
}

/// Fragments begin, go on with the same header and end; no picture ends within a fragmented unit.
fn nal_units(case: &mut Case, rtp: Rtp, nal: Option<Nal>) -> Option<()> {
    let open = case.open;
    match nal? {
        Nal::Whole => {
            case.open = Open::Closed;
            return (!matches!(open, Open::Unit(_))).then_some(());
        }
        Nal::Fragment { unit, start, end } => {
            let fits = match open {
                Open::Unit(before) => !start && unit == before,
                Open::Closed => start,
                Open::Unknown | Open::Next(..) => true,
            };
            if !fits || (rtp.marker && !end) {
                return None;
            }
            case.steps = case.steps.saturating_add(u16::from(open != Open::Unknown));
            case.units = case.units.saturating_add(u16::from(end && matches!(open, Open::Unit(_))));
            case.open = match (start, end, open) {
                (_, true, _) => Open::Closed,
                (true, ..) | (_, _, Open::Unit(_)) => Open::Unit(unit),
                // Its beginning was not seen.
                _ => Open::Unknown,
            };
        }
    }
    Some(())
}

/// Packets count up within a picture and begin anew with the next (RFC 9134 section 4.3, sequential packets of whole
/// codestreams; slices begin anew as well).
fn case_jpeg_xs(case: &mut Case, rtp: Rtp, payload: &[u8]) -> Option<()> {
    let header = jpeg_xs(payload).ok().filter(|header| header.sequential && header.interlaced != 1)?;
    if rtp.marker && !header.last {
        return None;
    }
    let number = if header.slice_mode {
        u32::from(header.packet_counter)
    } else {
        u32::from(header.sep_counter) << 11 | u32::from(header.packet_counter)
    };
    match case.open {
        Open::Unknown | Open::Unit(_) => {}
        Open::Closed if number == 0 => case.units = case.units.saturating_add(1),
        Open::Next(next, stamp) if number == next && stamp == rtp.timestamp => {
            case.steps = case.steps.saturating_add(1);
        }
        Open::Closed | Open::Next(..) => return None,
    }
    case.open = if header.last { Open::Closed } else { Open::Next(number + 1, rtp.timestamp) };
    Some(())
}

/// The offset grows by what each packet carries and begins anew with the next picture (RFC 5371 section 3).
fn case_jpeg_2000(case: &mut Case, rtp: Rtp, payload: &[u8], octets: u16) -> Option<()> {
    let header = jpeg_2000(payload).ok().filter(|header| header.reserved == 0)?;
    let carried = u32::from(octets.checked_sub(JPEG_2000_HEADER)?);
    match case.open {
        Open::Unknown | Open::Unit(_) | Open::Closed => {}
        Open::Next(next, stamp) if stamp == rtp.timestamp => {
            if header.fragment_offset != next {
                return None;
            }
            case.steps = case.steps.saturating_add(1);
        }
        Open::Next(..) => {
            if header.fragment_offset != 0 {
                return None;
            }
            case.units = case.units.saturating_add(1);
        }
    }
    case.open = Open::Next(header.fragment_offset + carried, rtp.timestamp);
    Some(())
}

/// The rows go on from packet to packet, and their lengths fill the packet (RFC 4175 section 4.3); where a picture ends there may be padding (ST 2110-20
/// clause 6.3.3, from memory).
fn case_uncompressed(case: &mut Case, rtp: Rtp, payload: &[u8], octets: u16) -> Option<()> {
    let header = match uncompressed(payload) {
        Ok(header) => header,
        Err(DecodeError::Short { .. }) if payload.len() < usize::from(octets) => return Some(()),
        Err(_) => return None,
    };
    let rows: usize = header.segments().iter().map(|segment| usize::from(segment.length)).sum();
    let filled = rows + header.header_octets;
    if filled == usize::from(octets) && rows > 0 {
        case.steps = case.steps.saturating_add(1);
        let place = header.segments().first().map(|first| (u32::from(first.row), u32::from(first.offset)))?;
        // Ancillary data, whose line number stands there too, stays at one.
        let moves = matches!(case.open, Open::Next(row, offset) if (row, offset) != place);
        case.units = case.units.saturating_add(u16::from(moves));
        case.open = Open::Next(place.0, place.1);
        return Some(());
    }
    (rtp.marker && filled < usize::from(octets)).then_some(())
}

/// The length is that of the packet, reserved bits are 0 (RFC 8331 section 2.1). A packet without data shows nothing.
fn case_ancillary(case: &mut Case, payload: &[u8], octets: u16) -> Option<()> {
    let header = ancillary(payload).ok()?;
    let reserved = payload.get(5..8)?;
    let is_clear = matches!(reserved, [first, 0, 0] if first & 0x3F == 0) && reserved.first()? >> 6 != 1;
    let carried = octets.checked_sub(ANCILLARY_HEADER)?;
    if !is_clear || header.length != carried || (header.count == 0) != (carried == 0) {
        return None;
    }
    case.steps = case.steps.saturating_add(u16::from(carried > 0));
    Some(())
}
