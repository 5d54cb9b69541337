//! `election-decided-by-identity`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::DecidedBy;
use crate::domains::Domain;
use crate::domains::Standing;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::leading::v2_data;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;

/// Nothing but the clocks' identities tells who leads.
pub(super) struct ElectionDecidedByIdentity;

impl Rule for ElectionDecidedByIdentity {
    fn id(&self) -> &'static str {
        "election-decided-by-identity"
    }

    fn summary(&self) -> &'static str {
        "the leader and the next clock differ in nothing but their identity, the last tie-breaker"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "give the intended leader a lower priority1 and its backup the next one",
            "leave media devices at 128 or higher, or let them only follow",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &["data set comparison: IEEE 1588-2008 9.3.4, figures 27 and 28 (from memory)"]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let domains = analysis.domains.iter().filter(|domain| domain.election.leader().is_some());
        Outcome::from_findings(domains.filter_map(|domain| self.finding(domain)).collect())
    }
}

impl ElectionDecidedByIdentity {
    fn finding(&self, domain: &Domain) -> Option<Finding> {
        let standing = Standing::at_end(domain);
        let [best, next, ..] = standing.candidates.as_slice() else { return None };
        if standing.decided_by() != Some(DecidedBy::Identity) {
            return None;
        }
        let data = v2_data(best)?;
        let evidence = [best, next].into_iter().map(|candidate| {
            let announcer = domain.election.announcers().get(&candidate.sender);
            let text = format!(
                "{} offers priority1 {}, class {}, accuracy 0x{:02x}, variance 0x{:04x}, priority2 {}",
                candidate.grandmaster,
                data.priority1,
                data.clock_class,
                data.clock_accuracy,
                data.variance,
                data.priority2
            );
            Evidence::at(announcer.map(|announcer| announcer.last_place), text)
        });
        let title = format!(
            "{}: nothing but their identities decides that {} leads and not {}",
            domain.key, best.grandmaster, next.grandmaster
        );
        let finding = Finding::of(self, (Severity::Minor, Strength::Shown), title, evidence.collect());
        Some(finding.in_domain(domain.key))
    }
}
