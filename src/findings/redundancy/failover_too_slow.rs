//! `failover-too-slow`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::ANNOUNCE_RECEIPT_TIMEOUT;
use crate::domains::Domain;
use crate::domains::EndedBy;
use crate::domains::Kind;
use crate::domains::Tenure;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::finding::at;
use crate::findings::loss;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::units::Nanos;

/// Announce intervals that a hand-over may take beyond the receipt timeout: a new leader's listening and
/// qualification (reference: 4).
const ELECTION: i64 = 4;

/// Nobody led for longer than a hand-over takes.
pub(super) struct FailoverTooSlow;

impl Rule for FailoverTooSlow {
    fn id(&self) -> &'static str {
        "failover-too-slow"
    }

    fn summary(&self) -> &'static str {
        "after the leader fell silent nobody led for longer than a hand-over takes"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "check that the standby clock runs at all times, hears the leader and may lead",
            "shorten the announce interval of all devices of the domain, within the profile",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "receipt timeout 3 announce intervals: IEEE 1588-2008 9.2.6.11, 7.7.3.1 (from memory), not on the wire, assumed",
            "4 more intervals for the election (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let hand_overs = analysis
            .domains
            .iter()
            .filter(|domain| !domain.key.is_v1())
            .flat_map(|domain| domain.election.hand_overs().map(move |pair| (domain, pair)));
        Outcome::of_each(
            hand_overs.filter_map(|(domain, (before, after))| self.finding(analysis, domain, before, after)),
        )
    }
}

impl FailoverTooSlow {
    fn finding(
        &self,
        analysis: &Analysis,
        domain: &Domain,
        before: &Tenure,
        after: &Tenure,
    ) -> Option<Result<Finding, String>> {
        let silent = matches!(before.ended_by, EndedBy::AnnounceTimeout | EndedBy::SyncStopped);
        let gap = after.from.since(before.until.filter(|_| silent)?);
        // A leader that comes back by itself is no failover.
        if before.clock == after.clock {
            return None;
        }
        let interval = [before, after].into_iter().filter_map(|tenure| interval(domain, tenure)).max()?;
        let allowed = interval.saturating_mul(ANNOUNCE_RECEIPT_TIMEOUT + ELECTION);
        if gap <= allowed {
            return None;
        }
        if analysis.may_have_been_set_by(gap) {
            let why = "nobody led for a while, but the capture paused, or its clock was set";
            return Some(Err(why.to_owned()));
        }
        if loss::is_much(analysis) {
            let why =
                "nobody was heard to lead for a while, but so much is missing that Announces may be too";
            return Some(Err(why.to_owned()));
        }
        let title = format!(
            "{}: nobody led for {} after {} fell silent at {}",
            domain.key,
            gap.as_seconds_text(),
            before.clock,
            at(analysis, before.until?)
        );
        let evidence = vec![
            Evidence::at(before.until_place, format!("last announcement of {}", before.clock)),
            Evidence::at(
                Some(after.from_place),
                format!("first one of {}; {} would be enough", after.clock, allowed.as_seconds_text()),
            ),
        ];
        let finding = Finding::of(self, (Severity::Major, Strength::Shown), title, evidence);
        Some(Ok(finding.in_domain(domain.key)))
    }
}

/// The pace of the Announces that offered a tenure's clock.
fn interval(domain: &Domain, tenure: &Tenure) -> Option<Nanos> {
    domain.ports.get(&tenure.candidate.sender)?.series(Kind::Announce)?.pace()
}
