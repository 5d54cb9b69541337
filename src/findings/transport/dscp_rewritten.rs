//! `dscp-rewritten`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;

/// Messages captured with two code points before it is said (chosen).
const MESSAGES: u64 = 10;

/// Something on the way changes the code point of PTP messages.
pub(super) struct DscpRewritten;

impl Rule for DscpRewritten {
    fn id(&self) -> &'static str {
        "dscp-rewritten"
    }

    fn summary(&self) -> &'static str {
        "the same PTP messages were captured twice with different code points: something on the way changes them"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "let the switches between the two places trust the code points that devices set",
            "ask for each switch what its uplinks do with code points",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &["RFC 2475 (from memory)", "10 messages seen with both, half a second apart at most (chosen)"]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let seen = analysis.domains.sightings().code_points.iter();
        let rewritten = seen.filter(|(_, met)| met.times >= MESSAGES);
        let found = rewritten.map(|((name, port, first, again), met)| {
            let title = format!("{port}: code point {first} becomes {again} on the way");
            let text = format!(
                "{} messages of one number each were captured with code point {first} and then with {again}",
                met.times
            );
            let evidence = vec![Evidence::at(met.first, text)];
            let finding = Finding::of(self, (Severity::Major, Strength::Shown), title, evidence);
            let key =
                analysis.domains.iter().find(|domain| domain.key.name == *name).map(|domain| domain.key);
            let finding = finding.about_clock(analysis, port.clock);
            match key {
                Some(key) => finding.in_domain(key),
                None => finding,
            }
        });
        Outcome::from_findings(found.collect())
    }
}
