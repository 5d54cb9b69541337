//! `media-clock-rate-off`

use std::collections::BTreeSet;
use std::net::IpAddr;

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

/// Senders whose clocks run alike from which one cause is told (chosen: two may agree by chance, and then that is said).
const SENDERS_ALIKE: usize = 2;

/// How far apart their rates may be beyond their errors, and as a share of what they are off by (chosen).
const ALIKE_PPM: f64 = 0.1;
const ALIKE_SHARE: f64 = 0.1;

/// Streams shown of them (chosen).
const STREAMS_SHOWN: usize = 8;

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
            "two senders or more within three standard errors and 0.1 ppm, and a tenth of it, have one cause (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let mut off: Vec<Off<'_>> =
            analysis.wire.streams.iter().filter_map(|stream| off(analysis, stream)).collect();
        let mut findings = Vec::new();
        for alike in together(&mut off) {
            findings.push(self.one_cause(analysis, &alike));
        }
        findings.extend(off.iter().map(|off| self.finding(analysis, off)));
        Outcome::from_findings(findings)
    }
}

/// A stream whose media clock is off.
#[derive(Clone, Copy)]
struct Off<'a> {
    stream: &'a Stream,
    rate: &'a MediaRate,
    /// Whether its description says that it follows PTP.
    claims: bool,
}

fn off<'a>(analysis: &Analysis, stream: &'a Stream) -> Option<Off<'a>> {
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
    (claims || stream.nature.kind == Kind::Audio).then_some(Off { stream, rate, claims })
}

/// Takes out those of several senders whose clocks run alike.
fn together<'a>(off: &mut Vec<Off<'a>>) -> Vec<Vec<Off<'a>>> {
    off.sort_by(|a, b| a.rate.ppm.total_cmp(&b.rate.ppm).then(a.stream.key.cmp(&b.stream.key)));
    let mut groups = Vec::new();
    let mut alone = Vec::new();
    while let Some(first) = off.first().copied() {
        let count = off.iter().take_while(|other| are_alike(first.rate, other.rate)).count().max(1);
        let rest = off.split_off(count);
        let group = std::mem::replace(off, rest);
        let sources: BTreeSet<IpAddr> = group.iter().filter_map(|off| off.stream.source()).collect();
        if sources.len() >= SENDERS_ALIKE { groups.push(group) } else { alone.extend(group) }
    }
    alone.sort_by_key(|off| off.stream.key);
    *off = alone;
    groups
}

fn are_alike(one: &MediaRate, other: &MediaRate) -> bool {
    let apart = (one.ppm - other.ppm).abs();
    apart <= 3.0 * one.sigma_ppm.hypot(other.sigma_ppm) + ALIKE_PPM && apart <= one.ppm.abs() * ALIKE_SHARE
}

impl MediaClockRateOff {
    fn finding(&self, analysis: &Analysis, off: &Off<'_>) -> Finding {
        let Off { stream, rate, claims } = *off;
        let severity = if claims { Severity::Critical } else { Severity::Info };
        let strength = if claims { Strength::Shown } else { Strength::Inferred };
        let by = if claims {
            ", though its description says it follows PTP"
        } else {
            "; by design where it is not timed by PTP"
        };
        let title = format!("{}: its media clock runs {} against the leader{by}", stream.key, ppm(rate));
        let finding = Finding::of(self, (severity, strength), title, vec![Evidence::at(None, error(rate))]);
        finding.about_stream(analysis, stream)
    }

    /// Several senders that are off alike have one other clock.
    fn one_cause(&self, analysis: &Analysis, alike: &[Off<'_>]) -> Finding {
        let sources: BTreeSet<IpAddr> = alike.iter().filter_map(|off| off.stream.source()).collect();
        let claims = alike.iter().any(|off| off.claims);
        let severity = if claims { Severity::Critical } else { Severity::Info };
        let middle = alike.get(alike.len() / 2).map(|off| ppm(off.rate)).unwrap_or_default();
        let title = format!(
            "the media clocks of {} senders run alike, {middle} against the leader: they follow one other clock, or \
             the leader's own rate is off{}",
            sources.len(),
            if sources.len() == 2 { ", or two of one make agree by chance" } else { "" }
        );
        let shown = alike.iter().take(STREAMS_SHOWN).map(|off| {
            let says = if off.claims { "; its description says it follows PTP" } else { "" };
            Evidence::at(None, format!("{}: {}, {}{says}", off.stream.key, ppm(off.rate), error(off.rate)))
        });
        let more = alike.len().saturating_sub(STREAMS_SHOWN);
        let rest = (more > 0).then(|| Evidence::at(None, format!("and {more} more streams")));
        let mut finding =
            Finding::of(self, (severity, Strength::Inferred), title, shown.chain(rest).collect());
        let senders = alike.iter().filter_map(|off| analysis.sender_of(off.stream));
        finding.affected = senders.map(|device| device.key.clone()).collect();
        finding.affected.sort();
        finding.affected.dedup();
        finding.next = vec![
            "look which clock these senders are set to: another domain, a word clock, or one behind a boundary clock",
            "hold the leader's rate against another reference before anything is set: all of these may be right",
            "till then receivers on the leader's time lose or repeat samples at a steady pace: 1 ppm is one 48 kHz \
             sample each 21 s",
        ];
        finding
    }
}

fn error(rate: &MediaRate) -> String {
    format!(
        "standard error {:.3} ppm over {}, through the leader's Syncs",
        rate.sigma_ppm,
        rate.span.as_seconds_text()
    )
}

fn ppm(rate: &MediaRate) -> String {
    format!("{:+.3} ppm", rate.ppm)
}
