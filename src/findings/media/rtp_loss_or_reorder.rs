//! `rtp-loss-or-reorder`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::finding::at;
use crate::findings::loss;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::findings::words::times;
use crate::streams::RtpCounts;
use crate::streams::Stream;

/// Packets that have to be missing (chosen).
const LOST: u64 = 10;

/// One of so many (chosen: a click in 10 s at 1 ms a packet).
const OF: u64 = 10_000;

/// Losses that all else should show, were it the capture that lost them (chosen: 10, of which none is luck no more).
const ELSEWHERE: u128 = 10;

/// Packets of a stream are lost on the way.
pub(super) struct RtpLossOrReorder;

impl Rule for RtpLossOrReorder {
    fn id(&self) -> &'static str {
        "rtp-loss-or-reorder"
    }

    fn summary(&self) -> &'static str {
        "packets of one stream are missing, or come out of order, while others are whole"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "look at the error and drop counters of the switch ports between the sender and the place of the capture",
            "capture at the sender's own port: is the stream whole there?",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "sequence numbers: RFC 3550 5.1 and A.3 (from memory)",
            "10 or more, and one of 10 000; what is missing alike everywhere, the capture may have lost (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let mut findings = Vec::new();
        let mut unclear = 0_usize;
        for stream in &analysis.wire.streams {
            let Some(rtp) = stream.rtp.as_ref().filter(|rtp| is_much(rtp.lost, rtp)) else {
                findings.extend(self.reordered(analysis, stream));
                continue;
            };
            if is_own(analysis, stream, rtp) {
                findings.push(self.lost(analysis, stream, rtp));
            } else {
                unclear += 1;
            }
        }
        if findings.is_empty() && unclear > 0 {
            return Outcome::CannotTell(format!(
                "packets of {unclear} streams are missing, and the capture may have lost them: too little else is whole"
            ));
        }
        Outcome::from_findings(findings)
    }
}

const fn is_much(count: u64, rtp: &RtpCounts) -> bool {
    !rtp.estimated && count >= LOST && count.saturating_mul(OF) >= rtp.expected
}

/// Whether all else lost far less.
fn is_own(analysis: &Analysis, stream: &Stream, rtp: &RtpCounts) -> bool {
    if analysis.captures.iter().any(|capture| capture.summary.drops_reported.unwrap_or(0) > 0) {
        return false;
    }
    let others = loss::besides(analysis, stream);
    let due = u128::from(others.expected) * u128::from(rtp.lost) / u128::from(rtp.expected.max(1));
    due >= ELSEWHERE && u128::from(others.missed) * 4 < due
}

impl RtpLossOrReorder {
    fn lost(&self, analysis: &Analysis, stream: &Stream, rtp: &RtpCounts) -> Finding {
        let per_million = u128::from(rtp.lost) * 1_000_000 / u128::from(rtp.expected.max(1));
        let title = format!("{}: {} of {} packets are missing", stream.key, rtp.lost, rtp.expected);
        let others = loss::besides(analysis, stream);
        let mut evidence = vec![Evidence::at(
            None,
            format!(
                "{per_million} of a million; of all else that is numbered here, {} of {}",
                others.missed, others.expected
            ),
        )];
        if let Some(burst) = stream.bursts.first() {
            let text = format!(
                "{} 3 or more in a row, first {} at {}",
                times(stream.burst_count),
                burst.missing,
                at(analysis, burst.time)
            );
            evidence.push(Evidence::at(None, text));
        }
        let finding = Finding::of(self, (Severity::Major, Strength::Inferred), title, evidence);
        finding.about_stream(analysis, stream)
    }

    /// Order gets lost in mirrors and capture queues as well, so it is context.
    fn reordered(&self, analysis: &Analysis, stream: &Stream) -> Option<Finding> {
        let rtp = stream.rtp.as_ref().filter(|rtp| is_much(rtp.reordered, rtp))?;
        let title =
            format!("{}: {} of {} packets came out of order", stream.key, rtp.reordered, rtp.expected);
        let text = "a mirror or the capture's queues may have done that".to_owned();
        let evidence = vec![Evidence::at(None, text)];
        let finding = Finding::of(self, (Severity::Info, Strength::Inferred), title, evidence);
        Some(finding.about_stream(analysis, stream))
    }
}
