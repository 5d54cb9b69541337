//! `grandmaster-in-holdover`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::AnnouncedField;
use crate::domains::ClockPort;
use crate::domains::DataSet;
use crate::domains::Domain;
use crate::domains::Event;
use crate::domains::Happening;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::finding::at;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;

/// A clock that leads, or led, has lost its reference.
pub(super) struct GrandmasterInHoldover;

impl Rule for GrandmasterInHoldover {
    fn id(&self) -> &'static str {
        "grandmaster-in-holdover"
    }

    fn summary(&self) -> &'static str {
        "a clock announces that it has lost its reference and lives on its oscillator"
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let mut findings = Vec::new();
        for domain in analysis.domains.iter() {
            for port in domain.ports.values() {
                findings.extend(self.finding(analysis, domain, port));
            }
        }
        Outcome::from_findings(findings)
    }
}

impl GrandmasterInHoldover {
    fn finding(&self, analysis: &Analysis, domain: &Domain, port: &ClockPort) -> Option<Finding> {
        let offer = port.offer.filter(|offer| offer.grandmaster == port.port.clock)?;
        let DataSet::V2(data) = offer.data else { return None };
        let class = i64::from(data.clock_class);
        let changes: Vec<(&Event, i64, i64)> =
            domain.events.iter().filter_map(|event| class_change(event, port)).collect();
        let fell = changes.iter().any(|(_, before, after)| lost(*before, *after));
        let now = degree(class);
        if now.is_none() && !fell {
            return None;
        }
        let back = matches!(class, 6 | 13);
        let mut evidence: Vec<Evidence> = changes
            .iter()
            .map(|(event, before, after)| Evidence {
                place: event.places.first().copied(),
                text: format!("clockClass {after} instead of {before} from {}", at(analysis, event.time)),
            })
            .collect();
        if evidence.is_empty() {
            let announcer = domain.election.announcers().get(&port.port);
            let text = format!("its Announces say clockClass {class}");
            evidence.push(Evidence { place: announcer.map(|announcer| announcer.run_first_place), text });
        }
        let state = if back {
            "had lost its reference and has it again".to_owned()
        } else {
            format!("has lost its reference: {}", now.unwrap_or("its clock class got worse"))
        };
        Some(Finding {
            id: self.id(),
            severity: if back { Severity::Minor } else { Severity::Major },
            strength: Strength::Shown,
            domain: Some(domain.key),
            device: analysis.device_of(port.port.clock).map(|device| device.key.clone()),
            stream: None,
            follows_from: None,
            affected: Vec::new(),
            title: format!("{}: {} {state} (clockClass {class})", domain.key, port.port.clock),
            evidence,
            next: vec![
                "restore the clock's reference: antenna, cable, feed",
                "ask its data sheet how long it holds its accuracy without one",
            ],
            sources: vec!["IEEE 1588-2008 7.6.2.4 table 5 (from memory)"],
        })
    }
}

/// The change of clock class of `port`'s own clock that an event is, before and after.
fn class_change<'a>(event: &'a Event, port: &ClockPort) -> Option<(&'a Event, i64, i64)> {
    let Happening::DataChanged { port: sender, clock, changes } = &event.what else { return None };
    if *sender != port.port || *clock != port.port.clock {
        return None;
    }
    let (_, before, after) = changes.iter().find(|(field, _, _)| *field == AnnouncedField::ClockClass)?;
    Some((event, *before, *after))
}

/// What a class says of a lost reference (IEEE 1588-2008 table 5, from memory); `None` where it says nothing.
const fn degree(class: i64) -> Option<&'static str> {
    match class {
        7 | 14 => Some("in holdover, within its specification"),
        52 | 58 | 187 | 193 => Some("out of its holdover specification"),
        _ => None,
    }
}

/// From a reference, or from holdover, to something worse. Some clocks go straight to 248.
const fn lost(before: i64, after: i64) -> bool {
    matches!(before, 6 | 7 | 13 | 14) && after > before && (degree(after).is_some() || after == 248)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_a_fall_from_a_reference_or_holdover_is_a_loss() {
        for (before, after) in [(6, 7), (6, 248), (7, 187), (13, 14), (14, 58)] {
            assert!(lost(before, after), "{before} to {after}");
        }
        for (before, after) in [(7, 6), (6, 6), (248, 187), (128, 248), (6, 13)] {
            assert!(!lost(before, after), "{before} to {after}");
        }
    }
}
