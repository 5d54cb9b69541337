//! `follower-silent`

use super::claims_ptp;
use crate::analysis::Analysis;
use crate::devices::Device;
use crate::devices::State;
use crate::devices::Strength;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::streams::Stream;

/// A sender of media that says it follows PTP, and sends no PTP.
pub(super) struct FollowerSilent;

impl Rule for FollowerSilent {
    fn id(&self) -> &'static str {
        "follower-silent"
    }

    fn summary(&self) -> &'static str {
        "a device says that its media follow PTP, and asks for no delay where others' requests pass"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "capture at the device's own port: does it send anything on UDP 319 and 320?",
            "at the device: is PTP on, on this interface, in the domain of the leader?",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "requests: IEEE 1588-2008 9.5.11.2 (from memory); the description's word: RFC 7273 4.8",
            "35 s of capture without a request, while others' pass here (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let unclocked = analysis.devices.iter().filter(|device| device.state == State::Unclocked);
        let found = unclocked.filter(|device| !is_listed(analysis, device)).filter_map(|device| {
            let mut own = analysis.wire.streams.iter().filter(|stream| device.sends(stream));
            let stream = own.find(|stream| claims_ptp(stream))?;
            Some(self.finding(analysis, device, stream))
        });
        Outcome::from_findings(found.collect())
    }
}

/// Whether the site file says that it needs the clock: then that rule speaks.
fn is_listed(analysis: &Analysis, device: &Device) -> bool {
    let listed = analysis.settings.site.iter().flat_map(|site| &site.devices);
    listed.filter(|listed| listed.needs_clock).any(|listed| {
        listed.mac.is_some_and(|mac| device.macs.contains(&mac))
            || listed.ip.is_some_and(|ip| device.ips.contains(&ip))
    })
}

impl FollowerSilent {
    fn finding(&self, analysis: &Analysis, device: &Device, stream: &Stream) -> Finding {
        let title = format!("{} says that its media follow PTP, and sends no PTP", device.key);
        let mut evidence = vec![Evidence::at(None, format!("the description of {} names PTP", stream.key))];
        evidence.extend(device.reasons.iter().map(|reason| Evidence::at(None, reason.clone())));
        let finding = Finding::of(self, (Severity::Critical, Strength::Inferred), title, evidence);
        finding.about_stream(analysis, stream)
    }
}
