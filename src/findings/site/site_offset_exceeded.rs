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
use crate::findings::words::difference;
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
        for device in &analysis.devices {
            let off = times(analysis, device).find_map(|time| Some((time, time.off_by_at_least()?)));
            if let Some((time, off)) = off {
                findings.push(self.finding(device, time, off, limit));
            }
        }
        let (followers, shown) = shown(analysis, limit);
        if findings.is_empty() && shown < followers {
            return Outcome::CannotTell(format!(
                "{} of {followers} followers do not show their time to within {}",
                followers - shown,
                difference(limit.into())
            ));
        }
        Outcome::from_findings(findings)
    }
}

fn times<'a>(analysis: &'a Analysis, device: &'a Device) -> impl Iterator<Item = &'a FollowerTime> {
    let own = device
        .in_domain
        .map(|key| device.clocks.iter().flat_map(move |clock| analysis.clocks.times_of(*clock, key)));
    own.into_iter().flatten()
}

/// Followers, and devices that show to be within the limit.
fn shown(analysis: &Analysis, limit: Nanos) -> (usize, usize) {
    let judged = || analysis.devices.iter().filter(|device| device.in_domain.is_some());
    let follows = |device: &&Device| matches!(device.state, State::Following | State::Relaying);
    let is_shown = |device: &&Device| {
        let mut own = times(analysis, device);
        times(analysis, device).all(|time| time.off_by_at_least().is_none())
            && own.any(|time| time.uncertainty <= limit)
    };
    (judged().filter(follows).count(), judged().filter(is_shown).count())
}

/// The limit that the site file sets, where no follower shows its time well enough to be held against it.
pub(in crate::findings) fn nobody_shows(analysis: &Analysis) -> Option<String> {
    let limit = view::site(analysis)?.clock.max_offset?;
    let (followers, shown) = shown(analysis, limit);
    (followers > 0 && shown == 0).then(|| difference(limit.into()))
}

impl SiteOffsetExceeded {
    fn finding(&self, device: &Device, time: &FollowerTime, off: OffBy, limit: Nanos) -> Finding {
        let side = if off.is_behind { "behind" } else { "ahead of" };
        let evidence = format!(
            "by {} samples of its {}, each uncertain by {}",
            time.offset.count,
            time.basis.name(),
            difference(time.uncertainty.into())
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
                difference(off.at_least),
                difference(limit.into())
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
