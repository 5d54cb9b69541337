//! `device-adrift`

use crate::analysis::Analysis;
use crate::devices::Device;
use crate::devices::State;
use crate::devices::Strength;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;

/// Devices that are told one by one (chosen).
const ONE_BY_ONE: usize = 3;

/// A device takes part in the clock and its own time or rate is off.
pub(super) struct DeviceAdrift;

impl Rule for DeviceAdrift {
    fn id(&self) -> &'static str {
        "device-adrift"
    }

    fn summary(&self) -> &'static str {
        "a device takes part in the clock, and its time or rate is off by more than its messages could be wrong by"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "at the device: does it say that it is locked, and to which clock?",
            "restart its PTP service where the show allows that; an offset that stays is a fault of its clock or set-up",
            "where many are off alike, look at what they share: leader, boundary clock, path",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "offset from the master: IEEE 1588-2008 11.2, 8.2.2.2 (from memory)",
            "what counts as off: the bound of each basis, in the device's reasons (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let adrift: Vec<&Device> =
            analysis.devices.iter().filter(|device| device.state == State::Adrift).collect();
        if adrift.len() > ONE_BY_ONE {
            return Outcome::Broken(vec![self.together(&adrift)]);
        }
        Outcome::from_findings(adrift.into_iter().map(|device| self.finding(device)).collect())
    }
}

impl DeviceAdrift {
    /// One finding of many devices: what they share is where to look.
    fn together(&self, adrift: &[&Device]) -> Finding {
        let evidence = adrift
            .iter()
            .map(|device| Evidence::at(None, format!("{}: {}", device.key, device.reasons.join("; "))))
            .collect();
        let strength = adrift.iter().map(|device| device.strength).min().unwrap_or(Strength::Inferred);
        let title = format!("{} devices take part and their own clocks are off", adrift.len());
        Finding::of(self, (Severity::Major, strength), title, evidence)
    }

    fn finding(&self, device: &Device) -> Finding {
        let evidence = device.reasons.iter().map(|reason| Evidence::at(None, reason.clone())).collect();
        let title = format!("{} takes part and its own clock is off", device.key);
        let finding = Finding::of(self, (Severity::Major, device.strength), title, evidence);
        Finding { device: Some(device.key.clone()), domain: device.in_domain, ..finding }
    }
}
