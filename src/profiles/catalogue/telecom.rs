//! The telecom profiles of ITU-T.

use super::E2E;
use super::ETHERNET;
use super::SDO_0;
use super::UDP;
use super::VERSION_2;
use crate::domains::Kind;
use crate::domains::TlvKind;
use crate::profiles::row::Field;
use crate::profiles::row::How;
use crate::profiles::row::Interval;
use crate::profiles::row::Profile;
use crate::profiles::row::Want;
use crate::profiles::row::from_memory;
use crate::profiles::row::unsure;
use crate::profiles::row::verified;
use crate::ptp::v2::tlv::types;
use crate::units::MacAddress;

const G8275_1_STACK: &str = "ITU-T G.8275.1: as in an open-source stack's configuration";
const G8275_1_MEMORY: &str = "ITU-T G.8275.1, from memory";
const G8275_2_STACK: &str = "ITU-T G.8275.2: as in an open-source stack's configuration";
const G8275_2_MEMORY: &str = "ITU-T G.8275.2, from memory";
const G8265_1_STACK: &str = "ITU-T G.8265.1: as in an open-source stack's configuration";
const G8265_1_MEMORY: &str = "ITU-T G.8265.1, from memory";

/// Locked, in holdover within and beyond specification, free-running, follower-only.
const PHASE_CLASSES: Want = Want::Announced {
    field: Field::ClockClass,
    default: &[],
    allowed: &[(6, 7), (135, 135), (140, 140), (150, 150), (160, 160), (165, 165), (248, 248), (255, 255)],
};
const PRIORITY1: Want = Want::Announced { field: Field::Priority1, default: &[128], allowed: &[] };
const PRIORITY2: Want = Want::Announced { field: Field::Priority2, default: &[128], allowed: &[] };

const UNICAST_ANNOUNCE: Want = Want::Cast { of: Kind::Announce, multicast: false };
const UNICAST_SYNC: Want = Want::Cast { of: Kind::Sync, multicast: false };
const NEGOTIATION: Want = Want::Carries {
    kind: Kind::Signaling,
    tlvs: &[
        TlvKind::Standard(types::REQUEST_UNICAST_TRANSMISSION),
        TlvKind::Standard(types::GRANT_UNICAST_TRANSMISSION),
    ],
    name: "unicast negotiation",
    how: How::Some,
};
const DURATION: Want = Want::GrantDuration { default: 300, allowed: (60, 1000) };
/// Quality levels of ITU-T G.781 as `clockClass`.
const QUALITY_CLASSES: Want =
    Want::Announced { field: Field::ClockClass, default: &[], allowed: &[(80, 110), (255, 255)] };

const fn fixed(of: Interval, log: i8) -> Want {
    Want::Interval { of, default: Some(log), allowed: Some((log, log)) }
}

const fn from_to(of: Interval, default: Option<i8>, least: i8, most: i8) -> Want {
    Want::Interval { of, default, allowed: Some((least, most)) }
}

pub(super) const G8275_1: Profile = Profile {
    name: "g8275-1",
    title: "ITU-T G.8275.1, time and phase with full timing support",
    rows: &[
        VERSION_2,
        from_memory(
            Want::Domain { default: &[24], allowed: Some((24, 43)) },
            "ITU-T G.8275.1: default as in an open-source stack's configuration, range from memory",
        ),
        SDO_0,
        verified(Want::Transport(ETHERNET), G8275_1_STACK),
        verified(
            Want::GroupAddress(&[
                MacAddress([0x01, 0x80, 0xC2, 0x00, 0x00, 0x0E]),
                MacAddress([0x01, 0x1B, 0x19, 0x00, 0x00, 0x00]),
            ]),
            G8275_1_STACK,
        ),
        from_memory(Want::DelayMechanism(E2E), G8275_1_MEMORY),
        verified(fixed(Interval::Announce, -3), G8275_1_STACK),
        verified(fixed(Interval::Sync, -4), G8275_1_STACK),
        verified(fixed(Interval::DelayReq, -4), G8275_1_STACK),
        from_memory(
            Want::NotOnTheWire { item: "announceReceiptTimeout", default: "3 intervals", allowed: "3 to 10" },
            G8275_1_MEMORY,
        ),
        from_memory(PRIORITY1, G8275_1_MEMORY),
        from_memory(PRIORITY2, G8275_1_MEMORY),
        from_memory(PHASE_CLASSES, G8275_1_MEMORY),
        verified(
            Want::NotOnTheWire { item: "localPriority", default: "128", allowed: "1 to 255" },
            G8275_1_STACK,
        ),
    ],
    signature: &[
        Want::Transport(ETHERNET),
        Want::Domain { default: DOMAINS_24_TO_43, allowed: None },
        Want::DelayMechanism(E2E),
        fixed(Interval::Sync, -4),
    ],
};

/// The whole range counts as characteristic.
const DOMAINS_24_TO_43: &[u8] =
    &[24, 25, 26, 27, 28, 29, 30, 31, 32, 33, 34, 35, 36, 37, 38, 39, 40, 41, 42, 43];

pub(super) const G8275_2: Profile = Profile {
    name: "g8275-2",
    title: "ITU-T G.8275.2, time and phase with partial timing support",
    rows: &[
        VERSION_2,
        from_memory(
            Want::Domain { default: &[44], allowed: Some((44, 63)) },
            "ITU-T G.8275.2: default as in an open-source stack's configuration, range from memory",
        ),
        SDO_0,
        verified(Want::Transport(UDP), G8275_2_STACK),
        verified(UNICAST_ANNOUNCE, G8275_2_STACK),
        verified(UNICAST_SYNC, G8275_2_STACK),
        verified(NEGOTIATION, G8275_2_STACK),
        from_memory(Want::DelayMechanism(E2E), G8275_2_MEMORY),
        from_memory(
            from_to(Interval::Announce, Some(0), -3, 0),
            "ITU-T G.8275.2: default as in an open-source stack's configuration, range from memory",
        ),
        from_memory(from_to(Interval::Sync, None, -7, 0), G8275_2_MEMORY),
        from_memory(from_to(Interval::DelayReq, None, -7, 0), G8275_2_MEMORY),
        from_memory(
            DURATION,
            "ITU-T G.8275.2: 300 s, 60 s to 1000 s, from memory; an open-source stack asks for 60 s",
        ),
        unsure(
            Want::NotOnTheWire {
                item: "announceReceiptTimeout",
                default: "2 intervals",
                allowed: "2 and more",
            },
            G8275_2_MEMORY,
        ),
        from_memory(PRIORITY1, G8275_2_MEMORY),
        from_memory(PRIORITY2, G8275_2_MEMORY),
        from_memory(PHASE_CLASSES, G8275_2_MEMORY),
    ],
    signature: &[Want::Transport(UDP), UNICAST_SYNC, UNICAST_ANNOUNCE, NEGOTIATION],
};

pub(super) const G8265_1: Profile = Profile {
    name: "g8265-1",
    title: "ITU-T G.8265.1, frequency",
    rows: &[
        VERSION_2,
        from_memory(
            Want::Domain { default: &[4], allowed: Some((4, 23)) },
            "ITU-T G.8265.1: default as in an open-source stack's configuration, range from memory",
        ),
        SDO_0,
        verified(Want::Transport(UDP), G8265_1_STACK),
        verified(UNICAST_ANNOUNCE, G8265_1_STACK),
        verified(UNICAST_SYNC, G8265_1_STACK),
        from_memory(NEGOTIATION, G8265_1_MEMORY),
        from_memory(Want::DelayMechanism(E2E), G8265_1_MEMORY),
        from_memory(from_to(Interval::Announce, Some(1), -3, 4), G8265_1_MEMORY),
        from_memory(from_to(Interval::Sync, None, -7, 4), G8265_1_MEMORY),
        from_memory(from_to(Interval::DelayReq, None, -7, 4), G8265_1_MEMORY),
        from_memory(DURATION, G8265_1_MEMORY),
        from_memory(QUALITY_CLASSES, G8265_1_MEMORY),
    ],
    signature: &[Want::Transport(UDP), UNICAST_SYNC, UNICAST_ANNOUNCE, NEGOTIATION],
};
