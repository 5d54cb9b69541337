//! Which events are shown.

use std::collections::BTreeSet;

use crate::nearest::nearest;
use crate::report::DeviceDocument;
use crate::report::Document;
use crate::report::EventDocument;
use crate::report::address_digits;

/// Every kind of event.
pub const KINDS: [&str; 28] = [
    "leader-elected",
    "leader-changed",
    "leader-lost",
    "leader-not-heard",
    "rival-began",
    "rival-ended",
    "announced-data-changed",
    "answers-stopped",
    "answers-resumed",
    "time-step",
    "sync-gap",
    "numbers-restarted",
    "capture-hole",
    "stream-started",
    "stream-stopped",
    "stream-paused",
    "packets-lost",
    "rate-changed",
    "media-step",
    "session-deleted",
    "querier-changed",
    "querier-silent",
    "querier-returned",
    "querier-contention",
    "querier-without-address",
    "member-joined",
    "member-left",
    "membership-expired",
];

/// What is asked for; an empty list lets all pass.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Filter {
    /// Domains: a version 2 number, a version 1 name, or a whole key.
    pub domains: Vec<String>,
    /// Devices: key, MAC or IP address, clock, or name.
    pub devices: Vec<String>,
    /// Kinds of event.
    pub kinds: Vec<String>,
}

/// A filter against one document.
pub(super) struct Chosen {
    domains: Option<BTreeSet<String>>,
    devices: Option<BTreeSet<String>>,
    kinds: Option<BTreeSet<String>>,
}

impl Filter {
    /// What of a document it lets pass.
    ///
    /// # Errors
    /// Where something is asked for that is not there, with the nearest that is.
    pub(super) fn against(&self, document: &Document) -> Result<Chosen, String> {
        let domains = chosen(&self.domains, |wanted| {
            let of = document.domains.iter().filter(|domain| {
                let name = match &domain.domain {
                    serde_json::Value::String(name) => name.clone(),
                    number => number.to_string(),
                };
                name.eq_ignore_ascii_case(wanted) || domain.key.eq_ignore_ascii_case(wanted)
            });
            let keys: Vec<String> = of.map(|domain| domain.key.clone()).collect();
            let known = document.domains.iter().map(|domain| domain.key.as_str());
            found(keys, "domain", wanted, nearest(wanted, known))
        })?;
        let devices = chosen(&self.devices, |wanted| {
            let of = document.devices.iter().filter(|device| answers_to(device, wanted));
            let keys: Vec<String> = of.map(|device| device.key.clone()).collect();
            let known = document.devices.iter().flat_map(names);
            found(keys, "device", wanted, nearest(wanted, known))
        })?;
        let kinds = chosen(&self.kinds, |wanted| {
            let seen = document.events.iter().map(|event| event.kind);
            let known: Vec<&str> = KINDS.into_iter().chain(seen).collect();
            let same: Vec<String> =
                known.iter().filter(|kind| **kind == wanted).map(|kind| (*kind).to_owned()).collect();
            if same.is_empty() {
                let near = nearest(wanted, known).unwrap_or_default();
                return Err(format!("no kind of event is called {wanted}; the nearest known one is {near}"));
            }
            Ok(same)
        })?;
        Ok(Chosen { domains, devices, kinds })
    }
}

/// All that the list names; `None` where it names nothing.
fn chosen(
    list: &[String],
    keys_of: impl Fn(&str) -> Result<Vec<String>, String>,
) -> Result<Option<BTreeSet<String>>, String> {
    if list.is_empty() {
        return Ok(None);
    }
    let mut keys = BTreeSet::new();
    for wanted in list {
        keys.extend(keys_of(wanted.trim())?);
    }
    Ok(Some(keys))
}

fn found(keys: Vec<String>, what: &str, wanted: &str, near: Option<&str>) -> Result<Vec<String>, String> {
    match (keys.is_empty(), near) {
        (false, _) => Ok(keys),
        (true, Some(near)) => {
            Err(format!("no {what} of this capture is {wanted}; the nearest one is {near}"))
        }
        (true, None) => Err(format!("no {what} of this capture is {wanted}; there is none in it")),
    }
}

/// All that a device may be called.
fn names(device: &DeviceDocument) -> impl Iterator<Item = &str> {
    let addresses = device.macs.iter().chain(&device.ips).chain(&device.clocks).map(String::as_str);
    [device.key.as_str()].into_iter().chain(device.name.as_deref()).chain(addresses)
}

fn answers_to(device: &DeviceDocument, wanted: &str) -> bool {
    let address = address_digits(wanted);
    names(device).any(|name| {
        name.eq_ignore_ascii_case(wanted) || (address.is_some() && address_digits(name) == address)
    })
}

impl Chosen {
    pub(super) fn takes(&self, event: &EventDocument) -> bool {
        let is_in = |set: &Option<BTreeSet<String>>, value: Option<&str>| {
            set.as_ref().is_none_or(|set| value.is_some_and(|value| set.contains(value)))
        };
        is_in(&self.domains, event.domain.as_deref())
            && is_in(&self.devices, event.device.as_deref())
            && is_in(&self.kinds, Some(event.kind))
    }
}
