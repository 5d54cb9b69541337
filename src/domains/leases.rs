//! Unicast transmission asked for and granted (1588-2008 16.1, from memory): who serves whom with what, and until when.
//!
//! Memory: at most [`KEPT`] leases a domain.

use std::collections::BTreeMap;

use super::key::PortId;
use crate::observations::Place;
use crate::ptp::v2;
use crate::units::CaptureTime;
use crate::units::Nanos;

/// Leases kept of one domain (chosen).
const KEPT: usize = 4096;

/// What names a lease: who asks, who grants, which message.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct LeaseKey {
    /// The port that asked.
    pub asker: PortId,
    /// The clock port that grants.
    pub granter: PortId,
    /// What is granted.
    pub message_type: v2::MessageType,
}

/// One lease.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Lease {
    /// The latest grant and how long it lasts.
    pub granted: Option<(Place, Nanos)>,
    /// Denials (`durationField` 0) since the latest grant, and the first of them.
    pub denied: u64,
    /// The first denial since the latest grant.
    pub denied_at: Option<Place>,
    /// The latest request since the latest grant.
    pub asked_again: Option<Place>,
    /// Whether either side gave it up.
    pub cancelled: bool,
}

impl Lease {
    /// When it ends.
    #[must_use]
    pub fn ends(&self) -> Option<CaptureTime> {
        let (place, lasts) = self.granted?;
        Some(place.time?.plus(lasts))
    }
}

/// The leases of a domain.
#[derive(Debug, Clone, Default)]
pub struct Leases(BTreeMap<LeaseKey, Lease>);

impl Leases {
    /// Takes in what a Signaling message carries. A target of all ones is taken as it stands.
    pub(super) fn hear(&mut self, sender: PortId, target: PortId, place: Place, tlvs: &[v2::Tlv]) {
        for tlv in tlvs {
            match tlv {
                v2::Tlv::RequestUnicastTransmission(request) => {
                    // Many ask "all ports", as they do not know the granter's identity yet.
                    let kind = request.message_type;
                    let own = self.0.iter_mut().filter(|(key, _)| {
                        key.asker == sender && key.message_type == kind && is_meant(key.granter, target)
                    });
                    for (_, lease) in own {
                        lease.asked_again = Some(place);
                    }
                }
                v2::Tlv::GrantUnicastTransmission(grant) => {
                    let key = LeaseKey { asker: target, granter: sender, message_type: grant.message_type };
                    let Some(lease) = self.entry(key) else { continue };
                    if grant.duration_field_s == 0 {
                        lease.denied += 1;
                        lease.denied_at.get_or_insert(place);
                    } else {
                        let lasts = Nanos::from_seconds(i64::from(grant.duration_field_s));
                        *lease = Lease { granted: Some((place, lasts)), ..Lease::default() };
                    }
                }
                v2::Tlv::CancelUnicastTransmission(cancel) => {
                    let kind = cancel.message_type;
                    let both = self.0.iter_mut().filter(|(key, _)| {
                        key.message_type == kind && (key.asker == sender || key.granter == sender)
                    });
                    for (_, lease) in both {
                        lease.cancelled = true;
                    }
                }
                _ => {}
            }
        }
    }

    fn entry(&mut self, key: LeaseKey) -> Option<&mut Lease> {
        let room = self.0.len() < KEPT || self.0.contains_key(&key);
        room.then(|| self.0.entry(key).or_default())
    }

    /// All, by key.
    pub fn iter(&self) -> impl Iterator<Item = (&LeaseKey, &Lease)> {
        self.0.iter()
    }
}

/// Whether a request to `target` is meant for `granter`: by name, or as one of all.
fn is_meant(granter: PortId, target: PortId) -> bool {
    let is_all = matches!(target.clock, super::key::ClockId::V2(identity) if identity.0 == [0xFF; 8]);
    is_all || target.clock == granter.clock
}
