//! RFC 9760, the enterprise profile.

use super::E2E;
use super::SDO_0;
use super::UDP;
use super::VERSION_2;
use crate::domains::Kind;
use crate::profiles::row::Interval;
use crate::profiles::row::Profile;
use crate::profiles::row::Want;
use crate::profiles::row::from_memory;
use crate::profiles::row::verified;

const ABSTRACT: &str = "RFC 9760, abstract";
const MEMORY: &str = "RFC 9760, from memory";
const RATES: &str = "RFC 9760 section 7, from memory";

const MULTICAST_ANNOUNCE: Want = Want::Cast { of: Kind::Announce, multicast: true };
const MULTICAST_SYNC: Want = Want::Cast { of: Kind::Sync, multicast: true };

pub(super) const ENTERPRISE: Profile = Profile {
    name: "enterprise",
    title: "RFC 9760 enterprise profile",
    rows: &[
        VERSION_2,
        from_memory(Want::ProfileIdentity(&[[0x00, 0x00, 0x5E, 0x00, 0x01, 0x00]]), MEMORY),
        from_memory(Want::Domain { default: &[], allowed: Some((0, 127)) }, MEMORY),
        SDO_0,
        verified(Want::Transport(UDP), ABSTRACT),
        verified(MULTICAST_ANNOUNCE, ABSTRACT),
        verified(MULTICAST_SYNC, ABSTRACT),
        verified(Want::DelayMechanism(E2E), ABSTRACT),
        from_memory(
            Want::Interval { of: Interval::Announce, default: Some(0), allowed: Some((0, 0)) },
            RATES,
        ),
        from_memory(Want::Interval { of: Interval::Sync, default: Some(0), allowed: Some((-7, 7)) }, RATES),
        from_memory(
            Want::Interval { of: Interval::DelayReq, default: Some(0), allowed: Some((-7, 7)) },
            RATES,
        ),
        from_memory(
            Want::NotOnTheWire {
                item: "announceReceiptTimeout",
                default: "3 intervals for preferred timeTransmitters, 4 for others",
                allowed: "fixed",
            },
            MEMORY,
        ),
    ],
    signature: &[
        Want::Transport(UDP),
        Want::Interval { of: Interval::Announce, default: Some(0), allowed: None },
        Want::Interval { of: Interval::Sync, default: Some(0), allowed: None },
        MULTICAST_SYNC,
        Want::Cast { of: Kind::DelayReq, multicast: false },
    ],
};
