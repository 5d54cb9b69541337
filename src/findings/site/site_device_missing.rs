//! `site-device-missing`

use super::view;
use super::view::Presence;
use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::findings::Evidence;
use crate::findings::Finding;
use crate::findings::Outcome;
use crate::findings::Rule;
use crate::findings::Severity;
use crate::site::ListedDevice;

/// A device that the site file lists was not seen.
pub(super) struct SiteDeviceMissing;

impl Rule for SiteDeviceMissing {
    fn id(&self) -> &'static str {
        "site-device-missing"
    }

    fn summary(&self) -> &'static str {
        "a device that the site file lists was not seen, though it would have been"
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let Some(site) = view::site(analysis) else { return Outcome::Quiet };
        let in_view = view::would_see_a_follower(analysis);
        let mut findings = Vec::new();
        let mut untold: Vec<(&str, String)> = Vec::new();
        for entry in &site.devices {
            if !matches!(view::presence(analysis, entry), Presence::Unseen) {
                continue;
            }
            match &in_view {
                _ if !entry.needs_clock => {
                    let why =
                        "not seen, but a device that needs no clock need not send anything that passes here";
                    untold.push((&entry.name, why.to_owned()));
                }
                Ok(shown_by) => findings.push(self.finding(entry, shown_by)),
                Err(why) => untold.push((&entry.name, why.clone())),
            }
        }
        if findings.is_empty() && !untold.is_empty() {
            return Outcome::CannotTell(view::by_reason(&untold));
        }
        Outcome::from_findings(findings)
    }
}

impl SiteDeviceMissing {
    fn finding(&self, entry: &ListedDevice, shown_by: &str) -> Finding {
        let addresses = [
            entry.mac.map(|mac| mac.to_string()),
            entry.ip.map(|ip| ip.to_string()),
            entry.clock.map(|clock| clock.to_string()),
        ];
        let addresses: Vec<String> = addresses.into_iter().flatten().collect();
        let evidence = vec![
            format!("no PTP from {} in the capture (site file, line {})", addresses.join(", "), entry.line),
            format!("this capture could show its requests: {shown_by}"),
            "a boundary clock between it and this place would hide it; none shows here".to_owned(),
        ];
        Finding {
            id: self.id(),
            severity: Severity::Major,
            strength: Strength::Inferred,
            domain: None,
            device: None,
            stream: None,
            follows_from: None,
            affected: Vec::new(),
            title: format!("{} needs the clock and was not seen", entry.name),
            evidence: evidence.into_iter().map(|text| Evidence { place: None, text }).collect(),
            next: vec![
                "check its power, its link and its VLAN",
                "check that its clock is switched on and set to this network",
                "if it sits behind a boundary clock, capture there",
                "if its address has changed, or it was taken away, correct the site file",
            ],
            sources: vec![
                "the site file",
                "requests within 8 of the interval that the leader asks for (chosen)",
            ],
        }
    }
}
