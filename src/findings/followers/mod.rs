//! How devices follow.

mod boundary_clock_offset;
mod delay_request_stops;
mod device_adrift;
mod follower_deaf;
mod follower_hunting;
mod follower_restarts;
mod follower_takes_over;

use super::Rule;

/// The rules of this group, in the order of the output.
pub(super) static RULES: &[&dyn Rule] = &[
    &device_adrift::DeviceAdrift,
    &follower_deaf::FollowerDeaf,
    &follower_takes_over::FollowerTakesOver,
    &delay_request_stops::DelayRequestStops,
    &follower_restarts::FollowerRestarts,
    &boundary_clock_offset::BoundaryClockOffset,
    &follower_hunting::FollowerHunting,
];
