//! `format-or-rate-mismatch`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::streams::Kind;
use crate::streams::KnownBy;
use crate::streams::Stream;

/// Packets of a stream (reference: 10; chosen: enough for a steady rate).
const PACKETS: u64 = 100;

/// Packets are not what the description says.
pub(super) struct FormatOrRateMismatch;

impl Rule for FormatOrRateMismatch {
    fn id(&self) -> &'static str {
        "format-or-rate-mismatch"
    }

    fn summary(&self) -> &'static str {
        "an audio stream's sample rate, or the size of its packets, is not what its description says"
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
            "100 packets, all of one size and one step (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let found = analysis.wire.streams.iter().filter_map(|stream| self.finding(analysis, stream));
        Outcome::from_findings(found.collect())
    }
}

/// Octets of a sample by the encoding's name.
fn sample_octets(encoding: &str) -> Option<i64> {
    match encoding.to_ascii_uppercase().as_str() {
        "L8" => Some(1),
        "L16" => Some(2),
        "L24" => Some(3),
        "AM824" => Some(4),
        _ => None,
    }
}

/// What differs, as a sentence.
fn difference(stream: &Stream) -> Option<String> {
    let map = stream.described.as_ref()?.map.as_ref()?;
    if let Some(measured) = stream.packets.clock_rate.filter(|measured| *measured != map.clock_rate) {
        return Some(format!("described with {} Hz, its timestamps run at {measured} Hz", map.clock_rate));
    }
    let step = stream.packets.step.filter(|step| *step > 0)?;
    let (low, high) = stream.packets.octets;
    let width = sample_octets(&map.encoding).filter(|_| low == high)?;
    let channels = i64::from(map.channels.unwrap_or(1));
    let due = i64::from(step).saturating_mul(width).saturating_mul(channels);
    (due != i64::from(low)).then(|| {
        format!(
            "described as {} with {channels} channels, {step} samples take {due} octets; its packets have {low}",
            map.encoding
        )
    })
}

impl FormatOrRateMismatch {
    fn finding(&self, analysis: &Analysis, stream: &Stream) -> Option<Finding> {
        let is_audio = stream.nature.kind == Kind::Audio && stream.nature.known_by == KnownBy::Sdp;
        if !is_audio || stream.rate.packets() < PACKETS {
            return None;
        }
        let text = difference(stream)?;
        let title = format!("{}: {text}", stream.key);
        let name = stream.described.as_ref().map(|described| described.name.as_str()).unwrap_or_default();
        let evidence =
            vec![Evidence::at(None, format!("session {name:?}, {} packets", stream.rate.packets()))];
        let finding = Finding::of(self, (Severity::Major, Strength::Shown), title, evidence);
        Some(finding.about_stream(analysis, stream))
    }
}
