//! `rtp-timestamp-step`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::finding::at;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::streams::Against;
use crate::streams::Kind;
use crate::streams::MediaStep;
use crate::streams::Stream;
use crate::units::CaptureTime;
use crate::units::Nanos;

/// How far apart jumps of two clocks may be and still have one cause (chosen).
const SAME_INSTANT: Nanos = Nanos::from_seconds(3);

/// Ticks a second of every picture format (RFC 3551 section 5, from memory).
const PICTURES_RATE: u32 = 90_000;

/// Jumps in the evidence (chosen).
const NAMED: usize = 8;

/// A stream's timestamps jump.
pub(super) struct RtpTimestampStep;

impl Rule for RtpTimestampStep {
    fn id(&self) -> &'static str {
        "rtp-timestamp-step"
    }

    fn summary(&self) -> &'static str {
        "a stream's timestamps jump while its packets go on and no other clock jumps"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "look at the sender's log at that time: did it lose its clock, or lock anew?",
            "receivers fill their buffers anew at each jump: a click, or a short silence",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "timestamps go on with the sampling clock: RFC 3550 5.1 (from memory)",
            "1 ms or more, and no jump of the leader or of another sender within 3 s (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let found = analysis.wire.streams.iter().filter_map(|stream| self.finding(analysis, stream));
        Outcome::from_findings(found.collect())
    }
}

/// Whether the stream's timestamps are those of a sampling clock: an encoder's pictures come as they are made. Audio that
/// nothing describes is no longer taken for audio where its timestamps jump; its clock rate shows it.
fn is_sampled(stream: &Stream) -> bool {
    let raw = stream.nature.codec.as_ref().is_some_and(|codec| codec.eq_ignore_ascii_case("raw"));
    match stream.nature.kind {
        Kind::Audio => true,
        Kind::Unknown => stream.nature.clock_rate.is_some_and(|rate| rate != PICTURES_RATE),
        _ => raw,
    }
}

fn near(one: CaptureTime, other: CaptureTime) -> bool {
    one.since(other).0.saturating_abs() <= SAME_INSTANT.0
}

/// Whether another clock jumped then: the leader's, the capture's, or another sender's.
fn is_shared(analysis: &Analysis, stream: &Stream, step: &MediaStep) -> bool {
    let of_clocks =
        analysis.clocks.paths().flat_map(|(_, path)| &path.steps).any(|it| near(it.time, step.time));
    let others = analysis.wire.streams.iter().filter(|other| other.source() != stream.source());
    let of_others = others
        .filter_map(|other| other.media_rate.as_ref())
        .flat_map(|rate| &rate.steps)
        .any(|it| near(it.time, step.time));
    of_clocks || of_others || analysis.may_have_been_set_by(step.size)
}

impl RtpTimestampStep {
    fn finding(&self, analysis: &Analysis, stream: &Stream) -> Option<Finding> {
        let rate = stream.media_rate.as_ref()?;
        let rtp = stream.rtp.filter(|rtp| rtp.restarts == 0 && rtp.unclear == 0 && !rtp.estimated)?;
        // Against the capture's clock alone, that one may have jumped.
        if rate.against == Against::CaptureClock || !is_sampled(stream) || !stream.pauses.is_empty() {
            return None;
        }
        let own: Vec<&MediaStep> =
            rate.steps.iter().filter(|step| !is_shared(analysis, stream, step)).collect();
        let first = own.first()?;
        let title = format!(
            "{}: its timestamps jump {} by {} at {}{}",
            stream.key,
            if first.size.0 > 0 { "ahead" } else { "back" },
            Nanos(first.size.0.saturating_abs()).as_seconds_text(),
            at(analysis, first.time),
            if own.len() > 1 { format!(", and {} more times", own.len() - 1) } else { String::new() }
        );
        let mut evidence: Vec<Evidence> = own
            .iter()
            .take(NAMED)
            .map(|step| {
                let text = format!("by {} at {}", step.size.as_seconds_text(), at(analysis, step.time));
                Evidence::at(None, text)
            })
            .collect();
        evidence.push(Evidence::at(None, format!("{} packets lost in the whole stream", rtp.lost)));
        let finding = Finding::of(self, (Severity::Major, Strength::Inferred), title, evidence);
        Some(finding.about_stream(analysis, stream))
    }
}
