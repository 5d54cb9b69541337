//! `implausible-path-delay`

use crate::analysis::Analysis;
use crate::clock::Path;
use crate::devices::Strength;
use crate::domains::Domain;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::finding::at;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::findings::words::difference;
use crate::timing::ScaledNanos;
use crate::timing::find_steps;
use crate::units::CaptureTime;

/// Exchanges before a delay is judged (reference: 20).
const EXCHANGES: usize = 20;

/// A way within a building takes less (reference: 1 ms, chosen), and stamps are off by less.
const LIMIT: ScaledNanos = ScaledNanos(1_000_000 << 16);

/// Smallest lasting change that is told (chosen: two store-and-forward switches at 1 Gb/s add about 25 us).
const STEP: ScaledNanos = ScaledNanos(50_000 << 16);

/// The delay between the capture point and the leader cannot be right, or changed for good.
pub(super) struct ImplausiblePathDelay;

impl Rule for ImplausiblePathDelay {
    fn id(&self) -> &'static str {
        "implausible-path-delay"
    }

    fn summary(&self) -> &'static str {
        "the path delay between the capture point and the leader is negative, too long, or changed for good"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "look for a change of cabling, of a link's speed, or of the way through the network at that time",
            "check the corrections of transparent clocks on the way, and the leader's time stamping",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "meanPathDelay = ((t2 - t1) + (t4 - t3)) / 2: IEEE 1588-2008 11.3 (from memory), with the capture point in the follower's place",
            "beyond 1 ms either way for 95 of 100 exchanges; a change of 50 us and 9 deviations between 20 exchanges before and after (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        if let Some(why) = analysis.clocks_disagree() {
            return Outcome::CannotTell(why);
        }
        let found = analysis.clocks.paths().filter_map(|(key, path)| {
            let domain = analysis.domains.get(key)?;
            self.finding(analysis, domain, path)
        });
        Outcome::from_findings(found.collect())
    }
}

impl ImplausiblePathDelay {
    fn finding(&self, analysis: &Analysis, domain: &Domain, path: &Path) -> Option<Finding> {
        let delay = path.mean_path_delay.as_ref().filter(|delay| delay.count >= EXCHANGES)?;
        let (p5, p95) = (ScaledNanos(delay.p5), ScaledNanos(delay.p95));
        let samples = domain.ports.get(&path.port)?.samples.as_deref()?;
        let points = samples.path_delay().points();
        let (what, text) = if p95 < ScaledNanos::ZERO.minus(LIMIT) {
            ("is negative", format!("95 % of {} exchanges say {} or less", delay.count, difference(p95)))
        } else if p5 > LIMIT {
            (
                "is longer than any way in a building",
                format!("95 % of {} exchanges say {} or more", delay.count, difference(p5)),
            )
        } else {
            // A clock that jumps moves both ways alike and leaves their sum as it is.
            let step = find_steps(points, EXCHANGES, STEP).into_iter().next()?;
            let when = at(analysis, CaptureTime(step.time_ns));
            ("changed for good", format!("at {when} it went by {} and stayed there", difference(step.size)))
        };
        let place = domain.ports.get(&path.port)?.first;
        let title = format!("{}: the path delay to {} {what}", domain.key, path.port);
        let finding = Finding::of(
            self,
            (Severity::Major, Strength::Inferred),
            title,
            vec![Evidence::at(Some(place), text)],
        );
        Some(finding.in_domain(domain.key).about_clock(analysis, path.port.clock))
    }
}
