//! `link-near-full`

use super::NEAR_FULL;
use super::fullest;
use super::is_near_full;
use super::is_speed_known;
use super::mega;
use super::now;
use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;

/// A second of the capture nearly fills the link.
pub(super) struct LinkNearFull;

impl Rule for LinkNearFull {
    fn id(&self) -> &'static str {
        "link-near-full"
    }

    fn summary(&self) -> &'static str {
        "the fullest second takes more than 70 % of the link: the clock's messages wait behind media"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "give the link more speed, or take streams off it; look which groups go there unasked",
            "set PTP ahead of media on the switches",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "70 % of the fullest second, on the wire with gap and preamble (common practice, no source)",
            "where the speed is assumed it is context: tell it with --link-speed or the site file (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let Some(now) = now(analysis).filter(|now| is_near_full(analysis, now)) else {
            return Outcome::Quiet;
        };
        let peak = fullest(analysis, &now);
        let severity = if is_speed_known(&now) { Severity::Major } else { Severity::Info };
        let title = format!(
            "the fullest second carries {}, more than {NEAR_FULL} % of {} ({})",
            mega(peak),
            mega(now.speed),
            now.speed_known_by.name()
        );
        let evidence = vec![Evidence::at(
            None,
            format!("mean {}, fullest millisecond {}", mega(now.mean), mega(now.burst)),
        )];
        Outcome::Broken(vec![Finding::of(self, (severity, Strength::Inferred), title, evidence)])
    }
}
