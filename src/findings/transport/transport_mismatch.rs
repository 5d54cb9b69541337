//! `transport-mismatch`

use std::collections::BTreeMap;
use std::collections::BTreeSet;
use std::net::IpAddr;
use std::net::Ipv4Addr;

use crate::analysis::Analysis;
use crate::devices::State;
use crate::devices::Strength;
use crate::domains::ClockId;
use crate::domains::ClockPort;
use crate::domains::Domain;
use crate::domains::Kind;
use crate::domains::SourceAddress;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::observations::Transport;

/// Messages from which it is said (chosen).
const MESSAGES: u64 = 10;

/// The group of all messages but peer delay, and that of peer delay (IANA; IEEE 1588-2008 Annex D, from memory).
const PRIMARY: IpAddr = IpAddr::V4(Ipv4Addr::new(224, 0, 1, 129));
const PEER: IpAddr = IpAddr::V4(Ipv4Addr::new(224, 0, 0, 107));

/// A device speaks PTP over a transport that its leader does not use, or to a group that nobody listens to.
pub(super) struct TransportMismatch;

impl Rule for TransportMismatch {
    fn id(&self) -> &'static str {
        "transport-mismatch"
    }

    fn summary(&self) -> &'static str {
        "a device speaks PTP over another transport than the leader of its domain, or to the wrong group"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "set the device and the leader to the same transport: UDP over IPv4, UDP over IPv6, or Ethernet",
            "a message sent to the wrong group is a fault of the device: update it",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &["IEEE 1588-2008 Annexes D, E, F (from memory)", "10 messages (chosen)"]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let mut findings = Vec::new();
        for domain in analysis.domains.iter() {
            let leader = Leader::of(domain);
            let mut own = OwnTransports::default();
            for port in domain.ports.values() {
                if let Some(leader) = &leader {
                    findings.extend(self.apart(analysis, domain, (port, leader), &mut own));
                }
                findings.extend(self.wrong_group(analysis, domain, port));
            }
        }
        Outcome::from_findings(findings)
    }
}

const fn transport(address: &SourceAddress) -> Transport {
    match address.ip {
        None => Transport::Ethernet,
        Some(IpAddr::V4(_)) => Transport::Udp4,
        Some(IpAddr::V6(_)) => Transport::Udp6,
    }
}

fn transports<'a>(ports: impl Iterator<Item = &'a ClockPort>) -> BTreeSet<Transport> {
    ports.flat_map(|port| port.addresses.keys().map(transport)).collect()
}

fn names(transports: &BTreeSet<Transport>) -> String {
    transports.iter().map(|transport| transport.name()).collect::<Vec<_>>().join(", ")
}

/// The leader of a domain, and what those that offer it speak over.
struct Leader<'a> {
    clock: ClockId,
    port: Option<&'a ClockPort>,
    transports: BTreeSet<Transport>,
}

impl<'a> Leader<'a> {
    fn of(domain: &'a Domain) -> Option<Self> {
        let clock = domain.election.leader()?;
        let port = domain.leading_ports().next();
        Some(Self { clock, port, transports: transports(domain.leading_ports()) })
    }
}

/// What each device speaks over in one domain, by its key.
#[derive(Default)]
struct OwnTransports<'a>(BTreeMap<&'a str, BTreeSet<Transport>>);

impl TransportMismatch {
    fn apart<'a>(
        &self,
        analysis: &'a Analysis,
        domain: &Domain,
        (port, leader): (&ClockPort, &Leader<'_>),
        known: &mut OwnTransports<'a>,
    ) -> Option<Finding> {
        // What a clock says on one transport may be relayed to another by its other ports.
        let device = analysis.device_of(port.port.clock)?;
        let asks = [Kind::DelayReq, Kind::PdelayReq, Kind::Announce]
            .into_iter()
            .map(|kind| port.count(kind))
            .sum::<u64>();
        let answered = domain.requests_of(port.port.clock).any(|(_, _, requester)| requester.answered() > 0);
        let leads = port.offers(leader.clock);
        if asks < MESSAGES || answered || leads {
            return None;
        }
        let own = known
            .0
            .entry(&device.key)
            .or_insert_with(|| transports(device.clocks.iter().flat_map(|clock| domain.ports_of(*clock))));
        if own.is_empty() || leader.transports.is_empty() || !own.is_disjoint(&leader.transports) {
            return None;
        }
        // The fault itself is told by another rule then; this is why.
        let told = matches!(device.state, State::Unanswered | State::Rival);
        let severity = if told { Severity::Major } else { Severity::Critical };
        let title = format!(
            "{}: {} speaks over {}, its leader over {}",
            domain.key,
            port.port,
            names(own),
            names(&leader.transports)
        );
        let text = format!("{asks} requests and Announces of it, all over {}", names(own));
        let evidence = vec![
            Evidence::at(Some(port.first), text),
            Evidence::at(
                leader.port.map(|port| port.last),
                format!("the leader's messages come over {}", names(&leader.transports)),
            ),
        ];
        let finding = Finding::of(self, (severity, Strength::Inferred), title, evidence);
        Some(finding.in_domain(domain.key).about_clock(analysis, port.port.clock))
    }

    fn wrong_group(&self, analysis: &Analysis, domain: &Domain, port: &ClockPort) -> Option<Finding> {
        let (kind, group, messages) = port.marks.iter().find_map(|(kind, marks)| {
            let is_peer = matches!(kind, Kind::PdelayReq | Kind::PdelayResp | Kind::PdelayRespFollowUp);
            let wrong = if is_peer { PRIMARY } else { PEER };
            let messages = *marks.groups.get(&wrong)?;
            (messages >= MESSAGES).then_some((*kind, wrong, messages))
        })?;
        let title = format!("{}: {} sends {} to {group}", domain.key, port.port, kind.name());
        let text = format!("{messages} messages; peer delay belongs to {PEER}, everything else to {PRIMARY}");
        let place = port.series(kind).and_then(crate::domains::Cadence::last);
        let severity = (Severity::Major, Strength::Shown);
        let finding = Finding::of(self, severity, title, vec![Evidence::at(place, text)]);
        Some(finding.in_domain(domain.key).about_clock(analysis, port.port.clock))
    }
}
