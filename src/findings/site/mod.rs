//! What a site file expects, held against the capture.

pub(super) mod site_domain_differs;
pub(super) mod view;

mod site_device_missing;
mod site_device_not_on_clock;
mod site_leader_differs;
mod site_next_differs;
pub(super) mod site_offset_exceeded;
mod site_profile_differs;
mod site_version_differs;

use super::Rule;

/// The rules of this group, in the order of the output.
pub(super) static RULES: &[&dyn Rule] = &[
    &site_domain_differs::SiteDomainDiffers,
    &site_version_differs::SiteVersionDiffers,
    &site_device_not_on_clock::SiteDeviceNotOnClock,
    &site_device_missing::SiteDeviceMissing,
    &site_leader_differs::SiteLeaderDiffers,
    &site_offset_exceeded::SiteOffsetExceeded,
    &site_profile_differs::SiteProfileDiffers,
    &site_next_differs::SiteNextDiffers,
];
