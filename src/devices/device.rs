//! A device and its state.

use std::collections::BTreeSet;
use std::net::IpAddr;

use crate::clock::FollowerTime;
use crate::domains::ClockId;
use crate::domains::DomainKey;
use crate::names::Name;
use crate::streams::Stream;
use crate::strength::Strength;
use crate::units::MacAddress;

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
    /// It sends media and shows no PTP, though the capture would.
    Unclocked,
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
    pub const ALL: [Self; 10] = [
        Self::Rival,
        Self::Astray,
        Self::Unanswered,
        Self::Adrift,
        Self::Unclocked,
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
            Self::Unclocked => "unclocked",
            Self::Unproven => "unproven",
        }
    }
}

/// A device: everything that shows one box.
#[derive(Debug, Clone, PartialEq)]
pub struct Device {
    /// Its MAC address where one is known, else its clock identity.
    pub key: String,
    /// What it calls itself; `None` where it was not heard to say.
    pub name: Option<Name>,
    /// MAC addresses it sent PTP from; by ARP and its like where that has none.
    pub macs: BTreeSet<MacAddress>,
    /// IP addresses it sent PTP from, and those that its MAC address claims.
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
    /// How much faster its media clock runs than the leader's, 10⁻⁶; of several streams the one farthest off.
    pub media_rate_ppm: Option<f64>,
    /// Why that is said.
    pub reasons: Vec<String>,
    /// What would be said of it if the capture could have shown the thing that is missing.
    pub withheld: Vec<Withheld>,
}

/// A state that rests on an absence which this capture does not bear out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Withheld {
    /// The state that is not said.
    pub state: State,
    /// The domain it would be said of.
    pub domain: DomainKey,
    /// Why the missing thing may be out of view.
    pub why: &'static str,
}

impl Device {
    /// Whether it sends a stream: from one of its IP addresses or, where those are not known, its MAC addresses.
    #[must_use]
    pub fn sends(&self, stream: &Stream) -> bool {
        match stream.source() {
            Some(ip) if !self.ips.is_empty() => self.ips.contains(&ip),
            _ => stream.macs.first().is_some_and(|mac| self.macs.contains(mac)),
        }
    }

    /// Whether `clock` is one of its clocks.
    #[must_use]
    pub fn has_clock(&self, clock: ClockId) -> bool {
        self.clocks.contains(&clock)
    }
}
