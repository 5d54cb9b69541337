//! `multicast-unicast-mismatch`

use crate::analysis::Analysis;
use crate::devices::State;
use crate::devices::Strength;
use crate::domains::Domain;
use crate::domains::Mechanism;
use crate::domains::PortId;
use crate::domains::Requester;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::findings::words::mac_of;
use crate::viewpoint::Sight;

/// Requests from which it is said (reference: 10 intervals).
const REQUESTS: u64 = 10;

/// Requests by unicast are not answered, or not by unicast.
pub(super) struct MulticastUnicastMismatch;

impl Rule for MulticastUnicastMismatch {
    fn id(&self) -> &'static str {
        "multicast-unicast-mismatch"
    }

    fn summary(&self) -> &'static str {
        "a device asks by unicast and the leader answers the group, or multicast requests only"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "set the device and the leader to the same way: both multicast, or both hybrid (requests and answers by unicast)",
            "capture at the leader's port: do the unicast requests reach it?",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "requests and answers by unicast beside multicast Sync: RFC 9760 (from memory)",
            "10 requests (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let mut findings = Vec::new();
        let mut cannot_tell = None;
        for domain in analysis.domains.iter() {
            for ((port, mechanism), requester) in &domain.requesters {
                if *mechanism != Mechanism::EndToEnd {
                    continue;
                }
                let to_group = requester.checks().to_group;
                if to_group.times >= REQUESTS {
                    let text =
                        format!("{} of its unicast requests were answered to the group", to_group.times);
                    let title =
                        format!("{}: {port} asks by unicast and is answered to the group", domain.key);
                    let found = Finding::of(
                        self,
                        (Severity::Major, Strength::Shown),
                        title,
                        vec![Evidence::at(to_group.first, text)],
                    );
                    findings.push(found.in_domain(domain.key).about_clock(analysis, port.clock));
                } else if is_in_vain(analysis, domain, *port, requester) {
                    match sight(analysis, domain, *port) {
                        Sight::CannotTell(why) => {
                            cannot_tell = Some(format!("{port} asks by unicast: {why}"))
                        }
                        Sight::Yes | Sight::Inferred(_) => {
                            findings.push(self.unanswered(analysis, domain, (*port, requester)));
                        }
                    }
                }
            }
        }
        Outcome::from_findings_or(findings, cannot_tell)
    }
}

fn is_in_vain(analysis: &Analysis, domain: &Domain, port: PortId, requester: &Requester) -> bool {
    let by_unicast = requester.multicast() == 0 && requester.unanswered() >= REQUESTS;
    let others_by_multicast = domain.answered(Mechanism::EndToEnd).multicast > 0;
    // Another rule has it where the answers are known to be missing.
    let told = analysis.device_of(port.clock).is_some_and(|device| device.state == State::Unanswered);
    by_unicast && requester.answered() == 0 && others_by_multicast && !told
}

fn sight(analysis: &Analysis, domain: &Domain, port: PortId) -> Sight {
    let leads = domain.election.leader().and_then(|leader| domain.ports_of(leader).next());
    let both = mac_of(domain, port).zip(leads.and_then(|port| mac_of(domain, port.port)));
    both.map_or(Sight::CannotTell("no MAC addresses were captured"), |(one, other)| {
        analysis.scope.can_see_unicast_between(one, other)
    })
}

impl MulticastUnicastMismatch {
    fn unanswered(
        &self,
        analysis: &Analysis,
        domain: &Domain,
        (port, requester): (PortId, &Requester),
    ) -> Finding {
        let text = format!(
            "{} unicast Delay_Req got no answer, while {} multicast ones of others were answered",
            requester.unanswered(),
            domain.answered(Mechanism::EndToEnd).multicast
        );
        let title =
            format!("{}: {port} asks by unicast, and only multicast requests are answered", domain.key);
        let evidence = vec![Evidence::at(requester.first_request(), text)];
        let finding = Finding::of(self, (Severity::Critical, Strength::Inferred), title, evidence);
        finding.in_domain(domain.key).about_clock(analysis, port.clock)
    }
}
