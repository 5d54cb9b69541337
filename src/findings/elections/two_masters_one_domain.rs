//! `two-masters-one-domain`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::Announcer;
use crate::domains::DataSet;
use crate::domains::Domain;
use crate::domains::Rivalry;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::finding::at;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;

/// A clock goes on leading beside a better one.
pub(super) struct TwoMastersOneDomain;

impl Rule for TwoMastersOneDomain {
    fn id(&self) -> &'static str {
        "two-masters-one-domain"
    }

    fn summary(&self) -> &'static str {
        "a clock goes on leading beside a better one in the same domain, beyond a hand-over"
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let mut findings = Vec::new();
        let mut apart = false;
        for domain in analysis.domains.iter() {
            // One that gives the leader up between its Announces is the matter of another rule.
            let deaf = |rivalry: &&Rivalry| domain.impatience(rivalry.port).is_none();
            for rivalry in domain.election.rivalries().iter().filter(deaf) {
                if rivalry.apart {
                    apart = true;
                } else {
                    findings.push(self.finding(analysis, domain, rivalry));
                }
            }
        }
        for domain in analysis.domains.iter() {
            for beside in domain.election.beside_at_end() {
                if domain.impatience(beside.candidate.sender).is_none() {
                    findings.push(self.too_early(analysis, domain, beside));
                }
            }
        }
        if apart && findings.is_empty() {
            return Outcome::CannotTell(
                "two clocks lead, each captured at another interface or in another file: they may lead networks of \
                 their own"
                    .to_owned(),
            );
        }
        Outcome::from_findings(findings)
    }
}

impl TwoMastersOneDomain {
    /// It may be a hand-over that goes on beyond the end.
    fn too_early(&self, analysis: &Analysis, domain: &Domain, beside: &Announcer) -> Finding {
        let port = beside.candidate.sender;
        let leader = domain.election.leader().map(|leader| leader.to_string()).unwrap_or_default();
        let title = format!("{}: {port} announces beside {leader} at the end; too early to say", domain.key);
        let text = format!(
            "{} Announce since {}; a hand-over may take {}",
            beside.run_count,
            at(analysis, beside.run_first),
            beside.hand_over().as_seconds_text()
        );
        Finding {
            id: self.id(),
            severity: Severity::Info,
            strength: Strength::Inferred,
            domain: Some(domain.key),
            device: analysis.device_of(port.clock).map(|device| device.key.clone()),
            stream: None,
            follows_from: None,
            affected: Vec::new(),
            title,
            evidence: vec![Evidence { place: Some(beside.last_place), text }],
            next: vec!["capture again, for a minute or longer: if both still announce, two clocks lead"],
            sources: vec![
                "hand-over: qualification window 4 and receipt timeout 3 announce intervals, IEEE 1588-2008 9.3.2.4.4, 7.7.3.1 (from memory)",
            ],
        }
    }

    fn finding(&self, analysis: &Analysis, domain: &Domain, rivalry: &Rivalry) -> Finding {
        let mut evidence = vec![
            Evidence {
                place: Some(rivalry.since_place),
                text: format!("{} announces beside {}", rivalry.port, rivalry.leader),
            },
            Evidence { place: Some(rivalry.until_place), text: format!("{} still announces", rivalry.port) },
        ];
        if let Some(offer) = domain.ports.get(&rivalry.port).and_then(|port| port.offer) {
            evidence.push(Evidence {
                place: None,
                text: format!("{} offers {}", rivalry.clock, data(&offer.data)),
            });
        }
        if let Some(tenure) = domain.election.tenures().find(|tenure| tenure.clock == rivalry.leader) {
            let text = format!("{} offers {}", rivalry.leader, data(&tenure.latest.data));
            evidence.push(Evidence { place: Some(tenure.from_place), text });
        }
        Finding {
            id: self.id(),
            severity: Severity::Critical,
            strength: Strength::Shown,
            domain: Some(domain.key),
            device: analysis.device_of(rivalry.port.clock).map(|device| device.key.clone()),
            stream: None,
            follows_from: None,
            affected: Vec::new(),
            title: format!(
                "{}: two clocks lead from {} to {}; {} is better than {} by {} and should lead alone",
                domain.key,
                at(analysis, rivalry.since),
                at(analysis, rivalry.until),
                rivalry.leader,
                rivalry.clock,
                rivalry.decided_by.name()
            ),
            evidence,
            next: vec![
                "at the worse clock's switch port, check whether the better clock's Announce arrives",
                "check multicast between their switches: snooping, VLAN, access lists; often one direction is blocked",
                "check that the worse clock is not set to lead always",
            ],
            sources: vec![
                "data set comparison: IEEE 1588-2008 9.3.4 (from memory)",
                "hand-over: qualification window 4 and receipt timeout 3 announce intervals, IEEE 1588-2008 9.3.2.4.4, 7.7.3.1 (from memory)",
            ],
        }
    }
}

fn data(data: &DataSet) -> String {
    match data {
        DataSet::V2(data) => format!(
            "priority1 {}, class {}, accuracy 0x{:02x}, variance 0x{:04x}, priority2 {}",
            data.priority1, data.clock_class, data.clock_accuracy, data.variance, data.priority2
        ),
        DataSet::V1(data) => format!(
            "preferred {}, stratum {}, variance {}",
            if data.preferred { "yes" } else { "no" },
            data.stratum,
            data.variance
        ),
    }
}
