//! `version-mix`

use std::collections::BTreeMap;
use std::net::IpAddr;

use crate::analysis::Analysis;
use crate::devices::Device;
use crate::devices::State;
use crate::devices::Strength;
use crate::domains::Domain;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::multicast::Host;

/// Streams that cross which are shown (chosen).
const SHOWN: usize = 4;

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
        let crossing = Crossing::of(analysis);
        let (severity, title, next) = match bridges.as_slice() {
            [] => (
                if crossing.streams.is_empty() { Severity::Info } else { Severity::Critical },
                format!(
                    "PTP version 1 and version 2 are both in use, no device is seen to join them, and {}",
                    crossing.words()
                ),
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
        let mut shown = vec![evidence(one), evidence(two)];
        shown.extend(crossing.streams.into_iter().take(SHOWN).map(|text| Evidence::at(None, text)));
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
            evidence: shown,
            next,
            sources: vec![
                "IEEE 1588-2002 and 1588-2008, interworking (from memory)",
                "critical where a stream crosses between them unjoined, else context: common practice, no source",
            ],
        }])
    }
}

/// Streams that devices of one version send to devices of the other.
struct Crossing {
    /// Each with its two ends.
    streams: Vec<String>,
    /// Whether there is a stream of whose receivers the capture does not tell.
    untold: bool,
}

impl Crossing {
    fn of(analysis: &Analysis) -> Self {
        let by_ip: BTreeMap<IpAddr, &Device> = analysis
            .devices
            .iter()
            .flat_map(|device| device.ips.iter().map(move |ip| (*ip, device)))
            .collect();
        let mut crossing = Self { streams: Vec::new(), untold: false };
        for stream in &analysis.wire.streams {
            let Some((sender, own)) = analysis.sender_of(stream).and_then(|it| Some((it, only_version(it)?)))
            else {
                continue;
            };
            let Some(receivers) = analysis.receivers_of(stream) else {
                crossing.untold = true;
                continue;
            };
            let there = receivers.iter().filter_map(|host| match host {
                Host::Ip(ip) => by_ip.get(ip),
                Host::Mac(_) => None,
            });
            let other = there.into_iter().find(|device| only_version(device).is_some_and(|it| it != own));
            if let Some(other) = other {
                crossing.streams.push(format!(
                    "{} goes from {} (version {own}) to {} (version {})",
                    stream.key,
                    sender.key,
                    other.key,
                    3 - own
                ));
            }
        }
        crossing
    }

    fn words(&self) -> String {
        match (self.streams.len(), self.untold) {
            (0, true) => "whether a stream crosses between them is not shown".to_owned(),
            (0, false) => "no stream is seen to cross between them".to_owned(),
            (1, _) => "a stream crosses between them".to_owned(),
            (streams, _) => format!("{streams} streams cross between them"),
        }
    }
}

/// The version that a device speaks; `None` where it speaks both, or none.
fn only_version(device: &Device) -> Option<u8> {
    let mut versions = device.domains.iter().map(|key| if key.is_v1() { 1 } else { 2 });
    let first = versions.next()?;
    versions.all(|version| version == first).then_some(first)
}
