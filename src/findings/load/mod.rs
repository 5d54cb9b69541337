//! What the link carries, and what room it has.

mod broadcast_or_unknown_load;
mod link_near_full;
mod low_headroom_for_new_endpoints;
mod ptp_load_on_master;

use super::Rule;
use crate::analysis::Analysis;
use crate::fit::Now;
use crate::streams::SpeedKnownBy;
use crate::units::BitsPerSecond;
use crate::units::Nanos;

/// The rules of this group, in the order of the output.
pub(super) static RULES: &[&dyn Rule] = &[
    &link_near_full::LinkNearFull,
    &low_headroom_for_new_endpoints::LowHeadroomForNewEndpoints,
    &broadcast_or_unknown_load::BroadcastOrUnknownLoad,
    &ptp_load_on_master::PtpLoadOnMaster,
];

/// Above this share of its speed a link is near full, in per cent (common practice, no source).
const NEAR_FULL: u64 = 70;

/// A shorter capture's fullest second says little (chosen).
const LENGTH: Nanos = Nanos::from_seconds(10);

/// What the link carries, where the capture is long enough.
fn now(analysis: &Analysis) -> Option<Now> {
    Now::of(analysis).filter(|now| now.length >= LENGTH)
}

/// The fullest second of the fuller direction: what the station at whose port this is sends does not fill the other.
fn fullest(analysis: &Analysis, now: &Now) -> BitsPerSecond {
    let Some(own) = analysis.scope.station() else { return now.peak };
    let sent = analysis.wire.streams.iter().filter(|stream| stream.macs.contains(&own));
    let sent =
        sent.filter_map(|stream| stream.rate.mean()).fold(BitsPerSecond(0), BitsPerSecond::saturating_add);
    sent.max(BitsPerSecond(now.peak.0.saturating_sub(sent.0)))
}

/// Whether a second of the capture fills the link nearly.
fn is_near_full(analysis: &Analysis, now: &Now) -> bool {
    let peak = u128::from(fullest(analysis, now).0) * 100;
    peak > u128::from(now.speed.0) * u128::from(NEAR_FULL)
}

/// Whether the link's speed is no guess.
fn is_speed_known(now: &Now) -> bool {
    now.speed_known_by != SpeedKnownBy::Assumed
}

/// `12.3 Mb/s`.
fn mega(rate: BitsPerSecond) -> String {
    format!("{}.{} Mb/s", rate.0 / 1_000_000, rate.0 / 100_000 % 10)
}
