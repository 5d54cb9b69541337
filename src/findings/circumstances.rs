//! Whether one finding may follow from another one: what the table of causes and effects cannot say.

use std::collections::BTreeMap;
use std::collections::BTreeSet;
use std::net::IpAddr;

use super::causes::Shared;
use super::causes::WITHOUT_TIME;
use super::finding::Finding;
use crate::analysis::Analysis;
use crate::devices::Device;
use crate::devices::State;
use crate::domains::DomainKey;
use crate::domains::EndedBy;
use crate::units::CaptureTime;
use crate::units::Nanos;

/// What was over, or had begun, this long before a fault was first seen does not follow from it: a fault is seen some
/// intervals after it began (chosen: as long as the timeline's incidents).
const SEEN_LATE: Nanos = Nanos(10_000_000_000);

/// A switch may forget a member this much before its time: it counts from a report that the capture shows a little later,
/// in whole units of its clock (chosen).
const FORGOTTEN_EARLY: Nanos = Nanos(-1_000_000_000);

/// Causes whose first piece of evidence is of the time at which they began, not of when they were last seen.
const TELL_WHEN_THEY_BEGAN: &[&str] = &[
    "announce-without-sync",
    "duplicate-clock-identity",
    "failover-time-step",
    "grandmaster-in-holdover",
    "layer2-ptp-dropped-by-snooping",
    "leader-not-heard",
    "leader-restarts",
    "no-grandmaster",
    "rogue-master",
    "spoofed-announce",
    "two-masters-one-domain",
    "unexpected-winner",
];

/// What is known of the devices and domains that findings are about.
pub(super) struct Circumstances<'a> {
    analysis: &'a Analysis,
    devices: BTreeMap<&'a str, &'a Device>,
    /// Devices that are not answered while others of their domain are.
    alone_unanswered: BTreeSet<&'a str>,
}

impl<'a> Circumstances<'a> {
    pub(super) fn of(analysis: &'a Analysis, findings: &'a [Finding]) -> Self {
        let follow = analysis
            .devices
            .iter()
            .filter(|device| matches!(device.state, State::Following | State::Relaying));
        let answered: BTreeSet<DomainKey> = follow.filter_map(|device| device.in_domain).collect();
        let unanswered = findings.iter().filter(|finding| {
            finding.id == "delay-response-missing"
                && finding.affected.is_empty()
                && finding.domain.is_some_and(|domain| answered.contains(&domain))
        });
        Self {
            analysis,
            devices: analysis.devices.iter().map(|device| (device.key.as_str(), device)).collect(),
            alone_unanswered: unanswered.filter_map(|finding| finding.device.as_deref()).collect(),
        }
    }

    /// Whether they allow that `effect`, of that domain, follows from `cause`, which can bring about its like.
    pub(super) fn allow(
        &self,
        shared: Shared,
        cause: &Finding,
        (effect, domain): (&Finding, Option<DomainKey>),
    ) -> bool {
        if was_over_before(effect, cause) || began_before(effect, cause) {
            return false;
        }
        match shared {
            Shared::Device => true,
            Shared::Network => effect.id != "several-domains-in-use" || self.differ_in_vlan_only(),
            Shared::Forgotten => self.was_forgotten(effect, domain),
            Shared::Lead => self.has_led(cause) && self.can_be_of_the_domain(cause, effect),
            Shared::Domain => {
                self.can_be_of_the_domain(cause, effect)
                    && (cause.id != "grandmaster-in-holdover" || self.lost_the_lead_by_its_quality(cause))
            }
        }
    }

    /// Whether it can come from the domain's state: what ails the one device that is not answered while others are does
    /// not.
    fn can_be_of_the_domain(&self, cause: &Finding, effect: &Finding) -> bool {
        let alone = effect.device.as_deref().is_some_and(|device| self.alone_unanswered.contains(device));
        !alone || !WITHOUT_TIME.contains(&effect.id) || cause.device == effect.device
    }

    /// Whether the membership of one of the effect's devices in a group of PTP had run out when the effect began, and was not
    /// renewed. The leader's counts where nobody else is named, and for devices that it does not hear.
    fn was_forgotten(&self, effect: &Finding, domain: Option<DomainKey>) -> bool {
        let Some(began) = times(effect).next() else { return false };
        let leader = domain.and_then(|key| self.analysis.domains.get(&key)?.election.leader());
        let leader = leader.and_then(|leader| self.analysis.device_of(leader));
        let leader = leader.filter(|_| effect.device.is_none() || WITHOUT_TIME.contains(&effect.id));
        let named = effect.device.iter().chain(&effect.affected);
        let own = named.filter_map(|key| self.devices.get(key.as_str()).copied());
        let mut addresses = own.chain(leader).flat_map(|device| &device.ips);
        let ran_out = |address: &IpAddr| self.analysis.multicast.lost_ptp(*address);
        addresses.any(|address| ran_out(address).is_some_and(|at| began.since(at) >= FORGOTTEN_EARLY))
    }

    /// How each lead of the cause's device in the cause's domain ended.
    fn ends_of_leads(&self, cause: &Finding) -> Vec<EndedBy> {
        let device = cause.device.as_deref().and_then(|key| self.devices.get(key));
        let domain = cause.domain.and_then(|key| self.analysis.domains.get(&key));
        let Some((device, domain)) = device.zip(domain) else { return Vec::new() };
        let own = domain.election.tenures().filter(|tenure| device.clocks.contains(&tenure.clock));
        own.map(|tenure| tenure.ended_by).collect()
    }

    fn has_led(&self, cause: &Finding) -> bool {
        !self.ends_of_leads(cause).is_empty()
    }

    /// Whether its device lost the lead, and never by silence or to a better clock.
    fn lost_the_lead_by_its_quality(&self, cause: &Finding) -> bool {
        let ends = self.ends_of_leads(cause);
        ends.contains(&EndedBy::QualityChange)
            && ends.iter().all(|end| matches!(end, EndedBy::QualityChange | EndedBy::CaptureEnd))
    }

    /// Whether all PTP version 2 domains that are led have one number, so that only their VLANs make them several.
    fn differ_in_vlan_only(&self) -> bool {
        let domains = self.analysis.domains.iter();
        let led = domains.filter(|domain| !domain.key.is_v1() && domain.election.leader().is_some());
        let names: BTreeSet<_> = led.map(|domain| domain.key.name).collect();
        names.len() == 1
    }
}

fn times(finding: &Finding) -> impl Iterator<Item = CaptureTime> {
    finding.evidence.iter().filter_map(|evidence| evidence.place?.time)
}

/// A finding's first piece of evidence is of its beginning; further ones may be of what was there before.
fn was_over_before(effect: &Finding, cause: &Finding) -> bool {
    let (ended, began) = (times(effect).max(), times(cause).next());
    ended.zip(began).is_some_and(|(ended, began)| began.since(ended) > SEEN_LATE)
}

/// Whether the effect was there long before its cause.
fn began_before(effect: &Finding, cause: &Finding) -> bool {
    let began = times(effect).next().zip(times(cause).next());
    TELL_WHEN_THEY_BEGAN.contains(&cause.id)
        && began.is_some_and(|(effect, cause)| cause.since(effect) > SEEN_LATE)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::findings::rules;

    #[test]
    fn every_id_is_a_rule() {
        let known: Vec<&str> = rules().map(|rule| rule.id()).collect();
        assert!(TELL_WHEN_THEY_BEGAN.iter().all(|id| known.contains(id)));
    }
}
