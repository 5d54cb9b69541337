//! `querier-contention-or-move`

use super::named;
use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::finding::at;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::multicast::Happening;
use crate::multicast::Querier;
use crate::multicast::Segment;
use crate::units::Nanos;

/// Two ask for members side by side, or another took over.
pub(super) struct QuerierContentionOrMove;

impl Rule for QuerierContentionOrMove {
    fn id(&self) -> &'static str {
        "querier-contention-or-move"
    }

    fn summary(&self) -> &'static str {
        "two ask for group members side by side and do not hear each other, or another one took over"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "give the querier that is meant to ask the lowest address, and switch the others off",
            "switches send groups towards the querier: look at the load of the new one's port",
            "two that keep asking do not hear each other: look for a blocked way, or VLANs that leak, between them",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "the lowest address asks: RFC 2236 3, RFC 3376 6.6.2 (from memory)",
            "side by side: one asks again twice, each time after a lower address that is not silent (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let mut findings = Vec::new();
        for segment in analysis.multicast.segments() {
            match self.contention(analysis, segment) {
                Some(finding) => findings.push(finding),
                None => findings.extend(self.moved(analysis, segment)),
            }
        }
        Outcome::from_findings(findings)
    }
}

/// How long two asked at the same time.
fn together(one: &Querier, other: &Querier) -> Option<Nanos> {
    let until = one.last.time?.min(other.last.time?);
    Some(until.since(one.first.time?.max(other.first.time?)))
}

impl QuerierContentionOrMove {
    fn contention(&self, analysis: &Analysis, segment: &Segment) -> Option<Finding> {
        let (one, other) = segment.contention()?;
        let both = together(one, other).unwrap_or(Nanos::ZERO);
        let title = format!(
            "{}: {} and {} both ask for group members, for {}",
            named(segment.key),
            one.address,
            other.address,
            both.as_seconds_text()
        );
        let line = |querier: &Querier| {
            Evidence::at(Some(querier.last), format!("{} queries of {}", querier.queries, querier.address))
        };
        // Untagged frames of several places may be of several VLANs.
        let sure = segment.key.vlan.is_some() && !analysis.may_be_of_several_places();
        let strength = if sure { Strength::Shown } else { Strength::Inferred };
        Some(Finding::of(self, (Severity::Major, strength), title, vec![line(one), line(other)]))
    }

    fn moved(&self, analysis: &Analysis, segment: &Segment) -> Option<Finding> {
        let mut changes = analysis.multicast.events().iter().filter_map(|event| match event.what {
            Happening::QuerierChanged { before, after } if event.segment == segment.key => {
                Some((event, before, after))
            }
            _ => None,
        });
        let (event, before, after) = changes.next()?;
        let more = changes.count();
        let title = format!(
            "{}: {after} asks for group members since {} in place of {before}",
            named(segment.key),
            at(analysis, event.time)
        );
        let mut evidence = vec![Evidence::at(Some(event.place), format!("general query of {after}"))];
        if more > 0 {
            evidence.push(Evidence::at(None, format!("it changed {more} more times")));
        }
        Some(Finding::of(self, (Severity::Minor, Strength::Shown), title, evidence))
    }
}
