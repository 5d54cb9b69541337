//! `leap-second-flags-wrong`

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
use crate::units::CaptureTime;
use crate::units::NANOS_PER_SECOND;

const SECONDS_PER_DAY: i64 = 86_400;

/// 2000-01-01 in days since 1970: a capture whose clock stands before it has no date to judge by (chosen).
const FIRST_DAY: i64 = 10_957;

/// The leader announces a leap second that cannot be.
pub(super) struct LeapSecondFlagsWrong;

impl Rule for LeapSecondFlagsWrong {
    fn id(&self) -> &'static str {
        "leap-second-flags-wrong"
    }

    fn summary(&self) -> &'static str {
        "the leader announces a leap second that cannot be"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "refresh the leap second table on the leader and its reference before the next midnight UTC",
            "until then expect a jump of one second at midnight UTC",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "set at most 12 h before the leap second: IEEE 1588-2008 9.4 (from memory)",
            "leap seconds come at the end of June or December: IERS Bulletin C (from memory)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let domains = analysis.domains.iter();
        Outcome::from_findings(domains.filter_map(|domain| self.finding(analysis, domain)).collect())
    }
}

impl LeapSecondFlagsWrong {
    fn finding(&self, analysis: &Analysis, domain: &Domain) -> Option<Finding> {
        let (port, _, _, flags) = leading_data(analysis, domain)?;
        let leader = domain.election.leader()?;
        let place = last_announce(port);
        let (what, strength, text) = match (flags.leap59(), flags.leap61()) {
            (false, false) => return None,
            (true, true) => {
                ("a second less and a second more at once", Strength::Shown, "leap59 and leap61 are both set")
            }
            _ if may_come(place?.time?) => return None,
            (true, false) => (
                "a second less",
                Strength::Inferred,
                "leap59 is set, and no month of leap seconds ends today",
            ),
            (false, true) => (
                "a second more",
                Strength::Inferred,
                "leap61 is set, and no month of leap seconds ends today",
            ),
        };
        let title = format!("{}: {leader} announces {what} at midnight UTC", domain.key);
        let evidence = vec![Evidence::at(place, text)];
        let finding = Finding::of(self, (Severity::Major, strength), title, evidence);
        Some(finding.in_domain(domain.key).about_clock(analysis, leader))
    }
}

/// Whether a leap second may be due at the next midnights: the last day of June or December, or one day around it for
/// a capture clock in a local time. Where the capture's clock has no plausible date, it may.
fn may_come(time: CaptureTime) -> bool {
    let day = time.0.div_euclid(NANOS_PER_SECOND * SECONDS_PER_DAY);
    day < FIRST_DAY || (day - 1..=day + 1).any(|day| matches!(month_and_day(day), (6, 30) | (12, 31)))
}

/// Month and day of a day since 1970-01-01 in the Gregorian calendar (the usual reckoning by 400-year eras that begin
/// in March).
const fn month_and_day(day: i64) -> (i64, i64) {
    let of_era = (day + 719_468).rem_euclid(146_097);
    let year = (of_era - of_era / 1460 + of_era / 36_524 - of_era / 146_096) / 365;
    let of_year = of_era - (365 * year + year / 4 - year / 100);
    let month = (5 * of_year + 2) / 153;
    let day = of_year - (153 * month + 2) / 5 + 1;
    (if month < 10 { month + 3 } else { month - 9 }, day)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_are_turned_to_the_calendar() {
        // 1970-01-01, 2000-02-29, 2016-12-31, 2024-06-30, 2024-07-01, 2100-02-28, 2100-03-01
        let rows = [
            (0, (1, 1)),
            (11_016, (2, 29)),
            (17_166, (12, 31)),
            (19_904, (6, 30)),
            (19_905, (7, 1)),
            (47_540, (2, 28)),
            (47_541, (3, 1)),
        ];
        for (day, expected) in rows {
            assert_eq!(month_and_day(day), expected, "{day}");
        }
    }

    #[test]
    fn a_leap_second_may_come_at_the_end_of_june_and_december_only() {
        let at = |day: i64| CaptureTime(day * SECONDS_PER_DAY * NANOS_PER_SECOND);
        for (day, expected) in
            [(17_166, true), (17_165, true), (17_167, true), (17_164, false), (19_800, false), (0, true)]
        {
            assert_eq!(may_come(at(day)), expected, "{day}");
        }
    }
}
