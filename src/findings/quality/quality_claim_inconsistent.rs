//! `quality-claim-inconsistent`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::ClockPort;
use crate::domains::DataSetV2;
use crate::domains::DecidedBy;
use crate::domains::Domain;
use crate::domains::Kind;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::leading::ANNOUNCES;
use crate::findings::leading::last_announce;
use crate::findings::leading::v2_data;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::ptp::v2;

/// `timeSource` values (1588-2008 Table 7, from memory).
const GNSS: u8 = 0x20;
const INTERNAL_OSCILLATOR: u8 = 0xA0;

/// `clockAccuracy` from which nothing is said of the accuracy (1588-2008 Table 6, from memory).
const ACCURACY_UNKNOWN: u8 = 0xFE;

/// `offsetScaledLogVariance` of a clock that has not computed it (1588-2008 7.6.3.3, from memory).
const VARIANCE_UNKNOWN: u16 = 0xFFFF;

/// A clock's words about its own quality contradict one another.
pub(super) struct QualityClaimInconsistent;

impl Rule for QualityClaimInconsistent {
    fn id(&self) -> &'static str {
        "quality-claim-inconsistent"
    }

    fn summary(&self) -> &'static str {
        "a clock's words about its own quality contradict one another"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "correct what that clock announces: class 6 is for a clock on a primary reference",
            "a software clock without a reference is honest with class 248, accuracy unknown",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &["IEEE 1588-2008 7.6.2.4 to 7.6.2.6, tables 5 to 7 (from memory)"]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let mut findings = Vec::new();
        for domain in analysis.domains.iter().filter(|domain| !domain.key.is_v1()) {
            let ports = domain.ports.values();
            findings.extend(ports.filter_map(|port| self.finding(analysis, domain, port)));
        }
        Outcome::from_findings(findings)
    }
}

impl QualityClaimInconsistent {
    fn finding(&self, analysis: &Analysis, domain: &Domain, port: &ClockPort) -> Option<Finding> {
        let offer = port.offer.filter(|offer| offer.grandmaster == port.port.clock)?;
        let data = v2_data(&offer)?;
        let properties = port.time_properties?;
        let told = contradictions(&data, properties.time_source?, properties.flags?);
        if told.is_empty() || port.count(Kind::Announce) < ANNOUNCES {
            return None;
        }
        let leads = domain.election.current().filter(|tenure| tenure.clock == offer.grandmaster);
        // Only a boast that beat another clock does harm.
        let boasts = data.clock_class <= 7;
        let by_quality = leads.is_some_and(|tenure| {
            boasts
                && matches!(
                    tenure.won_on,
                    DecidedBy::ClockClass | DecidedBy::ClockAccuracy | DecidedBy::Variance
                )
        });
        let title = format!(
            "{}: what {} says of its quality does not agree{}",
            domain.key,
            offer.grandmaster,
            if by_quality { ", and it leads by it" } else { "" }
        );
        let severity = if by_quality { Severity::Major } else { Severity::Info };
        let place = last_announce(port);
        let evidence = told.into_iter().map(|text| Evidence::at(place, text)).collect();
        let finding = Finding::of(self, (severity, Strength::Shown), title, evidence);
        Some(finding.in_domain(domain.key).about_clock(analysis, offer.grandmaster))
    }
}

/// What does not agree.
fn contradictions(data: &DataSetV2, time_source: u8, flags: v2::Flags) -> Vec<String> {
    let class = data.clock_class;
    let mut told = Vec::new();
    if class == 6 && data.clock_accuracy >= ACCURACY_UNKNOWN {
        let accuracy = data.clock_accuracy;
        told.push(format!(
            "clockClass 6 is a clock on a primary reference; clockAccuracy 0x{accuracy:02x} is unknown"
        ));
    }
    if class == 6 && time_source == INTERNAL_OSCILLATOR {
        told.push(
            "clockClass 6 is a clock on a primary reference; timeSource 0xa0 is its own oscillator"
                .to_owned(),
        );
    }
    if class == 6 && data.variance == VARIANCE_UNKNOWN && !told.is_empty() {
        told.push("offsetScaledLogVariance 0xffff is not computed".to_owned());
    }
    if class == 248 && flags.time_traceable() {
        told.push("timeTraceable is set; clockClass 248 claims no reference".to_owned());
    }
    if time_source == GNSS && !flags.ptp_timescale() {
        told.push(
            "timeSource 0x20 is satellite time; ptpTimescale is not set, which is an arbitrary time"
                .to_owned(),
        );
    }
    told
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(class: u8, accuracy: u8, source: u8, flags: u16) -> usize {
        let data = DataSetV2 {
            priority1: 128,
            clock_class: class,
            clock_accuracy: accuracy,
            variance: 0x4E5D,
            priority2: 128,
        };
        contradictions(&data, source, v2::Flags(flags)).len()
    }

    #[test]
    fn each_contradiction_counts_and_honest_words_do_not() {
        let rows = [
            ((6, 0x21, GNSS, 0x3C), 0),
            ((7, 0xFE, INTERNAL_OSCILLATOR, 0x0C), 0),
            ((248, 0xFE, INTERNAL_OSCILLATOR, 0), 0),
            ((6, 0xFE, GNSS, 0x3C), 1),
            ((6, 0xFE, INTERNAL_OSCILLATOR, 0), 2),
            ((248, 0xFE, INTERNAL_OSCILLATOR, 0x10), 1),
            ((6, 0x21, GNSS, 0x34), 1),
        ];
        for ((class, accuracy, source, flags), expected) in rows {
            assert_eq!(told(class, accuracy, source, flags), expected, "{class} {accuracy} {source} {flags}");
        }
    }
}
