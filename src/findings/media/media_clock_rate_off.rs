//! `media-clock-rate-off`

use super::claims_ptp;
use crate::analysis::Analysis;
use crate::devices::State;
use crate::devices::Strength;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::sdp::MediaClock;
use crate::streams::Kind;
use crate::streams::MediaRate;
use crate::streams::Stream;

/// A stream's clock runs at a rate of its own.
pub(super) struct MediaClockRateOff;

impl Rule for MediaClockRateOff {
    fn id(&self) -> &'static str {
        "media-clock-rate-off"
    }

    fn summary(&self) -> &'static str {
        "a stream's media clock runs faster or slower than the leader's time"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "at the sender: set its media clock to follow PTP, and look whether it says that it is locked",
            "till then receivers lose or repeat samples at a steady pace: 1 ppm is one 48 kHz sample each 21 s",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "the media clock of `mediaclk:direct`: RFC 7273 5 (from memory)",
            "beyond 1 ppm and three standard errors, over 10 s or more, against the leader's time (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let found = analysis.wire.streams.iter().filter_map(|stream| self.finding(analysis, stream));
        Outcome::from_findings(found.collect())
    }
}

impl MediaClockRateOff {
    fn finding(&self, analysis: &Analysis, stream: &Stream) -> Option<Finding> {
        let rate = stream.media_rate.as_ref().filter(|rate| rate.is_off() == Some(true))?;
        let free = stream.described.as_ref().and_then(|described| described.media_clock.as_ref());
        if free == Some(&MediaClock::Sender) {
            return None;
        }
        // Of a device that takes part in the clock, the whole device is said to be off.
        if analysis.sender_of(stream).is_some_and(|device| device.state == State::Adrift) {
            return None;
        }
        let claims = claims_ptp(stream);
        // Whoever does not claim PTP may run free by design, as compressed pictures mostly do.
        if !claims && stream.nature.kind != Kind::Audio {
            return None;
        }
        let severity = if claims { Severity::Critical } else { Severity::Info };
        let strength = if claims { Strength::Shown } else { Strength::Inferred };
        let title = if claims {
            format!(
                "{}: {} against the leader, though its description says it follows PTP",
                stream.key,
                ppm(rate)
            )
        } else {
            format!(
                "{}: {} against the leader; by design where it is not timed by PTP",
                stream.key,
                ppm(rate)
            )
        };
        let text = format!(
            "standard error {:.3} ppm over {}, through the leader's Syncs",
            rate.sigma_ppm,
            rate.span.as_seconds_text()
        );
        let finding = Finding::of(self, (severity, strength), title, vec![Evidence::at(None, text)]);
        Some(finding.about_stream(analysis, stream))
    }
}

fn ppm(rate: &MediaRate) -> String {
    format!("its media clock runs {:+.3} ppm", rate.ppm)
}
