//! A device and its state.

use std::collections::BTreeSet;
use std::net::IpAddr;

use crate::clock::FollowerTime;
use crate::domains::ClockId;
use crate::domains::DomainKey;
use crate::names::Name;
use crate::units::MacAddress;

/// How firmly something is said.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Strength {
    /// The octets say it.
    Shown,
    /// The octets fit it and the alternatives were looked at.
    Inferred,
    /// This capture cannot say.
    CannotTell,
}

impl Strength {
    /// The name in the JSON report.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Shown => "shown",
            Self::Inferred => "inferred",
            Self::CannotTell => "cannot-tell",
        }
    }
}

/// What a device does on the clock.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum State {
    /// It keeps leading beside a better clock in the same domain, beyond a hand-over.
    Rival,
    /// It takes part in a domain or PTP version other than the site's.
    Astray,
    /// It asks, the capture could show the answers, and none comes.
    Unanswered,
    /// It takes part, and its time or rate is measurably off.
    Adrift,
    /// It is the grandmaster of its domain.
    Leading,
    /// It follows on one port and leads on another.
    Relaying,
    /// Its requests are answered, or a management answer says that it follows.
    Following,
    /// It has announced, lost the election and is quiet, or is passive.
    StandingBy,
    /// Seen, but this capture cannot say more.
    Unproven,
}

impl State {
    /// Every state, what needs attention first.
    pub const ALL: [Self; 9] = [
        Self::Rival,
        Self::Astray,
        Self::Unanswered,
        Self::Adrift,
        Self::Leading,
        Self::Relaying,
        Self::Following,
        Self::StandingBy,
        Self::Unproven,
    ];

    /// The name in the JSON report.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Leading => "leading",
            Self::Relaying => "relaying",
            Self::Following => "following",
            Self::StandingBy => "standing-by",
            Self::Rival => "rival",
            Self::Unanswered => "unanswered",
            Self::Astray => "astray",
            Self::Adrift => "adrift",
            Self::Unproven => "unproven",
        }
    }
}

/// A device: everything that shows one box.
#[derive(Debug, Clone, PartialEq)]
pub struct Device {
    /// Its MAC address where one is known, else its clock identity.
    pub key: String,
    /// What it is called; `None` where nobody says.
    pub name: Option<Name>,
    /// MAC addresses it sent from.
    pub macs: BTreeSet<MacAddress>,
    /// IP addresses it sent from.
    pub ips: BTreeSet<IpAddr>,
    /// Its clocks, v1 and v2.
    pub clocks: BTreeSet<ClockId>,
    /// Domains it sent in or was answered in.
    pub domains: BTreeSet<DomainKey>,
    /// The grandmaster of the domain that its state speaks of.
    pub leader: Option<ClockId>,
    /// Its time against that leader's, on the best basis there is.
    pub time: Option<FollowerTime>,
    /// The domain that its state speaks of.
    pub in_domain: Option<DomainKey>,
    /// What it does.
    pub state: State,
    /// How firmly that is said.
    pub strength: Strength,
    /// Why that is said.
    pub reasons: Vec<String>,
}

impl Device {
    /// Whether `clock` is one of its clocks.
    #[must_use]
    pub fn has_clock(&self, clock: ClockId) -> bool {
        self.clocks.contains(&clock)
    }
}
