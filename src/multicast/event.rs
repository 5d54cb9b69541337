//! What happened to queriers and members.

use std::net::IpAddr;

use super::member::Host;
use super::segment::SegmentKey;
use crate::observations::Place;
use crate::units::CaptureTime;

/// Something that happened.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Event {
    /// When; for what runs out, when it did.
    pub time: CaptureTime,
    /// Where: VLAN and IP version.
    pub segment: SegmentKey,
    /// The message that shows it; for what runs out the last one before.
    pub place: Place,
    /// What.
    pub what: Happening,
}

/// The kinds of events. Memberships of link-local groups make none: nobody needs to ask for those.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Happening {
    /// Another address asks than before: it is lower, or the former one is silent.
    QuerierChanged {
        /// Who asked.
        before: IpAddr,
        /// Who asks.
        after: IpAddr,
    },
    /// The querier has not asked for longer than others wait before they take over.
    QuerierSilent {
        /// Who asked.
        querier: IpAddr,
    },
    /// The querier that was silent asks again, nobody else having taken over.
    QuerierReturned {
        /// Who asks.
        querier: IpAddr,
    },
    /// Two ask at the same time, again and again: they do not hear each other, or the higher one does not mind.
    QueriersContend {
        /// The lower address, which ought to be the only one.
        lower: IpAddr,
        /// The one that goes on asking.
        higher: IpAddr,
    },
    /// Nobody asks but one without an address.
    QuerierNameless {
        /// 0.0.0.0 or ::.
        querier: IpAddr,
    },
    /// A host asked for a group without being asked.
    Joined {
        /// Who.
        host: Host,
        /// For what.
        group: IpAddr,
    },
    /// A host said that it no longer wants a group.
    Left {
        /// Who.
        host: Host,
        /// What.
        group: IpAddr,
    },
    /// A membership was not renewed in time.
    Expired {
        /// Whose.
        host: Host,
        /// Of what.
        group: IpAddr,
    },
    /// Nobody answered when the querier asked for the group alone, so its members are forgotten.
    Unanswered {
        /// Whose membership ended.
        host: Host,
        /// Of what.
        group: IpAddr,
    },
}

impl Happening {
    /// The `kind` in the JSON report.
    #[must_use]
    pub const fn kind(&self) -> &'static str {
        match self {
            Self::QuerierChanged { .. } => "querier-changed",
            Self::QuerierSilent { .. } => "querier-silent",
            Self::QuerierReturned { .. } => "querier-returned",
            Self::QueriersContend { .. } => "querier-contention",
            Self::QuerierNameless { .. } => "querier-without-address",
            Self::Joined { .. } => "member-joined",
            Self::Left { .. } => "member-left",
            Self::Expired { .. } | Self::Unanswered { .. } => "membership-expired",
        }
    }
}
