//! Paths and followers' times of all domains, worked out once.

use std::collections::BTreeMap;
use std::collections::BTreeSet;

use super::follower::FollowerTime;
use super::follower::times;
use super::path::Path;
use super::peer::Peer;
use super::steps::SetBacks;
use super::steps::Whose;
use crate::domains::ClockId;
use crate::domains::DomainKey;
use crate::domains::Domains;
use crate::units::CaptureTime;
use crate::units::Nanos;

/// What is known of time in every domain.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Clocks {
    paths: BTreeMap<DomainKey, Path>,
    peers: BTreeMap<DomainKey, Vec<Peer>>,
    followers: BTreeMap<(ClockId, DomainKey), Vec<FollowerTime>>,
}

impl Clocks {
    /// Of all domains of a capture whose stamps come in steps of `resolution` at the most.
    #[must_use]
    pub fn of(domains: &Domains, resolution: Nanos) -> Self {
        Self::of_stamps(domains, resolution, &[])
    }

    /// The same where the capture's clock was set back between.
    #[must_use]
    pub fn of_stamps(domains: &Domains, resolution: Nanos, set_backs: SetBacks<'_>) -> Self {
        let mut clocks = Self::default();
        for domain in domains.iter() {
            let path = Path::of_stamps(domains, domain, resolution, set_backs);
            let seen: BTreeSet<ClockId> = domain
                .ports
                .keys()
                .map(|port| port.clock)
                .chain(domain.requesters.keys().map(|(port, _)| port.clock))
                .collect();
            for clock in seen {
                let times = times(domain, path.as_ref(), clock, resolution);
                if !times.is_empty() {
                    clocks.followers.insert((clock, domain.key), times);
                }
            }
            clocks.peers.insert(domain.key, Peer::all(domain, resolution));
            if let Some(path) = path {
                clocks.paths.insert(domain.key, path);
            }
        }
        clocks
    }

    /// With the offset beyond which the site calls a clock adrift, where it says one.
    #[must_use]
    pub fn limited_to(mut self, limit: Option<Nanos>) -> Self {
        self.followers.values_mut().flatten().for_each(|time| time.limit = limit);
        self
    }

    /// Takes in jumps at which a media clock went on by the capture's clock: that did not jump, so the leader did.
    pub fn capture_went_on_at(&mut self, times: &BTreeSet<CaptureTime>) {
        for step in self.paths.values_mut().flat_map(|path| &mut path.steps) {
            if times.contains(&step.time) && !step.is_in_stamps {
                step.whose = Whose::Leader;
            }
        }
    }

    /// The capture's clock against the leader of a domain.
    #[must_use]
    pub fn path(&self, key: &DomainKey) -> Option<&Path> {
        self.paths.get(key)
    }

    /// Ports of a domain that answer peer-delay requests.
    #[must_use]
    pub fn peers(&self, key: &DomainKey) -> &[Peer] {
        self.peers.get(key).map(Vec::as_slice).unwrap_or_default()
    }

    /// All paths, by domain.
    pub fn paths(&self) -> impl Iterator<Item = (&DomainKey, &Path)> {
        self.paths.iter()
    }

    /// What is known of a clock's time in a domain, best basis first.
    #[must_use]
    pub fn times_of(&self, clock: ClockId, key: DomainKey) -> &[FollowerTime] {
        self.followers.get(&(clock, key)).map(Vec::as_slice).unwrap_or_default()
    }
}
