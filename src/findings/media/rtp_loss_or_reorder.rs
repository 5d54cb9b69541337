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
            "sequence numbers: RFC 3550 5.1 and A.3, IEEE 1722-2016 4.4.4 (from memory)",
            "10 or more, and one of 10 000; what the better half of all other senders misses alike, the capture may have lost \
             (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let mut findings = Vec::new();
        let mut unclear = 0_u64;
        for stream in &analysis.wire.streams {
            let is_estimated = stream.rtp.is_some_and(|rtp| rtp.estimated);
            let numbered = stream.numbered().filter(|_| !is_estimated);
            let Some((expected, lost)) = numbered.filter(|(expected, lost)| is_much(*lost, *expected)) else {
                findings.extend(self.reordered(analysis, stream));
                continue;
            };
            if is_own(analysis, stream, (expected, lost)) {
                findings.push(self.lost(analysis, stream, (expected, lost)));
            } else {
                unclear += 1;
            }
        }
        let cannot_tell = (unclear > 0).then(|| {
            format!(
                "packets of {} are missing, and the capture may have lost them: too little else is whole",
                if unclear == 1 { "a stream".to_owned() } else { format!("{unclear} streams") }
            )
        });
        Outcome::of_some(findings, cannot_tell)
    }
}

const fn is_much(count: u64, expected: u64) -> bool {
    count >= LOST && count.saturating_mul(OF) >= expected
}

/// Whether most of all else lost far less.
fn is_own(analysis: &Analysis, stream: &Stream, (expected, lost): (u64, u64)) -> bool {
    if analysis.captures.iter().any(|capture| capture.summary.drops_reported.unwrap_or(0) > 0) {
        return false;
    }
    let others = loss::besides(analysis, stream).better_half;
    let due = u128::from(others.expected) * u128::from(lost) / u128::from(expected.max(1));
    due >= ELSEWHERE && u128::from(others.missed) * 4 < due
}

impl RtpLossOrReorder {
    fn lost(&self, analysis: &Analysis, stream: &Stream, (expected, lost): (u64, u64)) -> Finding {
        let per_million = u128::from(lost) * 1_000_000 / u128::from(expected.max(1));
        let title = format!("{}: {} of {} packets are missing", stream.key, lost, expected);
        let others = loss::besides(analysis, stream);
        let mut evidence = vec![Evidence::at(
            None,
            format!(
                "{per_million} of a million; of all else that is numbered here, {} of {}, and of its better half, {} of {}",
                others.all.missed,
                others.all.expected,
                others.better_half.missed,
                others.better_half.expected
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
        let rtp = stream.rtp.filter(|rtp| !rtp.estimated && is_much(rtp.reordered, rtp.expected))?;
        let title =
            format!("{}: {} of {} packets came out of order", stream.key, rtp.reordered, rtp.expected);
        let text = "a mirror or the capture's queues may have done that".to_owned();
        let evidence = vec![Evidence::at(None, text)];
        let finding = Finding::of(self, (Severity::Info, Strength::Inferred), title, evidence);
        Some(finding.about_stream(analysis, stream))
    }
}
