//! `rtp-offset-not-from-ptp`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::Domain;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::finding::at;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::streams::Kind;
use crate::streams::Stream;
use crate::units::CaptureTime;
use crate::units::Nanos;

/// Packets of a stream (reference: 100).
const PACKETS: u64 = 100;

/// Audio passes so long after its timestamp at the most, and never before it (reference: 20 ms, a few packet times).
const AUDIO: Nanos = Nanos(20_000_000);

/// The same for pictures, whose timestamp is that of the whole picture (chosen: two pictures at 25 a second, and a margin).
const PICTURES: Nanos = Nanos(100_000_000);

/// A stream's timestamps do not come from PTP time.
pub(super) struct RtpOffsetNotFromPtp;

impl Rule for RtpOffsetNotFromPtp {
    fn id(&self) -> &'static str {
        "rtp-offset-not-from-ptp"
    }

    fn summary(&self) -> &'static str {
        "a stream's timestamps stand far from PTP time and its description says that they are it"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "stop the stream, wait until the sender says that it is locked, and start it again",
            "where the stream's first packets passed before the sender took part in PTP, start senders after the clock",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "`mediaclk:direct=`: RFC 7273 5.2; timestamps from PTP: AES67, ST 2110-10 (from memory)",
            "20 ms for audio, 100 ms for pictures, 100 packets (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let found = analysis.wire.streams.iter().filter_map(|stream| self.finding(analysis, stream));
        Outcome::from_findings(found.collect())
    }
}

/// How far off a stream may be; `None` where an encoder's own delay comes in.
fn allowed(stream: &Stream) -> Option<Nanos> {
    let raw = stream.nature.codec.as_ref().is_some_and(|codec| codec.eq_ignore_ascii_case("raw"));
    match stream.nature.kind {
        Kind::Audio => Some(AUDIO),
        Kind::Video if raw => Some(PICTURES),
        _ => None,
    }
}

impl RtpOffsetNotFromPtp {
    fn finding(&self, analysis: &Analysis, stream: &Stream) -> Option<Finding> {
        let rate = stream.media_rate.as_ref()?;
        let (offset, allowed) = (rate.offset?, allowed(stream)?);
        // Of another leader's time, or off in rate: those are said by rules of their own.
        let other = stream.described.as_ref().is_some_and(|described| described.agrees == Some(false));
        if other || rate.is_off() == Some(true) || stream.rate.packets() < PACKETS {
            return None;
        }
        if offset.0.saturating_abs() <= allowed.0 {
            return None;
        }
        let title = format!(
            "{}: its timestamps are {} {} PTP time",
            stream.key,
            Nanos(offset.0.saturating_abs()).as_seconds_text(),
            if offset.0 > 0 { "behind" } else { "ahead of" }
        );
        let text = format!(
            "half of its packets pass {} {} the instant that their timestamps name, by `mediaclk:direct`; up to {} is usual",
            Nanos(offset.0.saturating_abs()).as_seconds_text(),
            if offset.0 > 0 { "after" } else { "before" },
            allowed.as_seconds_text()
        );
        let mut evidence = vec![Evidence::at(None, text)];
        evidence.extend(before_the_clock(analysis, stream));
        let finding = Finding::of(self, (Severity::Critical, Strength::Inferred), title, evidence);
        Some(finding.about_stream(analysis, stream))
    }
}

/// That the stream began before its sender took part in PTP.
fn before_the_clock(analysis: &Analysis, stream: &Stream) -> Option<Evidence> {
    let device = analysis.sender_of(stream)?;
    let first = stream.first()?;
    let own = |domain: &Domain| -> Option<CaptureTime> {
        let requests = domain
            .requesters
            .iter()
            .filter(|((port, _), _)| device.has_clock(port.clock))
            .filter_map(|(_, requester)| requester.first_request()?.time);
        requests.min()
    };
    let asked = analysis.domains.iter().filter_map(own).min()?;
    (first < asked).then(|| {
        let text = format!(
            "its first packet passed at {}, the sender's first request of the delay at {}",
            at(analysis, first),
            at(analysis, asked)
        );
        Evidence::at(None, text)
    })
}
