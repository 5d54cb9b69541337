//! `rate-off-profile`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::Domain;
use crate::domains::Kind;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::profiles::Confidence;
use crate::profiles::Deviation;
use crate::units::Nanos;

/// Messages, and time, before intervals are judged (reference: 20 and 10 s).
const MESSAGES: u64 = 20;
const WATCHED: Nanos = Nanos::from_seconds(10);

/// Intervals that the nearest profile does not allow.
pub(super) struct RateOffProfile;

impl Rule for RateOffProfile {
    fn id(&self) -> &'static str {
        "rate-off-profile"
    }

    fn summary(&self) -> &'static str {
        "all but the intervals agree with a profile, and no profile allows them"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "set the intervals to what the profile of the site allows, on leader and followers alike",
            "a profile is inferred here, never known: where the intervals are meant, nothing is wrong",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &["20 messages and 10 s before intervals are judged (chosen)"]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let found = analysis.domains.iter().filter_map(|domain| self.finding(analysis, domain));
        Outcome::from_findings(found.collect())
    }
}

/// Whether a deviation is about an interval and surely known.
fn is_interval(deviation: &Deviation) -> bool {
    deviation.item.starts_with("log") && deviation.item.ends_with("Interval")
}

impl RateOffProfile {
    fn finding(&self, analysis: &Analysis, domain: &Domain) -> Option<Finding> {
        let best = analysis.profiles_of(&domain.key).first().filter(|best| !best.fits && best.seen_enough)?;
        let messages = domain.count(Kind::Sync).max(domain.count(Kind::Announce));
        if messages < MESSAGES || analysis.watched_for(Nanos::from_seconds(1)) < WATCHED {
            return None;
        }
        let sure: Vec<&Deviation> =
            best.deviations.iter().filter(|deviation| deviation.confidence != Confidence::Unsure).collect();
        if sure.is_empty() || !sure.iter().all(|deviation| is_interval(deviation)) {
            return None;
        }
        let evidence = sure.iter().map(|off| {
            Evidence::at(
                Some(domain.last),
                format!("{}: {}, where {} is allowed", off.item, off.seen, off.expected),
            )
        });
        let items: Vec<&str> = sure.iter().map(|deviation| deviation.item.as_str()).collect();
        let title = format!("{}: fits {} but for {}", domain.key, best.title, items.join(" and "));
        let mut finding = Finding::of(self, (Severity::Info, Strength::Inferred), title, evidence.collect());
        finding.sources.extend(sure.iter().map(|deviation| deviation.source));
        finding.sources.dedup();
        Some(finding.in_domain(domain.key))
    }
}
