//! `multicast-outside-plan`

use std::net::IpAddr;

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::streams::Stream;

/// Streams in the evidence (chosen).
const NAMED: usize = 8;

/// Media go to groups that are meant for something else.
pub(super) struct MulticastOutsidePlan;

impl Rule for MulticastOutsidePlan {
    fn id(&self) -> &'static str {
        "multicast-outside-plan"
    }

    fn summary(&self) -> &'static str {
        "media go to groups that are assigned to protocols, or that switches pass to everybody"
    }

    fn next(&self) -> &'static [&'static str] {
        &["move these streams to 239.x.y.z, leaving out 239.0.0.x, 239.0.1.x, 239.128.0.x and 239.128.1.x"]
    }

    fn sources(&self) -> &'static [&'static str] {
        &["RFC 5771 (224.0.0.x and 224.0.1.x), RFC 2365 (239.x.y.z), RFC 4541 2.1.2 (from memory)"]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let misplaced: Vec<&Stream> = analysis
            .wire
            .streams
            .iter()
            .filter(|stream| stream.rtp.is_some() && stream.key.group().is_some_and(is_assigned))
            .collect();
        let Some(first) = misplaced.first() else { return Outcome::Quiet };
        let title = match misplaced.as_slice() {
            [one] => format!("{} goes to a group that is meant for something else", one.key),
            several => format!("{} streams go to groups that are meant for something else", several.len()),
        };
        let evidence = misplaced.iter().take(NAMED).map(|stream| {
            let why = match stream.key.group() {
                Some(IpAddr::V4(group)) if group.octets()[2] == 0 => "switches pass 224.0.0.x to everybody",
                _ => "224.0.1.x is assigned to protocols",
            };
            Evidence::at(None, format!("{}: {why}", stream.key))
        });
        let finding = Finding::of(self, (Severity::Minor, Strength::Shown), title, evidence.collect());
        Outcome::Broken(vec![finding.about_stream(analysis, first)])
    }
}

/// 224.0.0.0/24 and 224.0.1.0/24 (RFC 5771).
const fn is_assigned(group: IpAddr) -> bool {
    matches!(group, IpAddr::V4(group) if matches!(group.octets(), [224, 0, 0 | 1, _]))
}
