//! `sync-delay-variation`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::findings::words::difference;
use crate::findings::yardstick;
use crate::timing::ScaledNanos;
use crate::units::Nanos;

/// Changes of the one-way delay from Sync to Sync, 5 of 100 above this, are much (chosen: four full-size frames at
/// 1 Gb/s, 12.3 us each: 1518 and 20 octets).
const MUCH: Nanos = Nanos(50_000);

/// How many times the middle the 95th percentile must be (chosen): a queue delays some Syncs, a stamp all.
const SPIKES: i64 = 4;

/// Time before it is judged (reference: 60 s).
const WATCHED: Nanos = Nanos::from_seconds(60);

/// Some Syncs are held up on the way.
pub(super) struct SyncDelayVariation;

impl Rule for SyncDelayVariation {
    fn id(&self) -> &'static str {
        "sync-delay-variation"
    }

    fn summary(&self) -> &'static str {
        "some Syncs of the leader are held up on the way, while another clock's arrive evenly at the same place"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "give PTP a priority queue on every switch on the way; look for bursts of video on the same links",
            "capture nearer to the leader: the hop after which it begins is the one to look at",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "one full-size frame takes 12.3 us at 1 Gb/s, 123 us at 100 Mb/s (1538 octets; arithmetic)",
            "200 Syncs and 60 s; 5 of 100 changes above 50 us, 4 times the middle and 4 times the other clock's (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let mut findings = Vec::new();
        let mut cannot_tell = None;
        for (key, path) in analysis.clocks.paths() {
            let Some(noise) = yardstick::noise(analysis, *key, path.port) else { continue };
            let spikes = noise.own.p95 > noise.own.median.saturating_mul(SPIKES);
            if noise.own.p95 <= MUCH || !spikes || analysis.watched_for(Nanos::from_seconds(1)) < WATCHED {
                continue;
            }
            let Some((other, theirs)) = noise.steadiest else {
                cannot_tell = Some(format!(
                    "{key}: some Syncs of {} come late, and no other clock is in view to tell whether the capture \
                     stamped them late",
                    path.port
                ));
                continue;
            };
            if !noise.is_beyond(noise.own.p95, theirs.p95) {
                continue;
            }
            let value = |nanos: Nanos| difference(ScaledNanos::from(nanos));
            let text = format!(
                "from Sync to Sync the delay changes by {} in the middle and by more than {} in 5 %; that of \
                 {other} at the same place by more than {}",
                value(noise.own.median),
                value(noise.own.p95),
                value(theirs.p95)
            );
            let place =
                analysis.domains.get(key).and_then(|domain| Some(domain.ports.get(&path.port)?.first));
            let title = format!("{key}: some Syncs of {} are held up on the way", path.port);
            let finding = Finding::of(
                self,
                (Severity::Major, Strength::Inferred),
                title,
                vec![Evidence::at(place, text)],
            );
            findings.push(finding.in_domain(*key).about_clock(analysis, path.port.clock));
        }
        Outcome::from_findings_or(findings, cannot_tell)
    }
}
