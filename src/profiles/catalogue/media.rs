//! Audio and video over IP: AES67, SMPTE ST 2059-2, and what both allow (AES-R16).

use super::E2E_OR_P2P;
use super::SDO_0;
use super::UDP;
use super::UDP4;
use super::VERSION_2;
use crate::domains::Kind;
use crate::domains::TlvKind;
use crate::profiles::row::Field;
use crate::profiles::row::How;
use crate::profiles::row::Interval;
use crate::profiles::row::Profile;
use crate::profiles::row::Row;
use crate::profiles::row::Want;
use crate::profiles::row::from_memory;
use crate::profiles::row::unsure;
use crate::profiles::row::verified;
use crate::ptp::v2::tlv::synchronization_metadata;

const AES67_A: &str = "AES67-2018 Annex A: as a switch maker's public documentation gives it";
const AES67_MEMORY: &str = "AES67-2018 Annex A, from memory";
const ST2059_2_MAKERS: &str =
    "SMPTE ST 2059-2: as a switch maker's and an encoder maker's public documentation give it";
const ST2059_2_R16: &str =
    "SMPTE ST 2059-2: as a public encyclopedia quotes AES-R16-2016, and a switch maker's documentation";
const ST2059_2_MEMORY: &str = "SMPTE ST 2059-2, from memory";
const R16: &str = "AES-R16-2016 overlap: as a switch maker's public documentation gives its combined profile";

const PRIORITY1: Want = Want::Announced { field: Field::Priority1, default: &[128], allowed: &[] };
const PRIORITY2: Want = Want::Announced { field: Field::Priority2, default: &[128], allowed: &[] };
const TIMEOUT: Want =
    Want::NotOnTheWire { item: "announceReceiptTimeout", default: "3 intervals", allowed: "2 to 10" };
const MULTICAST_ANNOUNCE: Want = Want::Cast { of: Kind::Announce, multicast: true };
const MULTICAST_SYNC: Want = Want::Cast { of: Kind::Sync, multicast: true };
const SYNC_8: Want = Want::Interval { of: Interval::Sync, default: Some(-3), allowed: None };

const SM_TLV: Want = Want::Carries {
    kind: Kind::Management,
    tlvs: &[TlvKind::Organization {
        id: synchronization_metadata::ORGANIZATION_ID,
        sub_type: synchronization_metadata::SYNCHRONIZATION_METADATA,
    }],
    name: "synchronization metadata",
    how: How::InTime,
};

/// `clockClass` values seen with ST 2059-2 and the others of IEEE 1588-2008 Table 5.
const CLOCK_CLASSES: &[(u8, u8)] =
    &[(6, 7), (13, 14), (52, 52), (58, 58), (187, 187), (193, 193), (248, 248), (255, 255)];

const fn classes(source: &'static str) -> Row {
    unsure(Want::Announced { field: Field::ClockClass, default: &[], allowed: CLOCK_CLASSES }, source)
}

pub(super) const AES67: Profile = Profile {
    name: "aes67",
    title: "AES67 media profile",
    rows: &[
        VERSION_2,
        unsure(
            Want::ProfileIdentity(&[
                [0x00, 0x0B, 0x5E, 0x00, 0x01, 0x00],
                [0x00, 0x0B, 0x5E, 0x00, 0x02, 0x00],
            ]),
            AES67_MEMORY,
        ),
        verified(Want::Domain { default: &[0], allowed: Some((0, 127)) }, AES67_A),
        SDO_0,
        from_memory(Want::Transport(UDP), AES67_MEMORY),
        unsure(
            Want::Transport(UDP4),
            "AES67-2018: IPv4 as a switch maker's public documentation gives it; IPv6 is not required, from memory",
        ),
        from_memory(MULTICAST_ANNOUNCE, AES67_MEMORY),
        from_memory(MULTICAST_SYNC, AES67_MEMORY),
        from_memory(
            Want::DelayMechanism(E2E_OR_P2P),
            "AES67-2018 Annex A, from memory: request-response mandatory, peer-to-peer optional",
        ),
        verified(Want::Interval { of: Interval::Announce, default: Some(1), allowed: Some((0, 4)) }, AES67_A),
        verified(Want::Interval { of: Interval::Sync, default: Some(-3), allowed: Some((-4, 1)) }, AES67_A),
        from_memory(
            Want::Interval { of: Interval::DelayReq, default: Some(0), allowed: Some((-7, 5)) },
            "AES67-2018 Annex A: default 0, range -3 to 5 from memory; a switch maker's documentation gives -7 to -3, \
             so both are taken",
        ),
        unsure(
            Want::Interval { of: Interval::PdelayReq, default: Some(0), allowed: Some((0, 5)) },
            AES67_MEMORY,
        ),
        verified(TIMEOUT, AES67_A),
        verified(PRIORITY1, AES67_A),
        verified(PRIORITY2, AES67_A),
        classes("AES67-2018 Annex A as IEEE 1588-2008 Table 5, from memory"),
        from_memory(Want::Dscp(46), "AES67-2018 6.2, from memory: EF for the clock; can be set otherwise"),
    ],
    signature: &[
        Want::Transport(UDP),
        MULTICAST_SYNC,
        Want::Domain { default: &[0], allowed: None },
        SYNC_8,
        Want::Interval { of: Interval::Announce, default: Some(1), allowed: None },
    ],
};

pub(super) const ST2059_2: Profile = Profile {
    name: "st2059-2",
    title: "SMPTE ST 2059-2 profile",
    rows: &[
        VERSION_2,
        unsure(
            Want::ProfileIdentity(&[
                [0x68, 0x97, 0xE8, 0x00, 0x01, 0x00],
                [0x68, 0x97, 0xE8, 0x00, 0x01, 0x01],
            ]),
            "SMPTE ST 2059-2 of 2015 and of 2021, from memory",
        ),
        verified(
            Want::Domain { default: &[127], allowed: Some((0, 127)) },
            "SMPTE ST 2059-2: as three public secondary sources give it",
        ),
        SDO_0,
        from_memory(
            Want::Transport(UDP),
            "SMPTE ST 2059-2: IPv4 as a switch maker's public documentation gives it, IPv6 from memory",
        ),
        verified(
            Want::DelayMechanism(E2E_OR_P2P),
            "SMPTE ST 2059-2: as an encoder maker's public command reference offers both",
        ),
        verified(
            Want::Interval { of: Interval::Announce, default: Some(-2), allowed: Some((-3, 1)) },
            ST2059_2_MAKERS,
        ),
        unsure(
            Want::Interval { of: Interval::Announce, default: None, allowed: Some((-3, 0)) },
            "SMPTE ST 2059-2:2015 as a public encyclopedia quotes AES-R16-2016: 1 s at most; makers give 2 s",
        ),
        verified(
            Want::Interval { of: Interval::Sync, default: Some(-3), allowed: Some((-7, -1)) },
            ST2059_2_R16,
        ),
        verified(
            Want::AboveSync { of: Interval::DelayReq, allowed: (0, 5) },
            "SMPTE ST 2059-2: as a public encyclopedia quotes AES-R16-2016 (up to 32 times the Sync interval)",
        ),
        unsure(Want::AboveSync { of: Interval::PdelayReq, allowed: (0, 5) }, ST2059_2_MEMORY),
        verified(TIMEOUT, ST2059_2_MAKERS),
        verified(PRIORITY1, "SMPTE ST 2059-2: as a switch maker's public documentation gives it"),
        verified(PRIORITY2, "SMPTE ST 2059-2: as a switch maker's public documentation gives it"),
        classes("SMPTE ST 2059-2 as IEEE 1588-2008 Table 5, from memory"),
        unsure(
            SM_TLV,
            "SMPTE ST 2059-2: layout checked, that the grandmaster sends it each second from memory; a boundary clock on \
             the way need not pass it on (common practice, no source)",
        ),
    ],
    signature: &[
        Want::Transport(UDP),
        MULTICAST_SYNC,
        Want::Domain { default: &[127], allowed: None },
        SYNC_8,
        Want::Interval { of: Interval::Announce, default: Some(-2), allowed: None },
        SM_TLV,
    ],
};

pub(super) const AES67_ST2059_2: Profile = Profile {
    name: "aes67-st2059-2",
    title: "AES-R16 overlap of AES67 and SMPTE ST 2059-2",
    rows: &[
        VERSION_2,
        verified(Want::Domain { default: &[0, 127], allowed: Some((0, 127)) }, R16),
        SDO_0,
        from_memory(Want::Transport(UDP), "AES67-2018 and SMPTE ST 2059-2, from memory"),
        unsure(Want::Transport(UDP4), "AES67-2018 does not require IPv6, from memory"),
        from_memory(MULTICAST_ANNOUNCE, "AES67-2018 and SMPTE ST 2059-2, from memory"),
        from_memory(MULTICAST_SYNC, "AES67-2018 and SMPTE ST 2059-2, from memory"),
        from_memory(Want::DelayMechanism(E2E_OR_P2P), "AES67-2018 and SMPTE ST 2059-2, from memory"),
        verified(Want::Interval { of: Interval::Announce, default: Some(0), allowed: Some((0, 1)) }, R16),
        verified(Want::Interval { of: Interval::Sync, default: Some(-3), allowed: Some((-4, -1)) }, R16),
        unsure(
            Want::Interval { of: Interval::DelayReq, default: Some(-3), allowed: Some((-7, 1)) },
            "AES-R16-2016: -7 to -3 as a switch maker's public documentation gives its combined profile; -3 to 1 by \
             calculation from both standards' ranges",
        ),
        verified(TIMEOUT, R16),
        verified(PRIORITY1, R16),
        verified(PRIORITY2, R16),
    ],
    signature: &[
        Want::Transport(UDP),
        MULTICAST_SYNC,
        Want::Domain { default: &[0], allowed: None },
        SYNC_8,
        Want::Interval { of: Interval::Announce, default: Some(0), allowed: None },
    ],
};
