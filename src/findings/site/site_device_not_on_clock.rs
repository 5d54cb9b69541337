//! `site-device-not-on-clock`

use super::site_domain_differs;
use super::view;
use super::view::Presence;
use crate::analysis::Analysis;
use crate::devices::Device;
use crate::devices::State;
use crate::devices::Strength;
use crate::findings::Evidence;
use crate::findings::Finding;
use crate::findings::Outcome;
use crate::findings::Rule;
use crate::findings::Severity;

/// A device that the site file lists as needing the clock is seen, and is not on it.
pub(super) struct SiteDeviceNotOnClock;

impl Rule for SiteDeviceNotOnClock {
    fn id(&self) -> &'static str {
        "site-device-not-on-clock"
    }

    fn summary(&self) -> &'static str {
        "a device that needs the clock by the site file is seen and is not on it"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "see each device's state and reasons, and the finding about that state, for what to do",
            "where there is no PTP: check that its clock is switched on and set to this network",
            "if its clock has another address than the one listed, list that one",
            "if it needs no clock, say needs_clock = false in the site file",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &["the site file", "what each state is said of: README (chosen)"]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let Some(site) = view::site(analysis) else { return Outcome::Quiet };
        let in_view = view::would_see_a_follower(analysis);
        // Where all are in another domain than the file names, that is one cause with a rule of its own.
        let elsewhere = site_domain_differs::is_elsewhere(analysis);
        let mut off = Vec::new();
        for entry in site.devices.iter().filter(|entry| entry.needs_clock) {
            let name = entry.name.as_str();
            match (view::presence(analysis, entry), &in_view) {
                (Presence::Known(device), _) => match device.state {
                    State::Astray if elsewhere => {}
                    State::Rival | State::Astray | State::Unanswered | State::Adrift | State::Unclocked => {
                        let reasons = device.reasons.join("; ");
                        let (what, strength) = (device.state.name(), device.strength);
                        off.push(Off { name, device: Some(device), what, strength, reasons });
                    }
                    State::Leading
                    | State::Relaying
                    | State::Following
                    | State::StandingBy
                    | State::Unproven => {}
                },
                (Presence::WithoutPtp, Ok(shown_by)) => {
                    let reasons = format!(
                        "frames of it were captured, and no PTP; its requests would have been: {shown_by}"
                    );
                    off.push(Off {
                        name,
                        device: None,
                        what: "without PTP",
                        strength: Strength::Inferred,
                        reasons,
                    });
                }
                (Presence::WithoutPtp, Err(_)) | (Presence::Unseen, _) => {}
            }
        }
        let unproven = view::unproven_devices(analysis);
        match (off.as_slice(), unproven.is_empty()) {
            ([], false) => Outcome::CannotTell(view::by_reason(&unproven)),
            ([], true) => Outcome::Quiet,
            (off, _) => Outcome::Broken(off.iter().map(|off| self.finding(off)).collect()),
        }
    }
}

/// A device that is off the clock.
struct Off<'a> {
    name: &'a str,
    /// `None` where no PTP of it was captured.
    device: Option<&'a Device>,
    what: &'static str,
    strength: Strength,
    reasons: String,
}

impl SiteDeviceNotOnClock {
    fn finding(&self, off: &Off<'_>) -> Finding {
        Finding {
            device: off.device.map(|device| device.key.clone()),
            domain: off.device.and_then(|device| device.in_domain),
            ..Finding::of(
                self,
                (Severity::Critical, off.strength),
                format!("{} needs the clock and is {}", off.name, off.what),
                vec![Evidence {
                    place: None,
                    text: format!("{} is {}: {}", off.name, off.what, off.reasons),
                }],
            )
        }
    }
}
