//! `capture-drops`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::Kind;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::finding::at;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::streams::Silence;
use crate::units::Nanos;

/// Messages due of one sender from which it is asked whether any are missing (chosen).
const DUE_OF_ONE: u64 = 20;

/// Senders that must lack messages alike: one or two may have a bad link (chosen).
const SENDERS: usize = 3;

/// The shortest time without a frame that is told (chosen: longer than the pauses between frames of a PTP capture).
const LEAST_HOLE: Nanos = Nanos::from_seconds(2);

/// Frames due in it (chosen).
const DUE: i128 = 20;

/// Holes shown (chosen).
const SHOWN: usize = 8;

/// The capturing machine lost frames.
pub(super) struct CaptureDrops;

impl Rule for CaptureDrops {
    fn id(&self) -> &'static str {
        "capture-drops"
    }

    fn summary(&self) -> &'static str {
        "the capture itself lost frames, by its own count or as all senders show: what is missing may have been there"
    }

    fn next(&self) -> &'static [&'static str] {
        &["capture with cut frames (128 octets), a larger buffer, or a faster disk; do not filter by content"]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "pcapng interface statistics, isb_ifdrop and isb_osdrop",
            "numbers missing of 9 in 10 of 3 or more senders, 1 % of all; nothing captured for 2 s in which 20 frames were due (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let dropped = analysis.captures.iter().filter_map(|capture| {
            let drops = capture.summary.drops_reported.filter(|drops| *drops > 0)?;
            Some((&capture.summary, drops))
        });
        let dropped: Vec<_> = dropped.collect();
        let mut findings = Vec::new();
        let sum: u64 = dropped.iter().map(|(_, drops)| *drops).sum();
        if sum > 0 {
            let title = format!("{sum} frames were lost before they were captured");
            let evidence = dropped.iter().map(|(summary, drops)| {
                Evidence::at(None, format!("{}: {drops} lost, {} captured", summary.file, summary.packets))
            });
            findings.push((title, evidence.collect()));
        }
        let holes = holes(analysis);
        if let Some(longest) = holes.iter().max_by_key(|hole| hole.until.since(hole.from)) {
            let span =
                |hole: &Silence| format!("from {} to {}", at(analysis, hole.from), at(analysis, hole.until));
            let more = match holes.len() {
                1 => String::new(),
                n => format!(", the longest of {n} times"),
            };
            let title = format!("nothing was captured {}{more}", span(longest));
            let evidence = holes.iter().take(SHOWN).map(|hole| {
                Evidence::at(
                    None,
                    format!("no frame of anybody {}, or the capture's clock was set ahead", span(hole)),
                )
            });
            findings.push((title, evidence.collect()));
        } else if let Some((missing, expected)) = missing_everywhere(analysis) {
            let per_cent = missing.saturating_mul(100).checked_div(expected).unwrap_or(0);
            let title =
                format!("frames of every sender are missing: the capture itself lost about {per_cent} %");
            let text = format!(
                "{missing} of {expected} numbers of clocks' messages are missing, of all senders alike"
            );
            findings.push((title, vec![Evidence::at(None, text)]));
        }
        let strength = if sum > 0 { Strength::Shown } else { Strength::Inferred };
        let finding = |(title, evidence)| Finding::of(self, (Severity::Info, strength), title, evidence);
        Outcome::from_findings(findings.into_iter().map(finding).collect())
    }
}

/// Times without any frame in which many were due.
fn holes(analysis: &Analysis) -> Vec<Silence> {
    let span = i128::from(analysis.duration().unwrap_or(Nanos::ZERO).0);
    let is_hole = |silence: &&Silence| {
        let length = silence.until.since(silence.from);
        length >= LEAST_HOLE && i128::from(length.0) * i128::from(analysis.frames) >= DUE * span
    };
    analysis.wire.silences.iter().filter(is_hole).copied().collect()
}

/// Numbers missing and due, where those of nearly all senders are missing.
fn missing_everywhere(analysis: &Analysis) -> Option<(u64, u64)> {
    let kinds = [Kind::Announce, Kind::Sync, Kind::DelayReq, Kind::PdelayReq];
    let ports = analysis.domains.iter().flat_map(|domain| domain.ports.values());
    let senders: Vec<(u64, u64)> = ports
        .map(|port| {
            let series = kinds.iter().filter_map(|kind| port.series(*kind));
            series.fold((0, 0), |(missed, due), series| {
                (missed + series.missed(), due + series.missed() + series.count())
            })
        })
        .filter(|(_, due)| *due >= DUE_OF_ONE)
        .collect();
    let lacking = senders.iter().filter(|(missed, _)| *missed > 0).count();
    let (missing, due) = senders.iter().fold((0, 0), |(a, b), (missed, due)| (a + missed, b + due));
    let is_everywhere =
        senders.len() >= SENDERS && lacking.saturating_mul(10) >= senders.len().saturating_mul(9);
    (is_everywhere && missing.saturating_mul(100) >= due).then_some((missing, due))
}
