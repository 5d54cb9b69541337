//! `format-or-rate-mismatch`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::streams::Contradiction;
use crate::streams::Stream;

/// Packets are not what the description says.
pub(super) struct FormatOrRateMismatch;

impl Rule for FormatOrRateMismatch {
    fn id(&self) -> &'static str {
        "format-or-rate-mismatch"
    }

    fn summary(&self) -> &'static str {
        "a stream's payload type, or an audio stream's rate, time or size of a packet, is not what its description says"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "let the sender describe its stream anew, and receivers read that again",
            "look whether two streams, or an old and a new description, use this group",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "a=rtpmap: RFC 8866 6.6; linear audio: RFC 3190, RFC 3551 4.5.11, ST 2110-30 (from memory)",
            "payload types of the m= line: RFC 8866 5.14; a=ptime: RFC 8866 6.4 (from memory)",
            "100 packets, all of one size and one step; a time of a packet that is off by more than an eighth (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let found = analysis.wire.streams.iter().filter_map(|stream| self.finding(analysis, stream));
        Outcome::from_findings(found.collect())
    }
}

impl FormatOrRateMismatch {
    fn finding(&self, analysis: &Analysis, stream: &Stream) -> Option<Finding> {
        if stream.contradictions.is_empty() {
            return None;
        }
        let texts: Vec<String> = stream.contradictions.iter().map(ToString::to_string).collect();
        let text = texts.join("; ");
        // Receivers bear with packets of another length, most of them.
        let is_format = stream.contradictions.iter().any(Contradiction::is_of_format);
        let severity = if is_format { Severity::Major } else { Severity::Minor };
        let title = format!("{}: {text}", stream.key);
        let name = stream.described.as_ref().map(|described| format!("session {:?}, ", described.name));
        let text = format!("{}{} packets", name.unwrap_or_default(), stream.rate.packets());
        let evidence = vec![Evidence::at(None, text)];
        let finding = Finding::of(self, (severity, Strength::Shown), title, evidence);
        Some(finding.about_stream(analysis, stream))
    }
}
