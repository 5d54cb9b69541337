//! What both formats' walkers have in common: they look at a window of octets and say what is at its front.
//!
//! A walker neither reads nor keeps octets, so the same code serves a stream's buffer and a slice of a file.

use std::ops::Range;

use crate::units::CaptureTime;
use crate::units::Nanos;

use super::damage::DamageList;
use super::pcap::Pcap;
use super::pcapng::Pcapng;
use super::record::FileFormat;
use super::record::LinkType;
use super::record::Record;

/// The longest record or block that is believed.
///
/// Frames are at most 262,144 octets in captures (libpcap's `MAXIMUM_SNAPLEN`, from memory); blocks of names
/// or secrets may be longer. 16 MiB leaves them room and keeps a hostile length from taking the memory.
pub(super) const LONGEST: u32 = 16 << 20;

/// The longest frame that counts as plausible while looking for the next record after damage.
pub(super) const PLAUSIBLE: u32 = 262_144;

/// What stands at the front of a window.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum Step {
    /// A frame.
    Frame(Frame),
    /// The window is too short to tell; it must hold this many octets. Never said of an ended window.
    Need(usize),
    /// No frame; so many octets are done with.
    Pass(usize),
}

/// A frame in a window.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Frame {
    pub(super) time: Option<CaptureTime>,
    pub(super) link: LinkType,
    pub(super) interface: u32,
    pub(super) original_len: u32,
    pub(super) fcs_octets: Option<u8>,
    /// Where in the window its octets are.
    pub(super) data: Range<usize>,
    /// Octets of the window that are done with once the frame is.
    pub(super) taken: usize,
}

impl Frame {
    /// As the record of a number, whose octets are these.
    #[inline]
    pub(super) const fn record<'a>(&self, number: u64, octets: &'a [u8]) -> Record<'a> {
        Record {
            number,
            time: self.time,
            link: self.link,
            interface: self.interface,
            original_len: self.original_len,
            fcs_octets: self.fcs_octets,
            octets,
        }
    }
}

/// Where the window sits in the unpacked capture.
#[derive(Debug, Clone, Copy)]
pub(super) struct Place {
    /// Offset of the window's first octet.
    pub(super) at: u64,
    /// Whether the capture ends where the window ends.
    pub(super) ended: bool,
}

/// The place where sense was lost, while the next plausible record is looked for.
#[derive(Debug, Clone)]
pub(super) struct Lost {
    pub(super) from: u64,
    pub(super) why: String,
}

impl Lost {
    /// The damage entry for a search that ended at `found`.
    pub(super) fn found(self, found: u64, what: &str, damage: &mut DamageList) {
        let skipped = found.saturating_sub(self.from);
        damage
            .add(self.from, format!("{}; skipped {skipped} octets to the next {what} at {found}", self.why));
    }

    /// The damage entry for a search that met the end.
    pub(super) fn gave_up(self, end: u64, what: &str, damage: &mut DamageList) {
        let skipped = end.saturating_sub(self.from);
        damage.add(
            self.from,
            format!("{}; no {what} follows, the last {skipped} octets are not read", self.why),
        );
    }
}

/// Whether a record begins at a place, as far as the window shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Verdict {
    No,
    /// The window is too short.
    Open,
    Yes,
}

/// Finds the first place from `from` on that `judge` does not refuse.
pub(super) fn find(len: usize, from: usize, judge: impl Fn(usize) -> Verdict) -> Option<(usize, Verdict)> {
    (from..len).map(|at| (at, judge(at))).find(|(_, verdict)| *verdict != Verdict::No)
}

/// A walker of either format.
#[derive(Debug, Clone)]
pub(super) enum Walker {
    Pcap(Pcap),
    Pcapng(Box<Pcapng>),
}

impl Walker {
    pub(super) fn step(&mut self, window: &[u8], place: Place, damage: &mut DamageList) -> Step {
        match self {
            Self::Pcap(walker) => walker.step(window, place, damage),
            Self::Pcapng(walker) => walker.step(window, place, damage),
        }
    }

    /// The record that nearly every one is, where it stands at the front: what [`Walker::step`] would say, which is to be asked
    /// else. Not for a walker that has lost its way.
    #[inline]
    pub(super) fn common(&mut self, window: &[u8]) -> Option<Frame> {
        match self {
            Self::Pcap(walker) => walker.common(window),
            Self::Pcapng(walker) => walker.common(window),
        }
    }

    /// To be called once when all octets were walked, `end` being how many there were.
    pub(super) fn end(&mut self, end: u64, damage: &mut DamageList) {
        match self {
            Self::Pcap(walker) => walker.end(end, damage),
            Self::Pcapng(walker) => walker.end(end, damage),
        }
    }

    /// One that walks a part of the same capture and knows what this one was told.
    pub(super) fn for_part(&self) -> Self {
        match self {
            Self::Pcap(walker) => Self::Pcap(walker.for_part()),
            Self::Pcapng(walker) => Self::Pcapng(Box::new(walker.for_part())),
        }
    }

    /// Whether a record, and records behind it, seem to begin at `at`; `told` is the walker of the file's beginning, `ended`
    /// whether the file ends where the window ends.
    pub(super) fn seems_to_begin(&self, window: &[u8], at: usize, ended: bool, told: &Self) -> Verdict {
        match (self, told) {
            (Self::Pcap(walker), Self::Pcap(told)) => walker.seems_to_begin(window, at, ended, told),
            (Self::Pcapng(walker), _) => walker.seems_to_begin(window, at, ended),
            (Self::Pcap(_), Self::Pcapng(_)) => Verdict::No,
        }
    }

    /// Whether sense was lost and the next record is being looked for.
    pub(super) fn is_lost(&self) -> bool {
        match self {
            Self::Pcap(walker) => walker.is_lost(),
            Self::Pcapng(walker) => walker.is_lost(),
        }
    }

    /// How often something was told that the reading of later records depends on.
    pub(super) fn tellings(&self) -> u32 {
        match self {
            Self::Pcap(_) => 0,
            Self::Pcapng(walker) => walker.tellings(),
        }
    }

    /// Takes in what the walker of the part behind this one's place has counted.
    pub(super) fn adopt(&mut self, part: &Self) {
        match (self, part) {
            (Self::Pcap(walker), Self::Pcap(part)) => walker.adopt(part),
            (Self::Pcapng(walker), Self::Pcapng(part)) => walker.adopt(part),
            (Self::Pcap(_) | Self::Pcapng(_), _) => {}
        }
    }

    pub(super) fn format(&self) -> FileFormat {
        match self {
            Self::Pcap(_) => FileFormat::Pcap,
            Self::Pcapng(_) => FileFormat::Pcapng,
        }
    }

    /// The step of the stamps of an interface.
    pub(super) fn resolution(&self, interface: u32) -> Option<Nanos> {
        match self {
            Self::Pcap(walker) => Some(walker.resolution()),
            Self::Pcapng(walker) => walker.resolution(interface),
        }
    }

    /// Frames the file says were lost; pcap has no place to say so.
    /// The interfaces' speed, where those that tell one tell the same.
    pub(super) fn link_speed(&self) -> Option<u64> {
        match self {
            Self::Pcap(_) => None,
            Self::Pcapng(walker) => walker.link_speed(),
        }
    }

    /// Every speed that an interface has by the file, once; the first few.
    pub(super) fn link_speeds(&self) -> Vec<u64> {
        match self {
            Self::Pcap(_) => Vec::new(),
            Self::Pcapng(walker) => walker.link_speeds(),
        }
    }

    pub(super) fn drops_reported(&self) -> Option<u64> {
        match self {
            Self::Pcap(_) => None,
            Self::Pcapng(walker) => walker.drops_reported(),
        }
    }
}
