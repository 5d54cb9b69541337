//! `site-offset-exceeded`

use super::view;
use crate::analysis::Analysis;
use crate::clock::FollowerTime;
use crate::clock::OffBy;
use crate::devices::Device;
use crate::devices::State;
use crate::devices::Strength;
use crate::findings::Evidence;
use crate::findings::Finding;
use crate::findings::Outcome;
use crate::findings::Rule;
use crate::findings::Severity;
use crate::units::Nanos;

/// A device is farther from the leader than the site file allows.
pub(super) struct SiteOffsetExceeded;

impl Rule for SiteOffsetExceeded {
    fn id(&self) -> &'static str {
        "site-offset-exceeded"
    }

    fn summary(&self) -> &'static str {
        "a device is farther from the leader than max_offset of the site file"
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let limit = view::site(analysis).and_then(|site| site.clock.max_offset);
        let Some(limit) = limit else { return Outcome::Quiet };
        let mut findings = Vec::new();
        let (mut followers, mut shown) = (0_usize, 0_usize);
        for device in &analysis.devices {
            let Some(key) = device.in_domain else { continue };
            followers += usize::from(matches!(device.state, State::Following | State::Relaying));
            let mut times = device.clocks.iter().flat_map(|clock| analysis.clocks.times_of(*clock, key));
            if let Some((time, off)) = times.clone().find_map(|time| Some((time, time.off_by_at_least()?))) {
                findings.push(self.finding(device, time, off, limit));
            } else if times.any(|time| time.uncertainty <= limit) {
                shown += 1;
            }
        }
        if findings.is_empty() && shown < followers {
            return Outcome::CannotTell(format!(
                "{} of {followers} followers do not show their time to within {}",
                followers - shown,
                micros(limit)
            ));
        }
        Outcome::from_findings(findings)
    }
}

/// Microseconds with three decimals.
fn micros(limit: Nanos) -> String {
    format!("{}.{:03} us", limit.0 / 1000, (limit.0 % 1000).abs())
}

impl SiteOffsetExceeded {
    fn finding(&self, device: &Device, time: &FollowerTime, off: OffBy, limit: Nanos) -> Finding {
        let at_least = Nanos(off.at_least.nanos().map_or(i64::MAX, |nanos| nanos.0));
        let side = if off.is_behind { "behind" } else { "ahead of" };
        let evidence = format!(
            "by {} samples of its {}, each uncertain by {}",
            time.offset.count,
            time.basis.name(),
            micros(time.uncertainty)
        );
        Finding {
            id: self.id(),
            severity: Severity::Major,
            strength: if time.offset.count > 1 { Strength::Shown } else { Strength::Inferred },
            domain: device.in_domain,
            device: Some(device.key.clone()),
            stream: None,
            follows_from: None,
            affected: Vec::new(),
            title: format!(
                "{} is at least {} {side} the leader; {} are allowed",
                device.name.as_ref().map_or(device.key.as_str(), |name| name.text.as_str()),
                micros(at_least),
                micros(limit)
            ),
            evidence: vec![Evidence { place: None, text: evidence }],
            next: vec![
                "check that the device has finished locking, and its own word on its offset",
                "check the way to the leader for load, and for switches that do not know PTP",
                "if more is good enough here, correct max_offset in the site file",
            ],
            sources: vec!["the site file", "offsetFromMaster: IEEE 1588-2008 11.2, 15.5.3.5 (from memory)"],
        }
    }
}
