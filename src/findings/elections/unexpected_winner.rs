//! `unexpected-winner`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::Domain;
use crate::domains::Standing;
use crate::domains::compare;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::leading::WITHOUT_REFERENCE;
use crate::findings::leading::has_reference;
use crate::findings::leading::v2_data;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;

/// A clock without a reference leads one that has one.
pub(super) struct UnexpectedWinner;

impl Rule for UnexpectedWinner {
    fn id(&self) -> &'static str {
        "unexpected-winner"
    }

    fn summary(&self) -> &'static str {
        "a clock without a reference leads though one with a reference could"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "give the clock with the reference the lowest priority1: it is compared before the clock class",
            "raise priority1 of the clock that leads now, or let it only follow",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &["IEEE 1588-2008 9.3.4, 7.6.2.4 table 5 (from memory)"]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        Outcome::from_findings(
            analysis.domains.iter().filter_map(|domain| self.finding(analysis, domain)).collect(),
        )
    }
}

impl UnexpectedWinner {
    fn finding(&self, analysis: &Analysis, domain: &Domain) -> Option<Finding> {
        let tenure = domain.election.current()?;
        let leading = tenure.latest;
        let data = v2_data(&leading).filter(|data| data.clock_class >= WITHOUT_REFERENCE)?;
        let standing = Standing::at_end(domain);
        let (reference, theirs) = standing
            .candidates
            .iter()
            .filter(|candidate| candidate.grandmaster != leading.grandmaster)
            .filter_map(|candidate| Some((candidate, v2_data(candidate)?)))
            .find(|(_, theirs)| has_reference(theirs.clock_class))?;
        let compared = compare(&leading, reference, None);
        if compared.verdict.order().is_ge() {
            return None;
        }
        let heard = |port| domain.election.announcers().get(port).map(|announcer| announcer.last_place);
        let offer = |clock, priority1, class| format!("{clock} offers priority1 {priority1}, class {class}");
        let evidence = vec![
            Evidence::at(
                Some(tenure.from_place),
                offer(leading.grandmaster, data.priority1, data.clock_class),
            ),
            Evidence::at(
                heard(&reference.sender),
                offer(reference.grandmaster, theirs.priority1, theirs.clock_class),
            ),
        ];
        let title = format!(
            "{}: {} leads without a reference (class {}); {} has one (class {}) and loses by {}",
            domain.key,
            leading.grandmaster,
            data.clock_class,
            reference.grandmaster,
            theirs.clock_class,
            compared.decided_by.name()
        );
        let finding = Finding::of(self, (Severity::Major, Strength::Shown), title, evidence);
        Some(finding.in_domain(domain.key).about_clock(analysis, leading.grandmaster))
    }
}
