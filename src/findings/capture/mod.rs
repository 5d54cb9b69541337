//! What the capture itself is like, where that limits what else is said.

mod capture_clock_step;
mod capture_drops;
mod capture_too_short;
mod coarse_timestamps;
mod mirror_duplicates;
mod too_many_identities;

use super::Rule;

/// The rules of this group, in the order of the output.
pub(super) static RULES: &[&dyn Rule] = &[
    &capture_drops::CaptureDrops,
    &capture_clock_step::CaptureClockStep,
    &mirror_duplicates::MirrorDuplicates,
    &coarse_timestamps::CoarseTimestamps,
    &capture_too_short::CaptureTooShort,
    &too_many_identities::TooManyIdentities,
];
