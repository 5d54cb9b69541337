//! `grandmaster-free-running`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::AnnouncedField;
use crate::domains::Domain;
use crate::domains::Happening;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::leading::last_announce;
use crate::findings::leading::leading_data;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;

/// `clockClass` of a clock that states no reference (1588-2008 Table 5, from memory).
const DEFAULT: u8 = 248;

/// `clockClass` of a clock that only follows (1588-2008 Table 5, from memory).
const FOLLOWER_ONLY: u8 = 255;

/// The leader has no reference and never claimed one.
pub(super) struct GrandmasterFreeRunning;

impl Rule for GrandmasterFreeRunning {
    fn id(&self) -> &'static str {
        "grandmaster-free-running"
    }

    fn summary(&self) -> &'static str {
        "the leader runs on its own oscillator, or is a clock that should only follow"
    }

    fn sources(&self) -> &'static [&'static str] {
        &["IEEE 1588-2008 7.6.2.4 table 5, 7.6.2.6 table 7 (from memory)"]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let domains = analysis.domains.iter();
        Outcome::from_findings(domains.filter_map(|domain| self.finding(analysis, domain)).collect())
    }
}

impl GrandmasterFreeRunning {
    fn finding(&self, analysis: &Analysis, domain: &Domain) -> Option<Finding> {
        let (port, data, properties, flags) = leading_data(analysis, domain)?;
        let leader = domain.election.leader()?;
        // One that had a reference and lost it is the matter of another rule.
        let had_another = domain.events.iter().any(|event| {
            matches!(&event.what, Happening::DataChanged { clock, changes, .. }
                if *clock == leader && changes.iter().any(|(field, ..)| *field == AnnouncedField::ClockClass))
        });
        let (severity, title, next) = match data.clock_class {
            FOLLOWER_ONLY => (
                Severity::Major,
                format!("{}: {leader} leads with class 255, that of a clock that only follows", domain.key),
                vec![
                    "let that device only follow, or set a class with which it may lead",
                    "find out why no other clock leads",
                ],
            ),
            DEFAULT if !had_another => (
                Severity::Info,
                format!("{}: the leader {leader} runs on its own oscillator", domain.key),
                vec![
                    "on an island that is right: devices agree with one another and with nothing outside",
                    "where a reference is expected, check that clock's antenna or feed and its settings",
                ],
            ),
            _ => return None,
        };
        let text = format!(
            "clockClass {}, timeSource 0x{:02x}, timeTraceable {}",
            data.clock_class,
            properties.time_source.unwrap_or_default(),
            u8::from(flags.time_traceable())
        );
        let evidence = vec![Evidence::at(last_announce(port), text)];
        let mut finding = Finding::of(self, (severity, Strength::Shown), title, evidence);
        finding.next = next;
        Some(finding.in_domain(domain.key).about_clock(analysis, leader))
    }
}
