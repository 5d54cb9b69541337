//! IEEE 802.1AS, generalized PTP.

use super::ETHERNET;
use super::P2P;
use crate::domains::Kind;
use crate::domains::TlvKind;
use crate::profiles::row::Field;
use crate::profiles::row::How;
use crate::profiles::row::Interval;
use crate::profiles::row::Profile;
use crate::profiles::row::Want;
use crate::profiles::row::from_memory;
use crate::profiles::row::verified;
use crate::ptp::v2::tlv::gptp;
use crate::ptp::v2::tlv::types;
use crate::units::MacAddress;

const STACK: &str = "IEEE 802.1AS: as in an open-source stack's gPTP configuration";
const MEMORY: &str = "IEEE 802.1AS-2020, from memory";

const GROUP: Want = Want::GroupAddress(&[MacAddress([0x01, 0x80, 0xC2, 0x00, 0x00, 0x0E])]);
/// gPTP first, then the common mean link delay service.
const SDO: Want = Want::SdoId(&[0x100, 0x200]);

pub(super) const GPTP: Profile = Profile {
    name: "gptp",
    title: "IEEE 802.1AS (gPTP)",
    rows: &[
        from_memory(Want::Version(2), MEMORY),
        from_memory(
            Want::Domain { default: &[0], allowed: Some((0, 127)) },
            "IEEE 802.1AS-2020, from memory; the 2011 edition knows domain 0 only",
        ),
        verified(SDO, STACK),
        verified(Want::Transport(ETHERNET), STACK),
        verified(GROUP, STACK),
        from_memory(Want::Untagged, MEMORY),
        verified(Want::DelayMechanism(P2P), STACK),
        verified(Want::Interval { of: Interval::Announce, default: Some(0), allowed: None }, STACK),
        verified(Want::Interval { of: Interval::Sync, default: Some(-3), allowed: None }, STACK),
        verified(Want::Interval { of: Interval::PdelayReq, default: Some(0), allowed: None }, STACK),
        from_memory(
            Want::NotOnTheWire {
                item: "announceReceiptTimeout, syncReceiptTimeout",
                default: "3 intervals each",
                allowed: "",
            },
            MEMORY,
        ),
        from_memory(
            Want::Announced { field: Field::Priority1, default: &[246, 248, 250, 255], allowed: &[] },
            "IEEE 802.1AS: 248 for an end station as in an open-source stack's configuration; 246 for infrastructure, 250 for \
             portable, 255 for not able to lead, from memory",
        ),
        verified(Want::Announced { field: Field::Priority2, default: &[248], allowed: &[] }, STACK),
        from_memory(
            Want::TwoStep(true),
            "IEEE 802.1AS-2011, from memory; the 2020 edition allows one-step on each link",
        ),
        verified(
            Want::Carries {
                kind: Kind::FollowUp,
                tlvs: &[TlvKind::Organization {
                    id: gptp::ORGANIZATION_ID,
                    sub_type: gptp::FOLLOW_UP_INFORMATION,
                }],
                name: "Follow_Up information",
                how: How::Every,
            },
            STACK,
        ),
        from_memory(
            Want::Carries {
                kind: Kind::Announce,
                tlvs: &[TlvKind::Standard(types::PATH_TRACE)],
                name: "PATH_TRACE",
                how: How::Every,
            },
            "IEEE 802.1AS, from memory; an open-source stack's gPTP configuration turns it on",
        ),
        verified(
            Want::NotOnTheWire {
                item: "neighborPropDelayThresh",
                default: "800 ns on copper",
                allowed: "any",
            },
            STACK,
        ),
    ],
    signature: &[Want::Transport(ETHERNET), Want::SdoId(&[0x100]), GROUP],
};
