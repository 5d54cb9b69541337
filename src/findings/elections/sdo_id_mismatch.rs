//! `sdo-id-mismatch`

use crate::analysis::Analysis;
use crate::devices::Device;
use crate::devices::State;
use crate::domains::Domain;
use crate::domains::Kind;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;

/// A device shares the site's domain number and not its `sdoId`.
pub(super) struct SdoIdMismatch;

impl Rule for SdoIdMismatch {
    fn id(&self) -> &'static str {
        "sdo-id-mismatch"
    }

    fn summary(&self) -> &'static str {
        "a device is in the site's domain number with another sdoId, so the two drop each other's messages"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "set the device to the PTP profile of the site: gPTP sends majorSdoId 1, the others 0",
            "a bridge port that speaks gPTP beside the site's profile does no harm if nobody is to follow it",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &["sdoId, the former transportSpecific: IEEE 1588-2019 7.1.4, 13.3.2.1 (from memory)"]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let astray = analysis.devices.iter().filter(|device| device.state == State::Astray);
        let findings = astray.filter_map(|device| self.finding(analysis, device));
        Outcome::from_findings(findings.collect())
    }
}

/// Whether the device does no more in a gPTP domain than measure its links, as bridge ports do beside any profile.
fn only_measures_links(domain: &Domain, device: &Device) -> bool {
    let ports = || device.clocks.iter().flat_map(|clock| domain.ports_of(*clock));
    let takes_part = |kind| ports().any(|port| port.count(kind) > 0);
    domain.key.is_gptp() && ![Kind::Announce, Kind::Sync, Kind::DelayReq].into_iter().any(takes_part)
}

impl SdoIdMismatch {
    fn finding(&self, analysis: &Analysis, device: &Device) -> Option<Finding> {
        let domain: &Domain = analysis.domains.get(&device.in_domain?)?;
        let site = analysis.site.with_another_sdo_id(&domain.key)?;
        let first =
            device.clocks.iter().flat_map(|clock| domain.ports_of(*clock)).map(|port| port.first).min();
        let led = analysis.domains.get(&site);
        let evidence = vec![
            Evidence::at(first, format!("its first message is in {}", domain.key)),
            Evidence::at(led.map(|led| led.first), format!("the site's clock is in {site}")),
        ];
        let title = format!("{} is in {}; the site's clock is in {site}", device.key, domain.key);
        let severity = if only_measures_links(domain, device) { Severity::Info } else { Severity::Critical };
        let mut finding = Finding::of(self, (severity, device.strength), title, evidence);
        finding.device = Some(device.key.clone());
        Some(finding.in_domain(domain.key))
    }
}
