//! `site-device-not-on-clock`

use super::site_domain_differs;
use super::view;
use super::view::Presence;
use crate::analysis::Analysis;
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
                        off.push(Off { name, what: device.state.name(), strength: device.strength, reasons });
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
                    off.push(Off { name, what: "without PTP", strength: Strength::Inferred, reasons });
                }
                (Presence::WithoutPtp, Err(_)) | (Presence::Unseen, _) => {}
            }
        }
        let unproven = view::unproven_devices(analysis);
        match (off.as_slice(), unproven.is_empty()) {
            ([], false) => Outcome::CannotTell(view::by_reason(&unproven)),
            ([], true) => Outcome::Quiet,
            (off, _) => Outcome::Broken(vec![self.finding(off)]),
        }
    }
}

/// A device that is off the clock.
struct Off<'a> {
    name: &'a str,
    what: &'static str,
    strength: Strength,
    reasons: String,
}

impl SiteDeviceNotOnClock {
    fn finding(&self, off: &[Off<'_>]) -> Finding {
        let evidence = off.iter().map(|off| Evidence {
            place: None,
            text: format!("{} is {}: {}", off.name, off.what, off.reasons),
        });
        let title = match off {
            [one] => format!("{} needs the clock and is {}", one.name, one.what),
            several => {
                let names: Vec<&str> = several.iter().map(|off| off.name).collect();
                format!("{} devices need the clock and are not on it: {}", names.len(), names.join(", "))
            }
        };
        Finding {
            id: self.id(),
            severity: Severity::Critical,
            strength: off.iter().map(|off| off.strength).max().unwrap_or(Strength::Inferred),
            domain: None,
            device: None,
            stream: None,
            title,
            evidence: evidence.collect(),
            next: vec![
                "see each device's state and reasons, and the finding about that state, for what to do",
                "where there is no PTP: check that its clock is switched on and set to this network",
                "if its clock has another address than the one listed, list that one",
                "if it needs no clock, say needs_clock = false in the site file",
            ],
            sources: vec!["the site file", "what each state is said of: README (chosen)"],
        }
    }
}
