//! `utc-offset-wrong`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::Domain;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::leading::last_announce;
use crate::findings::leading::leading_data;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::timing::Timescales;
use crate::timing::tai_minus_utc_at;
use crate::units::CaptureTime;
use crate::units::NANOS_PER_SECOND;

/// Until when no leap second is known, seconds since 1970: 2027-01-01 (IERS Bulletin C, from memory; chosen a little
/// short). After it one second more or less than the table's is not called wrong.
const TABLE_HOLDS_UNTIL: i64 = 1_798_761_600;

/// The leader gives a wrong difference between its time and UTC.
pub(super) struct UtcOffsetWrong;

impl Rule for UtcOffsetWrong {
    fn id(&self) -> &'static str {
        "utc-offset-wrong"
    }

    fn summary(&self) -> &'static str {
        "the leader gives a wrong number of seconds between its time and UTC"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "set the UTC offset (37 s since 2017) and its valid flag on the leader, not on each device",
            "check the date of the machine that captured: the right offset is taken by it",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &["IEEE 1588-2008 7.2.3, 8.2.4.2 (from memory); leap seconds: IERS Bulletin C (from memory)"]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let mut findings = Vec::new();
        let mut cannot_tell = None;
        for domain in analysis.domains.iter() {
            match self.finding(analysis, domain) {
                Some(Ok(finding)) => findings.push(finding),
                Some(Err(why)) => cannot_tell = Some(why),
                None => {}
            }
        }
        Outcome::from_findings_or(findings, cannot_tell)
    }
}

impl UtcOffsetWrong {
    fn finding(&self, analysis: &Analysis, domain: &Domain) -> Option<Result<Finding, String>> {
        let (port, _, properties, flags) = leading_data(analysis, domain)?;
        // Where the time has no date, or the offset is not said to hold, the number claims nothing.
        if !flags.ptp_timescale() || !flags.current_utc_offset_valid() {
            return None;
        }
        let leader = domain.election.leader()?;
        let said = i64::from(properties.current_utc_offset);
        let captured = analysis.start?;
        let Some(right) = tai_minus_utc_at(captured).map(|right| right.0 / NANOS_PER_SECOND) else {
            return Some(Err(
                "the capture's clock stands before 1999, so the right UTC offset is not known".to_owned()
            ));
        };
        if said == right || may_be_announced_since(captured, said, right) {
            return self.unlike_capture(analysis, domain).map(Ok);
        }
        let title =
            format!("{}: {leader} says that UTC is {said} s behind its time; {right} s is right", domain.key);
        let text = format!("currentUtcOffset {said}, marked as valid; {right} at the date of the capture");
        let evidence = vec![Evidence::at(last_announce(port), text)];
        let timecode = domain.ports_of(leader).any(|port| port.synchronization_metadata.is_some());
        let severity = if timecode { Severity::Major } else { Severity::Minor };
        let finding = Finding::of(self, (severity, Strength::Inferred), title, evidence);
        Some(Ok(finding.in_domain(domain.key).about_clock(analysis, leader)))
    }

    /// A right number beside a time that equals the capture's, which counts UTC unless its adapter counts TAI.
    fn unlike_capture(&self, analysis: &Analysis, domain: &Domain) -> Option<Finding> {
        let leader = domain.election.leader()?;
        let path = analysis.clocks.path(&domain.key)?;
        let Timescales::Same { .. } = path.timescales else { return None };
        let title =
            format!("{}: either {leader} gives UTC for TAI, or the capture was stamped in TAI", domain.key);
        let text = "its time equals that of the capture's clock; a capture in UTC lies 37 s behind TAI";
        let place = domain.leading_port().and_then(last_announce);
        let mut finding =
            Finding::of(self, (Severity::Info, Strength::Inferred), title, vec![Evidence::at(place, text)]);
        finding.next = vec![
            "compare the time of day on a device with a good clock: 37 s behind means that the leader is wrong",
            "ask whether the capturing adapter stamps by PTP itself; then all is right",
        ];
        Some(finding.in_domain(domain.key).about_clock(analysis, leader))
    }
}

/// Whether a leap second announced after this table was written could make `said` right.
const fn may_be_announced_since(captured: CaptureTime, said: i64, right: i64) -> bool {
    captured.0 / NANOS_PER_SECOND >= TABLE_HOLDS_UNTIL && said.abs_diff(right) <= 1
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_second_more_or_less_is_only_wrong_while_the_table_holds() {
        let at = |seconds: i64| CaptureTime(seconds * NANOS_PER_SECOND);
        assert!(!may_be_announced_since(at(TABLE_HOLDS_UNTIL - 1), 36, 37));
        assert!(may_be_announced_since(at(TABLE_HOLDS_UNTIL), 36, 37));
        assert!(!may_be_announced_since(at(TABLE_HOLDS_UNTIL), 35, 37));
    }
}
