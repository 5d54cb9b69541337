//! `capture-drops`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;

/// The capturing machine lost frames.
pub(super) struct CaptureDrops;

impl Rule for CaptureDrops {
    fn id(&self) -> &'static str {
        "capture-drops"
    }

    fn summary(&self) -> &'static str {
        "the capturing machine says that it lost frames: what is missing may have been there"
    }

    fn next(&self) -> &'static [&'static str] {
        &["capture with cut frames (128 octets), a larger buffer, or a faster disk; do not filter by content"]
    }

    fn sources(&self) -> &'static [&'static str] {
        &["pcapng interface statistics, isb_ifdrop and isb_osdrop"]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let dropped = analysis.captures.iter().filter_map(|capture| {
            let drops = capture.summary.drops_reported.filter(|drops| *drops > 0)?;
            Some((&capture.summary, drops))
        });
        let dropped: Vec<_> = dropped.collect();
        if dropped.is_empty() {
            return Outcome::Quiet;
        }
        let sum: u64 = dropped.iter().map(|(_, drops)| *drops).sum();
        let title = format!("{sum} frames were lost before they were captured");
        let evidence = dropped.iter().map(|(summary, drops)| {
            Evidence::at(None, format!("{}: {drops} lost, {} captured", summary.file, summary.packets))
        });
        Outcome::Broken(vec![Finding::of(self, (Severity::Info, Strength::Shown), title, evidence.collect())])
    }
}
