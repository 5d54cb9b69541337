//! IEEE 1588-2002, which knows one set of defaults and no profiles.

use super::E2E;
use super::UDP4;
use crate::domains::Kind;
use crate::profiles::row::Field;
use crate::profiles::row::Interval;
use crate::profiles::row::Profile;
use crate::profiles::row::Want;
use crate::profiles::row::from_memory;
use crate::profiles::row::unsure;
use crate::profiles::row::verified;

const OPEN_V1: &str = "IEEE 1588-2002: as in an open-source implementation";

pub(super) const PTP_V1: Profile = Profile {
    name: "ptp-v1",
    title: "IEEE 1588-2002 (PTP version 1) defaults",
    rows: &[
        verified(Want::Version(1), OPEN_V1),
        verified(Want::Subdomain("_DFLT"), OPEN_V1),
        verified(Want::Transport(UDP4), OPEN_V1),
        verified(Want::Cast { of: Kind::Sync, multicast: true }, OPEN_V1),
        verified(Want::DelayMechanism(E2E), OPEN_V1),
        from_memory(
            Want::Interval { of: Interval::Sync, default: Some(1), allowed: Some((-2, 4)) },
            "IEEE 1588-2002: default as in an open-source implementation; audio and video systems deploy -2 to -1 \
             (common practice, no source), 0 to 4 from memory",
        ),
        unsure(
            Want::Interval { of: Interval::Sync, default: None, allowed: Some((0, 4)) },
            "IEEE 1588-2002, from memory; audio and video systems deploy shorter ones",
        ),
        verified(Want::Announced { field: Field::Stratum, default: &[4, 255], allowed: &[] }, OPEN_V1),
        verified(Want::Ttl(1), OPEN_V1),
        verified(
            Want::NotOnTheWire {
                item: "Sync receipt timeout",
                default: "10 Sync intervals",
                allowed: "fixed",
            },
            OPEN_V1,
        ),
        verified(
            Want::NotOnTheWire {
                item: "spacing of Delay_Req",
                default: "a random count of Syncs, 2 to 29; the first after 4 to 7",
                allowed: "fixed",
            },
            OPEN_V1,
        ),
    ],
    signature: &[Want::Version(1)],
};
