//! A host's membership of a group.

use std::fmt;
use std::net::IpAddr;

use super::said::Version;
use super::sources::Sources;
use crate::observations::Instant;
use crate::observations::Place;
use crate::units::CaptureTime;
use crate::units::MacAddress;
use crate::units::Nanos;

/// Who is a member.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Host {
    /// By its IP address.
    Ip(IpAddr),
    /// By its MAC address: its reports come from 0.0.0.0 or ::, as those of a host without an address do (RFC 3376
    /// section 4.2.13, RFC 3810 section 5.2.13, from memory).
    Mac(MacAddress),
}

impl fmt::Display for Host {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Ip(address) => address.fmt(f),
            Self::Mac(mac) => mac.fmt(f),
        }
    }
}

/// Why a membership ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Ended {
    /// The host said so.
    Left,
    /// It was not renewed within the group membership interval.
    Expired,
    /// Nobody answered the queries for its group that follow a leave (RFC 2236 section 3, RFC 3376 section 6.4.2, from
    /// memory).
    Unanswered,
}

impl Ended {
    /// The name in the JSON report.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Left => "left",
            Self::Expired => "expired",
            Self::Unanswered => "unanswered",
        }
    }
}

/// A membership, as its reports show it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Membership {
    /// Where the reports come from.
    pub mac: Option<MacAddress>,
    /// The version of the last report.
    pub version: Version,
    /// Reports.
    pub reports: u64,
    /// The first report, or the leave where that is all.
    pub first: Place,
    /// The last report or leave.
    pub last: Place,
    /// The sources that it asks for, or asked for last; `None` where no report of it was captured.
    pub sources: Option<Sources>,
    /// The sources that it asked for at any time.
    pub(super) ever: Option<Sources>,
    /// How and when it ended; `None` while it holds.
    pub ended: Option<(Ended, CaptureTime)>,
    /// The last report, and how long it holds.
    pub(super) renewed: Option<(Instant, Nanos)>,
}

impl Membership {
    /// Whether it held at any time from `from` to `until` and has ever asked for what `source` sends, as far as its
    /// reports were captured.
    pub(super) fn held_during(&self, source: IpAddr, from: CaptureTime, until: CaptureTime) -> bool {
        let began = self.first.time.is_none_or(|first| first <= until);
        let is_asked_for = self.ever.as_ref().is_none_or(|ever| ever.admit(source));
        self.reports > 0 && began && is_asked_for && self.ended.is_none_or(|(_, end)| end >= from)
    }

    /// Whether it still held at `until`, or the capture's end, and asks for what `source` sends.
    pub(super) fn holds(&self, source: IpAddr, until: CaptureTime) -> bool {
        let admits = self.sources.as_ref().is_none_or(|sources| sources.admit(source));
        admits && self.ended.is_none_or(|(_, end)| end > until)
    }

    /// Takes in what it asks for from now on. What it asked for last is kept where it leaves.
    pub(super) fn asks_for(&mut self, sources: Sources) {
        self.ever = Some(self.ever.as_ref().map_or_else(|| sources.clone(), |ever| ever.join(&sources)));
        self.sources = Some(sources);
    }
}
