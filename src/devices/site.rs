//! Which domain is the site's, and which others hang on it.

use std::collections::BTreeMap;
use std::collections::BTreeSet;

use super::device::Device;
use crate::domains::ClockId;
use crate::domains::Domain;
use crate::domains::DomainKey;
use crate::domains::DomainName;
use crate::domains::Domains;
use crate::domains::Mechanism;
use crate::domains::PortId;
use crate::site::Site;
use crate::site::WantedDomain;

/// The domain that the site's devices are meant to be in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SiteDomain {
    /// Its keys: one, or one for each VLAN it is seen on where it was named by number.
    pub keys: BTreeSet<DomainKey>,
    /// Whether it was taken for the site's because most followers are in it.
    pub assumed: bool,
    /// The one the user named.
    pub asked_for: Option<WantedDomain>,
}

impl SiteDomain {
    /// The domain with number `asked_for`, or without one that with the most followers.
    #[must_use]
    pub fn find(domains: &Domains, asked_for: Option<u8>) -> Self {
        Self::choose(domains, asked_for.map(WantedDomain::Number), None)
    }

    /// The domain that the command line names, or else the site file; where neither does, that with the most followers
    /// of those of the version that the file gives.
    #[must_use]
    pub fn expected(domains: &Domains, command_line: Option<u8>, site: Option<&Site>) -> Self {
        let clock = site.map(|site| &site.clock);
        let asked_for =
            command_line.map(WantedDomain::Number).or_else(|| clock.and_then(|clock| clock.domain));
        let is_v1 = clock.and_then(|clock| clock.version).map(crate::site::PtpVersion::is_v1);
        Self::choose(domains, asked_for, is_v1)
    }

    fn choose(domains: &Domains, asked_for: Option<WantedDomain>, is_v1: Option<bool>) -> Self {
        let keys = match asked_for {
            Some(wanted) => domains.iter().map(|domain| domain.key).filter(|key| wanted.is(key)).collect(),
            None => domains
                .iter()
                .filter(|domain| is_v1.is_none_or(|is_v1| domain.key.is_v1() == is_v1))
                .max_by_key(|domain| weight(domain))
                .map(|domain| domain.key)
                .into_iter()
                .collect(),
        };
        Self { keys, assumed: asked_for.is_none(), asked_for }
    }

    /// Its name for people: its first key, or what it was called where the capture does not show it.
    #[must_use]
    pub fn name(&self) -> String {
        match (self.keys.first(), self.asked_for) {
            (Some(key), _) => key.to_string(),
            (None, Some(wanted)) => format!("{wanted}, which is not in this capture"),
            (None, None) => "no domain".to_owned(),
        }
    }

    /// The site's domain of the same number and VLAN as `key`, where the two differ by their `sdoId`.
    #[must_use]
    pub fn with_another_sdo_id(&self, key: &DomainKey) -> Option<DomainKey> {
        let DomainName::Number { sdo_id, number } = key.name else { return None };
        let differs = |site: &DomainKey| match site.name {
            DomainName::Number { sdo_id: other, number: same } => same == number && other != sdo_id,
            DomainName::Subdomain(_) => false,
        };
        self.keys.iter().copied().find(|site| site.vlan == key.vlan && differs(site))
    }

    /// Whether `key` is the site's domain.
    #[must_use]
    pub fn is(&self, key: &DomainKey) -> bool {
        self.keys.contains(key)
    }
}

/// Most followers first; then a leader, then messages, then the smaller key.
fn weight(domain: &Domain) -> (usize, bool, u64, std::cmp::Reverse<DomainKey>) {
    let messages = domain.counts.sum();
    (followers(domain).len(), domain.election.leader().is_some(), messages, std::cmp::Reverse(domain.key))
}

/// Ports that ask for delay or are answered, without the leader's own.
pub(super) fn followers(domain: &Domain) -> BTreeSet<PortId> {
    let leader = domain.election.leader();
    let there = domain.requesters.iter().filter(|(_, asked)| asked.seen() > 0 || asked.is_answered_unseen());
    there.map(|((port, _), _)| *port).filter(|port| Some(port.clock) != leader).collect()
}

/// The domains that serve a purpose of their own.
pub(super) fn established_domains(domains: &Domains) -> BTreeSet<DomainKey> {
    domains.iter().filter(|domain| is_established(domain)).map(|domain| domain.key).collect()
}

/// Whether a domain has a leader that answers somebody: it serves a purpose of its own.
fn is_established(domain: &Domain) -> bool {
    let Some(leader) = domain.election.leader() else { return false };
    domain.requesters.iter().any(|((port, mechanism), requester)| {
        let answered = requester.answered() > 0 || requester.is_answered_unseen();
        port.clock != leader && answered && *mechanism == Mechanism::EndToEnd
    }) || (domain.requesters.iter().any(|((port, mechanism), requester)| {
        *mechanism == Mechanism::PeerToPeer && port.clock != leader && requester.answered() > 0
    }))
}

/// Domains whose time is the site's: the same grandmaster leads them, or a device follows in one and leads in
/// the other.
pub(super) fn joined_domains(
    domains: &Domains,
    site: &SiteDomain,
    devices: &[Device],
) -> BTreeSet<DomainKey> {
    let leads = Leads::of(domains, devices);
    let mut joined = site.keys.clone();
    let mut news: Vec<DomainKey> = joined.iter().copied().collect();
    while let Some(key) = news.pop() {
        for next in leads.hang_on(&key, domains) {
            if joined.insert(next) {
                news.push(next);
            }
        }
    }
    joined
}

/// Which domains a clock or a device leads.
struct Leads<'a> {
    by_clock: BTreeMap<ClockId, Vec<DomainKey>>,
    /// Domains led by devices that take part in the one that is asked for.
    through: BTreeMap<DomainKey, BTreeSet<DomainKey>>,
    /// Where the device takes part that leads a domain.
    elsewhere: BTreeMap<DomainKey, &'a BTreeSet<DomainKey>>,
}

impl<'a> Leads<'a> {
    fn of(domains: &Domains, devices: &'a [Device]) -> Self {
        let owners: BTreeMap<ClockId, &Device> = devices
            .iter()
            .flat_map(|device| device.clocks.iter().map(move |clock| (*clock, device)))
            .collect();
        let mut leads =
            Self { by_clock: BTreeMap::new(), through: BTreeMap::new(), elsewhere: BTreeMap::new() };
        for domain in domains.iter() {
            let Some(leader) = domain.election.leader() else { continue };
            leads.by_clock.entry(leader).or_default().push(domain.key);
            let Some(device) = owners.get(&leader) else { continue };
            leads.elsewhere.insert(domain.key, &device.domains);
            for key in device.domains.iter().filter(|key| **key != domain.key) {
                leads.through.entry(*key).or_default().insert(domain.key);
            }
        }
        leads
    }

    /// The led domains whose time is that of `key`: the same clock leads them, or one that takes part there; or its leader
    /// takes part in them and has it from there.
    fn hang_on<'b>(
        &'b self,
        key: &'b DomainKey,
        domains: &'b Domains,
    ) -> impl Iterator<Item = DomainKey> + 'b {
        let leader = domains.get(key).and_then(|domain| domain.election.leader());
        let same = leader.and_then(|leader| self.by_clock.get(&leader)).into_iter().flatten();
        let fed = self.elsewhere.get(key).into_iter().flat_map(|own| own.iter());
        let is_led =
            |key: &&DomainKey| domains.get(key).is_some_and(|domain| domain.election.leader().is_some());
        let bridged = self.through.get(key).into_iter().flatten();
        same.chain(fed.filter(is_led)).chain(bridged).copied()
    }
}
