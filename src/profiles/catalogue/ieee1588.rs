//! The two default profiles of IEEE 1588-2008 Annex J and -2019 Annex I.

use super::ANY_TRANSPORT;
use super::E2E;
use super::ETHERNET;
use super::P2P;
use super::SDO_0;
use super::VERSION_2;
use crate::domains::Kind;
use crate::profiles::row::Field;
use crate::profiles::row::Interval;
use crate::profiles::row::Profile;
use crate::profiles::row::Row;
use crate::profiles::row::Want;
use crate::profiles::row::from_memory;
use crate::profiles::row::verified;

const J3: &str = "IEEE 1588-2008 J.3 and -2019 I.3, from memory";
const J3_STACK: &str =
    "IEEE 1588-2008 J.3 and -2019 I.3: default as in an open-source stack's tables, range from memory";
const J4: &str = "IEEE 1588-2008 J.4 and -2019 I.4, from memory";
const J4_STACK: &str =
    "IEEE 1588-2008 J.4 and -2019 I.4: default as in an open-source stack's tables, range from memory";
const CLASSES: &str = "IEEE 1588-2008 Table 5 and -2019 Table 4, from memory";

/// `clockClass` values that are neither reserved nor left to other profiles.
const CLOCK_CLASSES: &[(u8, u8)] =
    &[(6, 7), (13, 14), (52, 52), (58, 58), (187, 187), (193, 193), (248, 248), (255, 255)];

const DOMAIN: Want = Want::Domain { default: &[0], allowed: Some((0, 127)) };
const ANNOUNCE: Want = Want::Interval { of: Interval::Announce, default: Some(1), allowed: Some((0, 4)) };
const SYNC: Want = Want::Interval { of: Interval::Sync, default: Some(0), allowed: Some((-1, 1)) };
const TIMEOUT: Want =
    Want::NotOnTheWire { item: "announceReceiptTimeout", default: "3 intervals", allowed: "2 to 10" };
const PRIORITY1: Row = verified(
    Want::Announced { field: Field::Priority1, default: &[128], allowed: &[] },
    "IEEE 1588 default profiles: default as in an open-source stack's tables",
);
const PRIORITY2: Row = verified(
    Want::Announced { field: Field::Priority2, default: &[128], allowed: &[] },
    "IEEE 1588 default profiles: default as in an open-source stack's tables",
);
const CLASS: Row = from_memory(
    Want::Announced { field: Field::ClockClass, default: &[248, 255], allowed: CLOCK_CLASSES },
    CLASSES,
);
const TTL: Row = verified(
    Want::Ttl(1),
    "not laid down by the profile (IEEE 1588-2008 Annex D); default of an open-source stack",
);

pub(super) const DEFAULT_E2E: Profile = Profile {
    name: "default-e2e",
    title: "IEEE 1588 default profile, delay request-response",
    rows: &[
        VERSION_2,
        from_memory(Want::ProfileIdentity(&[[0x00, 0x1B, 0x19, 0x00, 0x01, 0x00]]), J3),
        from_memory(DOMAIN, J3_STACK),
        SDO_0,
        from_memory(Want::Transport(ANY_TRANSPORT), J3),
        from_memory(Want::DelayMechanism(E2E), J3),
        from_memory(ANNOUNCE, J3_STACK),
        from_memory(SYNC, J3_STACK),
        from_memory(
            Want::Interval { of: Interval::DelayReq, default: Some(0), allowed: Some((0, 5)) },
            J3_STACK,
        ),
        from_memory(TIMEOUT, J3_STACK),
        PRIORITY1,
        PRIORITY2,
        CLASS,
        TTL,
    ],
    signature: &[
        Want::DelayMechanism(E2E),
        Want::Cast { of: Kind::Sync, multicast: true },
        Want::Interval { of: Interval::Announce, default: Some(1), allowed: None },
        Want::Interval { of: Interval::Sync, default: Some(0), allowed: None },
    ],
};

pub(super) const DEFAULT_P2P: Profile = Profile {
    name: "default-p2p",
    title: "IEEE 1588 default profile, peer-to-peer delay",
    rows: &[
        VERSION_2,
        verified(
            Want::ProfileIdentity(&[[0x00, 0x1B, 0x19, 0x00, 0x02, 0x00]]),
            "IEEE 1588-2008 J.4: as a real clock's CLOCK_DESCRIPTION answer gives it beside delayMechanism P2P",
        ),
        from_memory(DOMAIN, J4_STACK),
        SDO_0,
        from_memory(Want::Transport(ANY_TRANSPORT), J4),
        from_memory(Want::DelayMechanism(P2P), J4),
        from_memory(ANNOUNCE, J4_STACK),
        from_memory(SYNC, J4_STACK),
        from_memory(
            Want::Interval { of: Interval::PdelayReq, default: Some(0), allowed: Some((0, 5)) },
            J4_STACK,
        ),
        from_memory(TIMEOUT, J4_STACK),
        PRIORITY1,
        PRIORITY2,
        CLASS,
        TTL,
    ],
    signature: &[Want::Transport(ETHERNET), Want::DelayMechanism(P2P), Want::SdoId(&[0])],
};
