//! IEEE C37.238, electric power systems.

use super::ETHERNET;
use super::P2P;
use super::SDO_0;
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
use crate::ptp::v2::tlv::power_profile;
use crate::ptp::v2::tlv::types;

const MEMORY: &str = "IEEE C37.238-2011 and -2017, from memory";

const EDITION_TLV: Want = Want::Carries {
    kind: Kind::Announce,
    tlvs: &[
        TlvKind::Organization { id: power_profile::ORGANIZATION_ID, sub_type: power_profile::EDITION_2011 },
        TlvKind::Organization { id: power_profile::ORGANIZATION_ID, sub_type: power_profile::EDITION_2017 },
    ],
    name: "IEEE C37.238",
    how: How::Every,
};

const fn each_second(of: Interval) -> Want {
    Want::Interval { of, default: Some(0), allowed: Some((0, 0)) }
}

pub(super) const C37_238: Profile = Profile {
    name: "c37-238",
    title: "IEEE C37.238 power profile (2011, 2017)",
    rows: &[
        VERSION_2,
        verified(
            Want::Domain { default: &[0, 254], allowed: None },
            "IEEE C37.238: 254 (2017) as a second maker's public reference gives it, 0 (2011) from memory",
        ),
        SDO_0,
        from_memory(Want::Transport(ETHERNET), MEMORY),
        from_memory(
            Want::PcpWhereTagged(4),
            "IEEE C37.238-2011, from memory; the tag is optional since 2017",
        ),
        from_memory(Want::DelayMechanism(P2P), MEMORY),
        from_memory(each_second(Interval::Announce), MEMORY),
        from_memory(each_second(Interval::Sync), MEMORY),
        from_memory(each_second(Interval::PdelayReq), MEMORY),
        unsure(
            Want::NotOnTheWire {
                item: "announceReceiptTimeout",
                default: "2011: 2 intervals for preferred grandmasters, 3 for others; 2017: 3",
                allowed: "fixed",
            },
            MEMORY,
        ),
        from_memory(Want::Announced { field: Field::Priority1, default: &[128, 255], allowed: &[] }, MEMORY),
        from_memory(Want::Announced { field: Field::Priority2, default: &[128, 255], allowed: &[] }, MEMORY),
        from_memory(
            EDITION_TLV,
            "IEEE C37.238-2011 and -2017: layouts as in an open-source implementation, that it is mandatory from memory",
        ),
        unsure(
            Want::Carries {
                kind: Kind::Announce,
                tlvs: &[TlvKind::Standard(types::ALTERNATE_TIME_OFFSET_INDICATOR)],
                name: "ALTERNATE_TIME_OFFSET_INDICATOR",
                how: How::Every,
            },
            "IEEE C37.238-2011, from memory; not mandatory in 2017",
        ),
    ],
    signature: &[Want::Transport(ETHERNET), Want::DelayMechanism(P2P), Want::SdoId(&[0]), EDITION_TLV],
};
