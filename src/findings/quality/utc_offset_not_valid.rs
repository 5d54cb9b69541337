//! `utc-offset-not-valid`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::Domain;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::leading::WITHOUT_REFERENCE;
use crate::findings::leading::last_announce;
use crate::findings::leading::leading_data;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;

/// The leader gives a UTC offset and does not say that it holds.
pub(super) struct UtcOffsetNotValid;

impl Rule for UtcOffsetNotValid {
    fn id(&self) -> &'static str {
        "utc-offset-not-valid"
    }

    fn summary(&self) -> &'static str {
        "the leader gives a UTC offset and does not say that it is valid: devices may show different times of day"
    }

    fn next(&self) -> &'static [&'static str] {
        &["set the UTC offset's valid flag on the leader; audio alone does not need it"]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "IEEE 1588-2008 7.2.3, 13.3.2.6 (from memory)",
            "receivers differ in what they do: common practice, no source",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let domains = analysis.domains.iter();
        Outcome::from_findings(domains.filter_map(|domain| self.finding(analysis, domain)).collect())
    }
}

impl UtcOffsetNotValid {
    fn finding(&self, analysis: &Analysis, domain: &Domain) -> Option<Finding> {
        let (port, data, properties, flags) = leading_data(analysis, domain)?;
        let offset = properties.current_utc_offset;
        if !flags.ptp_timescale() || flags.current_utc_offset_valid() || offset == 0 {
            return None;
        }
        let leader = domain.election.leader()?;
        // A clock without a reference that does not vouch for UTC is honest, and gPTP networks of bridges and speakers
        // have no time of day to agree on (common practice, no source).
        let vouches = data.clock_class < WITHOUT_REFERENCE && !domain.key.is_gptp();
        let severity = if vouches { Severity::Minor } else { Severity::Info };
        let title = format!(
            "{}: {leader} gives a UTC offset of {offset} s without the flag that it is valid",
            domain.key
        );
        let text = format!("ptpTimescale 1, currentUtcOffset {offset}, currentUtcOffsetValid 0");
        let finding = Finding::of(
            self,
            (severity, Strength::Shown),
            title,
            vec![Evidence::at(last_announce(port), text)],
        );
        Some(finding.in_domain(domain.key).about_clock(analysis, leader))
    }
}
