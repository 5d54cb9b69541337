//! Reads packet captures from audio/video-over-IP networks and says whether the network's clock is healthy.
#![cfg_attr(
    test,
    allow(
        clippy::unwrap_used,
        clippy::expect_used,
        clippy::indexing_slicing,
        clippy::panic,
        clippy::as_conversions,
        clippy::float_cmp
    )
)]

pub mod analysis;
pub mod arp;
pub mod avtp;
pub mod bytes;
pub mod capture;
pub mod clock;
pub mod compare;
pub mod devices;
pub mod dhcp;
pub mod dns;
pub mod domains;
pub mod export;
pub mod findings;
pub mod fit;
pub mod frame;
pub mod igmp;
pub mod lldp;
mod membership;
pub mod mld;
pub mod multicast;
pub mod names;
mod nearest;
pub mod observations;
pub mod profiles;
pub mod pseudonyms;
pub mod ptp;
pub mod report;
pub mod rtp;
pub mod rtsp;
pub mod sap;
pub mod sdp;
pub mod site;
pub mod statistics;
pub mod streams;
mod strength;
pub mod tables;
pub mod timeline;
pub mod timing;
pub mod units;
pub mod viewpoint;
