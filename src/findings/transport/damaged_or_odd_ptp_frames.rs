//! `damaged-or-odd-ptp-frames`

use std::collections::BTreeMap;

use crate::analysis::Analysis;
use crate::analysis::Problem;
use crate::devices::Strength;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::findings::words;
use crate::observations::Place;
use crate::ptp::Note;

/// Share of PTP messages, per cent, from which it is more than a stray frame (chosen).
const MUCH_PERCENT: u64 = 1;

/// Broken messages below which no share is taken (chosen).
const LEAST: u64 = 10;

/// PTP messages that cannot be read as the standard lays them down.
pub(super) struct DamagedOrOddPtpFrames;

impl Rule for DamagedOrOddPtpFrames {
    fn id(&self) -> &'static str {
        "damaged-or-odd-ptp-frames"
    }

    fn summary(&self) -> &'static str {
        "PTP messages are too short, of no known version, in fragments, or carry broken TLVs"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "find the sender by the frames named here, and update it",
            "where they come from many senders, look for a device on the way that changes frames",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "lengths and TLVs: IEEE 1588-2008 13.3.2.4, 14 (from memory)",
            "1 of 100 messages is major (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let mut met: BTreeMap<String, (u64, Place)> = BTreeMap::new();
        let mut add = |text: String, (times, first): (u64, Place)| {
            met.entry(text).and_modify(|known| known.0 += times).or_insert((times, first));
        };
        let mut cut = 0;
        for capture in &analysis.captures {
            for (problem, found) in &capture.problems {
                match problem {
                    // Frames that the capture kept a part of say nothing of the sender.
                    Problem::PtpShort(_) if capture.summary.snapped > 0 => cut += found.0,
                    Problem::PtpShort(_) | Problem::PtpValue(..) | Problem::PtpFragment => {
                        add(problem.to_string(), *found);
                    }
                    _ => {}
                }
            }
        }
        for domain in analysis.domains.iter() {
            for (note, found) in &domain.notes {
                if matches!(note, Note::TlvBroken { .. } | Note::TlvTooShort { .. }) {
                    add(format!("{}: {note}", domain.key), *found);
                }
            }
        }
        let broken: u64 = met.values().map(|(times, _)| times).sum();
        if broken == 0 {
            return if cut > 0 {
                Outcome::CannotTell(format!(
                    "{cut} PTP messages are too short, and the capture kept only a part of its frames"
                ))
            } else {
                Outcome::Quiet
            };
        }
        let all = analysis.ptp_messages.saturating_add(broken);
        let is_much = broken >= LEAST && broken.saturating_mul(100) >= all.saturating_mul(MUCH_PERCENT);
        let severity = if is_much { Severity::Major } else { Severity::Minor };
        let evidence = met.into_iter().map(|(text, (times, first))| {
            Evidence::at(Some(first), format!("{}: {text}", words::times(times)))
        });
        let title = format!("{broken} PTP messages are not as the standard lays them down");
        Outcome::Broken(vec![Finding::of(self, (severity, Strength::Shown), title, evidence.collect())])
    }
}
