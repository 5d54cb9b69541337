//! `delay-mechanism-mismatch`

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

/// Requests without an answer from which it is said (reference: 10 intervals).
const REQUESTS: u64 = 10;

/// A device asks for delay by the one mechanism where only the other is answered.
pub(super) struct DelayMechanismMismatch;

impl Rule for DelayMechanismMismatch {
    fn id(&self) -> &'static str {
        "delay-mechanism-mismatch"
    }

    fn summary(&self) -> &'static str {
        "a device asks for delay peer-to-peer where requests are answered end-to-end, or the other way round"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "set the device to the delay mechanism that the leader and the others use",
            "through switches without PTP support only end-to-end works",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &["IEEE 1588-2008 7.4.1, 9.5.13 (from memory)", "10 requests without an answer (chosen)"]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let mut findings = Vec::new();
        let mut cannot_tell = None;
        // 802.1AS knows peer-to-peer alone.
        let domains = analysis.domains.iter().filter(|domain| !domain.key.is_gptp());
        for domain in domains.filter(|domain| domain.election.leader().is_some()) {
            for ((port, mechanism), requester) in &domain.requesters {
                if !is_mismatch(analysis, domain, (*port, *mechanism), requester) {
                    continue;
                }
                match view(analysis, domain, *port, *mechanism) {
                    Ok(shown_by) => {
                        let parts = (*port, *mechanism, requester, shown_by);
                        findings.push(self.finding(analysis, domain, parts));
                    }
                    Err(why) => {
                        cannot_tell = Some(format!("{port} asks by {} in vain: {why}", mechanism.request()))
                    }
                }
            }
        }
        Outcome::from_findings_or(findings, cannot_tell)
    }
}

/// Whether all requests of a port stay open, nobody's are answered that way and others' are the other way.
fn is_mismatch(
    analysis: &Analysis,
    domain: &Domain,
    (port, mechanism): (PortId, Mechanism),
    requester: &Requester,
) -> bool {
    let other = other(mechanism);
    let in_vain = requester.unanswered() >= REQUESTS && requester.answered() == 0;
    let asks_both = domain.requests_of(port.clock).any(|(_, how, own)| how == other && own.seen() > 0);
    // Another rule has it where the answers are known to be missing.
    let told = analysis.device_of(port.clock).is_some_and(|device| device.state == State::Unanswered);
    in_vain && !asks_both && !told && domain.answered(mechanism).all == 0 && domain.answered(other).all > 0
}

const fn other(mechanism: Mechanism) -> Mechanism {
    match mechanism {
        Mechanism::EndToEnd => Mechanism::PeerToPeer,
        Mechanism::PeerToPeer => Mechanism::EndToEnd,
    }
}

/// What shows that answers would be in view, or why that is not known.
fn view(
    analysis: &Analysis,
    domain: &Domain,
    port: PortId,
    mechanism: Mechanism,
) -> Result<&'static str, &'static str> {
    let own = mac_of(domain, port);
    if own.is_some() && analysis.scope.station() == own {
        return Ok("the capture was taken at its port");
    }
    let both_ways = analysis.scope.sees_both_directions().is_in_view();
    match mechanism {
        Mechanism::PeerToPeer if both_ways => Ok("both directions of others' traffic were captured"),
        Mechanism::PeerToPeer => Err("answers stay on its link, and this capture may see one direction only"),
        Mechanism::EndToEnd => {
            let leader = domain.election.leader().and_then(|leader| domain.ports_of(leader).next());
            let leader = leader.and_then(|port| mac_of(domain, port.port));
            match leader.map(|mac| analysis.scope.can_see_multicast_of(mac).is_in_view()) {
                Some(true) => Ok("multicast of the leader was captured"),
                _ => Err("the leader's answers may pass where this capture does not see"),
            }
        }
    }
}

impl DelayMechanismMismatch {
    fn finding(
        &self,
        analysis: &Analysis,
        domain: &Domain,
        (port, mechanism, requester, shown_by): (PortId, Mechanism, &Requester, &str),
    ) -> Finding {
        let other = other(mechanism);
        let text = format!(
            "{} {} got no answer, while {} {} of others were answered; {shown_by}",
            requester.unanswered(),
            mechanism.request(),
            domain.answered(other).all,
            other.request()
        );
        let title = format!(
            "{}: {port} asks by {} where only {} is answered",
            domain.key,
            mechanism.request(),
            other.request()
        );
        let evidence = vec![Evidence::at(requester.first_request(), text)];
        let finding = Finding::of(self, (Severity::Critical, Strength::Inferred), title, evidence);
        finding.in_domain(domain.key).about_clock(analysis, port.clock)
    }
}
