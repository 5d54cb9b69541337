//! `minor-version-intolerance`

use std::collections::BTreeSet;

use crate::analysis::Analysis;
use crate::devices::Device;
use crate::devices::State;
use crate::devices::Strength;
use crate::domains::ClockId;
use crate::domains::Domain;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;

/// Devices on each side before a pattern is seen in who is answered (chosen: one alone may have any other fault).
const DEVICES: usize = 2;

/// The leader answers only those that send its own minor version of PTP.
pub(super) struct MinorVersionIntolerance;

impl Rule for MinorVersionIntolerance {
    fn id(&self) -> &'static str {
        "minor-version-intolerance"
    }

    fn summary(&self) -> &'static str {
        "who is answered goes by PTP 2.0 or 2.1, which receivers must not tell apart"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "update the side that does not answer; until then set the other to PTP 2.0 where it allows that",
            "the other findings on these devices are likely of this cause",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "a receiver ignores minorVersionPTP: IEEE 1588-2019 13.3.2.5 (from memory)",
            "2 devices of each kind, without an exception (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let domains = analysis.domains.iter().filter(|domain| !domain.key.is_v1());
        Outcome::from_findings(domains.filter_map(|domain| self.finding(analysis, domain)).collect())
    }
}

/// The minor versions that clocks of a device send in a domain.
fn versions(domain: &Domain, clocks: impl IntoIterator<Item = ClockId>) -> BTreeSet<u8> {
    let ports = clocks.into_iter().flat_map(|clock| domain.ports_of(clock));
    ports.flat_map(|port| port.minor_versions.iter().copied()).collect()
}

impl MinorVersionIntolerance {
    fn finding(&self, analysis: &Analysis, domain: &Domain) -> Option<Finding> {
        let leader = domain.election.leader()?;
        let leaders = versions(domain, [leader]);
        let in_state = |wanted: &'static [State]| -> Vec<(&Device, BTreeSet<u8>)> {
            let here = analysis.devices.iter().filter(|device| device.in_domain == Some(domain.key));
            let of_state = here.filter(|device| wanted.contains(&device.state));
            of_state.map(|device| (device, versions(domain, device.clocks.iter().copied()))).collect()
        };
        let deaf = in_state(&[State::Unanswered]);
        let answered = in_state(&[State::Following, State::Relaying]);
        let (_, theirs) = deaf.first()?;
        let one_kind = leaders.len() == 1 && theirs.len() == 1 && *theirs != leaders;
        let splits =
            deaf.iter().all(|(_, sent)| sent == theirs) && answered.iter().all(|(_, sent)| *sent == leaders);
        if !one_kind || !splits || deaf.len() < DEVICES || answered.len() < DEVICES {
            return None;
        }
        let minor = |versions: &BTreeSet<u8>| versions.iter().next().copied().unwrap_or_default();
        let title = format!(
            "{}: {} answers the {} devices that send PTP 2.{} and none of the {} that send 2.{}",
            domain.key,
            leader,
            answered.len(),
            minor(&leaders),
            deaf.len(),
            minor(theirs)
        );
        let first = |device: &Device| {
            device.clocks.iter().flat_map(|clock| domain.ports_of(*clock)).map(|port| port.first).min()
        };
        let evidence = deaf.iter().chain(&answered).map(|(device, sent)| {
            let what = if device.state == State::Unanswered { "not answered" } else { "answered" };
            Evidence::at(first(device), format!("{} sends PTP 2.{} and is {what}", device.key, minor(sent)))
        });
        let finding = Finding::of(self, (Severity::Major, Strength::Inferred), title, evidence.collect());
        Some(finding.in_domain(domain.key).about_clock(analysis, leader))
    }
}
