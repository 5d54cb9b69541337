//! One captured frame, and what a whole file said of itself.

use crate::units::BitsPerSecond;
use crate::units::CaptureTime;
use crate::units::Nanos;

/// A link type as the capture formats number it (the `LINKTYPE_` list).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct LinkType(pub u16);

impl LinkType {
    /// BSD loopback: 4 octets of address family, host order of the capturing machine.
    pub const NULL: Self = Self(0);
    /// Ethernet.
    pub const ETHERNET: Self = Self(1);
    /// Raw IP, version in the first nibble (12 and 14 on some systems, 101 in files).
    pub const RAW: Self = Self(101);
    /// OpenBSD loopback: 4 octets of address family, network order.
    pub const LOOP: Self = Self(108);
    /// Linux cooked capture, version 1.
    pub const LINUX_SLL: Self = Self(113);
    /// Raw IPv4.
    pub const IPV4: Self = Self(228);
    /// Raw IPv6.
    pub const IPV6: Self = Self(229);
    /// Linux cooked capture, version 2.
    pub const LINUX_SLL2: Self = Self(276);
}

/// One captured frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Record<'a> {
    /// Counted from 1 within its file.
    pub number: u64,
    /// When it was captured; `None` for a pcapng Simple Packet Block, which has no time.
    pub time: Option<CaptureTime>,
    /// What the octets are.
    pub link: LinkType,
    /// Index of the capture interface within the file, 0 for pcap, counted over all sections.
    pub interface: u32,
    /// Octets the frame had on the wire as far as the capture says; larger than `octets` where snapped.
    pub original_len: u32,
    /// Frame check octets at the end of `original_len`, where the file says so or the octets show it.
    pub fcs_octets: Option<u8>,
    /// What was captured.
    pub octets: &'a [u8],
}

/// How a file is laid out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FileFormat {
    /// The classic format, with µs or ns stamps.
    Pcap,
    /// The block format.
    Pcapng,
}

/// How a file is packed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Compression {
    /// RFC 1952.
    Gzip,
    /// RFC 8878.
    Zstd,
}

/// Something in the file that could not be read as it should.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Damage {
    /// Octets from the start of the (unpacked) capture.
    pub offset: u64,
    /// What was found, and what was done about it.
    pub text: String,
}

/// What a file held, known once it was read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CaptureSummary {
    /// As the user named it.
    pub file: String,
    /// Its layout.
    pub format: FileFormat,
    /// How it was packed, if it was.
    pub compression: Option<Compression>,
    /// Records read.
    pub packets: u64,
    /// Sum of the records' original lengths.
    pub octets: u64,
    /// Earliest stamp.
    pub first: Option<CaptureTime>,
    /// Latest stamp.
    pub last: Option<CaptureTime>,
    /// The finest step of a stamp, the coarsest of its interfaces; rounded up to whole ns.
    pub resolution: Option<Nanos>,
    /// Records of which fewer octets were kept than were on the wire.
    pub snapped: u64,
    /// The most octets that were kept of one of those.
    pub snapped_to: Option<u32>,
    /// Stamps earlier than the record before on the same interface.
    pub time_backsteps: u64,
    /// Frames that end with their check sequence though the file does not say so.
    pub undeclared_checks: u64,
    /// Frames the capturing machine says it lost; `None` where it says nothing.
    pub drops_reported: Option<u64>,
    /// The interfaces' speed as the file has it (`if_speed`); `None` where it says nothing or several.
    pub link_speed: Option<BitsPerSecond>,
    /// Every speed that an interface has by the file, once; the first few.
    pub link_speeds: Vec<BitsPerSecond>,
    /// Link types met, in order of appearance.
    pub link_types: Vec<LinkType>,
    /// What could not be read.
    pub damage: Vec<Damage>,
}
