//! `software-stamped-master`

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

/// A change of the one-way delay from Sync to Sync above this, half of the time, is broad noise (reference: 20 us for
/// 95 of 100; chosen).
const BROAD: ScaledNanos = ScaledNanos(10_000 << 16);

/// The leader's stamps are as noisy as software's.
pub(super) struct SoftwareStampedMaster;

impl Rule for SoftwareStampedMaster {
    fn id(&self) -> &'static str {
        "software-stamped-master"
    }

    fn summary(&self) -> &'static str {
        "the leader's times of sending are noisy throughout, while another clock's at the same place are steady"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "see whether the leader stamps in hardware: adapter, driver, and the daemon's setting",
            "let a clock that does lead, by priority1",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "common practice, no source",
            "200 Syncs; half of the changes from Sync to Sync above 10 us and above 4 times the other clock's (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let mut findings = Vec::new();
        let mut cannot_tell = None;
        for (key, path) in analysis.clocks.paths() {
            let Some(noise) = yardstick::noise(analysis, *key, path.port) else { continue };
            if ScaledNanos::from(noise.own.median) <= BROAD {
                continue;
            }
            let Some((other, theirs)) = noise.steadiest else {
                cannot_tell = Some(format!(
                    "{key}: the Syncs of {} are noisy, and no other clock is in view to tell whether that is the \
                     capture's own noise",
                    path.port
                ));
                continue;
            };
            if !noise.is_beyond(noise.own.median, theirs.median) {
                continue;
            }
            let text = format!(
                "half of the changes from Sync to Sync are above {}; those of {other} at the same place above {}",
                difference(ScaledNanos::from(noise.own.median)),
                difference(ScaledNanos::from(theirs.median))
            );
            let place =
                analysis.domains.get(key).and_then(|domain| Some(domain.ports.get(&path.port)?.first));
            let title = format!("{key}: the times that {} sends are as noisy as software stamps", path.port);
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
