//! `coarse-timestamps`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::findings::words::duration;
use crate::units::Nanos;

/// Coarser stamps than this are worth a word (chosen: 1 µs is usual).
const USUAL: Nanos = Nanos(1_000);

/// The file's stamps are coarse.
pub(super) struct CoarseTimestamps;

impl Rule for CoarseTimestamps {
    fn id(&self) -> &'static str {
        "coarse-timestamps"
    }

    fn summary(&self) -> &'static str {
        "the capture's stamps are coarser than a microsecond: delays and jitter are no finer than they"
    }

    fn next(&self) -> &'static [&'static str] {
        &["capture with stamps of a nanosecond where the adapter has them, else of a microsecond"]
    }

    fn sources(&self) -> &'static [&'static str] {
        &["pcapng if_tsresol, pcap magic numbers", "coarser than 1 us (chosen)"]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let coarse = analysis.captures.iter().filter_map(|capture| {
            let step = capture.summary.resolution.filter(|step| *step > USUAL)?;
            Some((capture.summary.file.as_str(), step))
        });
        let coarse: Vec<_> = coarse.collect();
        let Some((_, worst)) = coarse.iter().max_by_key(|(_, step)| *step) else { return Outcome::Quiet };
        let title = format!("the capture's stamps go in steps of {}", duration(*worst));
        let evidence =
            coarse.iter().map(|(file, step)| Evidence::at(None, format!("{file}: {}", duration(*step))));
        Outcome::Broken(vec![Finding::of(self, (Severity::Info, Strength::Shown), title, evidence.collect())])
    }
}
