//! `ptp-load-on-master`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::fit::Growth;
use crate::units::Nanos;

/// Requests a second that not every leader answers (chosen: 125 followers that ask 8 times a second).
const A_SECOND: u64 = 1000;

/// Time from which a rate means something (reference: 60 s; 10 s here: requests come evenly).
const LENGTH: Nanos = Nanos::from_seconds(10);

/// Many requests reach the leader.
pub(super) struct PtpLoadOnMaster;

impl Rule for PtpLoadOnMaster {
    fn id(&self) -> &'static str {
        "ptp-load-on-master"
    }

    fn summary(&self) -> &'static str {
        "followers together ask the leader more than 1000 times a second"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "look up how many requests a second the leader is made for",
            "put boundary clocks between, or let followers ask less often",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "each request is answered, and by multicast all followers get both: IEEE 1588-2008 9.5.11, 9.5.12 (from memory)",
            "1000 a second (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let length = analysis
            .start
            .zip(analysis.end)
            .map(|(start, end)| analysis.wire.link.watched_between(start, end));
        let long = length.is_some_and(|length| length >= LENGTH);
        let Some(growth) = Growth::of(analysis, 0).filter(|_| long) else { return Outcome::Quiet };
        let rate = growth.requests_per_1000_s / 1000;
        if rate <= A_SECOND {
            return Outcome::Quiet;
        }
        let title = format!("{} followers ask the leader {rate} times a second", growth.followers);
        let text = format!("each takes {} b/s with its answers", growth.each.0);
        let evidence = vec![Evidence::at(None, text)];
        let finding = Finding::of(self, (Severity::Minor, Strength::Shown), title, evidence);
        let key = analysis.site.keys.first();
        Outcome::Broken(vec![match key {
            Some(key) => finding.in_domain(*key),
            None => finding,
        }])
    }
}
