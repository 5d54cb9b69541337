//! `stale-quality-downstream`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::AnnouncedField;
use crate::domains::Announcer;
use crate::domains::ClockPort;
use crate::domains::Domain;
use crate::domains::DomainKey;
use crate::domains::Happening;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::leading::last_announce;
use crate::findings::leading::v2_data;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::units::CaptureTime;

/// Intervals of each side that a boundary clock may take to pass news on (reference: 2).
const INTERVALS: i64 = 2;

/// A boundary clock passes on what the leader no longer says.
pub(super) struct StaleQualityDownstream;

impl Rule for StaleQualityDownstream {
    fn id(&self) -> &'static str {
        "stale-quality-downstream"
    }

    fn summary(&self) -> &'static str {
        "a boundary clock passes on another quality than its leader announces"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "restart the PTP service of the boundary clock, and update it",
            "until then devices behind it do not know what became of the leader's reference",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "IEEE 1588-2008 9.3.5 table 16 (from memory); a boundary clock that kept class 6, described in a public issue of an open-source daemon",
            "two announce intervals of each side to pass news on (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let mut findings = Vec::new();
        for domain in analysis.domains.iter().filter(|domain| !domain.key.is_v1()) {
            for port in domain.ports.values() {
                findings.extend(self.finding(analysis, domain, port));
            }
        }
        Outcome::from_findings(findings)
    }
}

/// leap61, leap59, `currentUtcOffsetValid` and `ptpTimescale`.
const UTC_FLAGS: u16 = 0x000F;

/// What must be the same up and down the chain: class, UTC offset, and the flags that go with it.
fn passed_on(port: &ClockPort) -> Option<(u8, i16, u16)> {
    let data = v2_data(&port.offer?)?;
    let properties = port.time_properties?;
    Some((data.clock_class, properties.current_utc_offset, properties.flags?.0 & UTC_FLAGS))
}

fn words((class, utc, flags): (u8, i16, u16)) -> String {
    format!("clockClass {class}, UTC offset {utc} s, UTC flags 0x{flags:02x}")
}

/// Whether two keys are one domain, perhaps on two VLANs.
fn one_domain(one: &DomainKey, other: &DomainKey) -> bool {
    one.name == other.name
}

impl StaleQualityDownstream {
    fn finding(&self, analysis: &Analysis, domain: &Domain, port: &ClockPort) -> Option<Finding> {
        let offer = port.offer.filter(|offer| offer.grandmaster != port.port.clock)?;
        let down = alive(domain, port)?;
        // The grandmaster's own Announces, also on another VLAN.
        let (upper, source, up) = analysis
            .domains
            .iter()
            .filter(|other| one_domain(&other.key, &domain.key))
            .flat_map(|other| other.ports_of(offer.grandmaster).map(move |port| (other, port)))
            .filter(|(_, source)| source.offers(offer.grandmaster))
            .find_map(|(other, source)| Some((other, source, alive(other, source)?)))?;
        let (said, passed) = (passed_on(source)?, passed_on(port)?);
        if said == passed {
            return None;
        }
        let allowed = up.interval().saturating_add(down.interval()).saturating_mul(INTERVALS);
        let since = changed(upper, source).unwrap_or(analysis.start?);
        if down.last < since.plus(allowed)
            || changed(domain, port).is_some_and(|at| down.last < at.plus(allowed))
        {
            return None;
        }
        let title = format!(
            "{}: {} passes on an older quality of {} than that clock announces",
            domain.key, port.port, offer.grandmaster
        );
        let evidence = vec![
            Evidence::at(last_announce(source), format!("{} says {}", source.port, words(said))),
            Evidence::at(last_announce(port), format!("{} says {}", port.port, words(passed))),
        ];
        let finding = Finding::of(self, (Severity::Major, Strength::Shown), title, evidence);
        Some(finding.in_domain(domain.key).about_clock(analysis, port.port.clock))
    }
}

/// The announcer of a port if it was announcing to the end.
fn alive<'a>(domain: &'a Domain, port: &ClockPort) -> Option<&'a Announcer> {
    domain.election.announcers().get(&port.port).filter(|announcer| domain.election.alive_at_end(announcer))
}

/// When a port last changed what must be passed on.
fn changed(domain: &Domain, port: &ClockPort) -> Option<CaptureTime> {
    let events = domain.events.iter().filter(|event| {
        matches!(&event.what, Happening::DataChanged { port: sender, changes, .. }
            if *sender == port.port && changes.iter().any(|(field, ..)| matters(*field)))
    });
    events.map(|event| event.time).max()
}

const fn matters(field: AnnouncedField) -> bool {
    matches!(field, AnnouncedField::ClockClass | AnnouncedField::UtcOffset | AnnouncedField::Flags)
}
