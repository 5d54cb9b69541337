//! `version-mix`

use crate::analysis::Analysis;
use crate::devices::State;
use crate::devices::Strength;
use crate::domains::Domain;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;

/// PTP version 1 and version 2 side by side.
pub(super) struct VersionMix;

impl Rule for VersionMix {
    fn id(&self) -> &'static str {
        "version-mix"
    }

    fn summary(&self) -> &'static str {
        "PTP version 1 and version 2 run side by side, joined by one device or by none"
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let first = |v1: bool| analysis.domains.iter().find(|domain| domain.key.is_v1() == v1);
        let (Some(one), Some(two)) = (first(true), first(false)) else { return Outcome::Quiet };
        let bridges: Vec<&str> = analysis
            .devices
            .iter()
            .filter(|device| {
                let versions = |v1| device.domains.iter().any(|key| key.is_v1() == v1);
                device.state == State::Relaying && versions(true) && versions(false)
            })
            .map(|device| device.key.as_str())
            .collect();
        if bridges.is_empty() {
            // A device that joins them would be seen to lead in the one and to ask in the other.
            let blind = [one, two]
                .into_iter()
                .map(|domain| analysis.scope.can_see_followers(&analysis.domains, domain))
                .find(|view| !view.is_in_view());
            if let Some(view) = blind {
                return Outcome::CannotTell(format!(
                    "version 1 and 2 are both in use, and whether a device joins them is not shown: {}",
                    view.why
                ));
            }
        }
        let (severity, title, next) = match bridges.as_slice() {
            [] => (
                Severity::Major,
                "PTP version 1 and version 2 are both in use and no device is seen to join them".to_owned(),
                vec![
                    "if media cross between the two, give one boundary clock that speaks both the task of joining them",
                    "if the joining device sits on another segment, capture there",
                ],
            ),
            [bridge] => (
                Severity::Info,
                format!("{bridge} joins PTP version 1 and version 2"),
                vec!["nothing to do; keep it the only one that does"],
            ),
            several => (
                Severity::Major,
                format!("several devices join PTP version 1 and version 2: {}", several.join(", ")),
                vec!["let one device join them, to keep time from going in a circle"],
            ),
        };
        let evidence = |domain: &Domain| Evidence {
            place: Some(domain.first),
            text: format!("first message of {}", domain.key),
        };
        Outcome::Broken(vec![Finding {
            id: self.id(),
            severity,
            strength: Strength::Inferred,
            domain: None,
            device: match bridges.as_slice() {
                [bridge] => Some((*bridge).to_owned()),
                _ => None,
            },
            stream: None,
            follows_from: None,
            affected: Vec::new(),
            title,
            evidence: vec![evidence(one), evidence(two)],
            next,
            sources: vec![
                "IEEE 1588-2002 and 1588-2008, interworking (from memory)",
                "common practice, no source",
            ],
        }])
    }
}
