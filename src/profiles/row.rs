//! What a profile is made of: rows that say what is wanted, whence that is known, and how surely.

use crate::domains::Kind;
use crate::domains::Mechanism;
use crate::domains::TlvKind;
use crate::observations::Transport;
use crate::units::MacAddress;

/// How surely a row's allowed values are known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Confidence {
    /// Read in the source that the row names.
    Verified,
    /// The standard's text was not opened.
    FromMemory,
    /// As before, and doubtful, or sources disagree. Such a row alone never says that a profile does not fit.
    Unsure,
}

impl Confidence {
    /// The name in reports: `verified`, `from-memory` or `unsure`.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Verified => "verified",
            Self::FromMemory => "from-memory",
            Self::Unsure => "unsure",
        }
    }
}

/// Whose interval.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Interval {
    /// `logAnnounceInterval`.
    Announce,
    /// `logSyncInterval`; v1 `syncInterval`.
    Sync,
    /// `logMinDelayReqInterval`, which Delay_Resp declares.
    DelayReq,
    /// `logMinPdelayReqInterval`.
    PdelayReq,
}

/// A field of the data that clocks announce.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Field {
    /// `grandmasterPriority1`.
    Priority1,
    /// `grandmasterPriority2`.
    Priority2,
    /// `grandmasterClockQuality.clockClass`.
    ClockClass,
    /// v1 `grandmasterClockStratum`.
    Stratum,
}

/// How many messages of a kind must carry a TLV.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum How {
    /// Each.
    Every,
    /// At least one of those seen; without any of the kind nothing can be told.
    Some,
    /// At least one, once clocks have announced for some seconds.
    InTime,
}

/// What a row wants. An empty or absent `allowed` lets every value pass, so that only the default is compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Want {
    /// `versionPTP`.
    Version(u8),
    /// `domainNumber`: usual values, and first and last of those allowed.
    Domain {
        /// Usual values.
        default: &'static [u8],
        /// First and last allowed.
        allowed: Option<(u8, u8)>,
    },
    /// v1 `subdomain`: the usual one; others are allowed.
    Subdomain(&'static str),
    /// `sdoId`: the usual one first.
    SdoId(&'static [u16]),
    /// What may carry it.
    Transport(&'static [Transport]),
    /// How delay may be asked for.
    DelayMechanism(&'static [Mechanism]),
    /// An interval, log2 s.
    Interval {
        /// Whose.
        of: Interval,
        /// The usual one.
        default: Option<i8>,
        /// Shortest and longest.
        allowed: Option<(i8, i8)>,
    },
    /// An interval bound to that of Sync, log2: the usual one is equal to it.
    AboveSync {
        /// Whose.
        of: Interval,
        /// Least and most above it.
        allowed: (i8, i8),
    },
    /// Whether messages of a kind go to a group or to one receiver.
    Cast {
        /// The kind.
        of: Kind,
        /// To a group.
        multicast: bool,
    },
    /// Destination MAC addresses over IEEE 802.3.
    GroupAddress(&'static [MacAddress]),
    /// Frames without VLAN or priority tag.
    Untagged,
    /// Priority code point where tagged.
    PcpWhereTagged(u8),
    /// A field of the announced data.
    Announced {
        /// Which.
        field: Field,
        /// Usual values.
        default: &'static [u8],
        /// First and last of each span allowed.
        allowed: &'static [(u8, u8)],
    },
    /// A TLV that must be there, any one of `tlvs`.
    Carries {
        /// The kind of message.
        kind: Kind,
        /// Any of these.
        tlvs: &'static [TlvKind],
        /// How it is called.
        name: &'static str,
        /// How many must carry it.
        how: How,
    },
    /// `profileIdentity` as CLOCK_DESCRIPTION answers tell it.
    ProfileIdentity(&'static [[u8; 6]]),
    /// The usual step mode; both are allowed.
    TwoStep(bool),
    /// The usual time to live of IP; others are allowed.
    Ttl(u8),
    /// The usual code point of Sync and Delay_Req; others are allowed.
    Dscp(u8),
    /// `durationField` of unicast grants, s.
    GrantDuration {
        /// The usual one.
        default: u32,
        /// Shortest and longest.
        allowed: (u32, u32),
    },
    /// Part of the profile, and nothing that PTP messages show.
    NotOnTheWire {
        /// What it is called.
        item: &'static str,
        /// Default as text.
        default: &'static str,
        /// Range as text.
        allowed: &'static str,
    },
}

/// One row of a profile.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Row {
    /// What is wanted.
    pub want: Want,
    /// How surely the allowed values are known (where all are allowed: the default).
    pub confidence: Confidence,
    /// Standard and clause, and where the values were read.
    pub source: &'static str,
}

/// A profile.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Profile {
    /// Its name in reports and site files.
    pub name: &'static str,
    /// What it is called in full.
    pub title: &'static str,
    /// Its parameters.
    pub rows: &'static [Row],
    /// Values that together set it apart from the others (chosen from the rows' defaults): all at their defaults is a
    /// strong hint. They rank, they do not judge.
    pub signature: &'static [Want],
}

pub(super) const fn verified(want: Want, source: &'static str) -> Row {
    Row { want, confidence: Confidence::Verified, source }
}

pub(super) const fn from_memory(want: Want, source: &'static str) -> Row {
    Row { want, confidence: Confidence::FromMemory, source }
}

pub(super) const fn unsure(want: Want, source: &'static str) -> Row {
    Row { want, confidence: Confidence::Unsure, source }
}
