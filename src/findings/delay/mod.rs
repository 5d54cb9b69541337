//! Requests for delay, their answers, and the stamps in them.

mod correction_field_wrong;
mod delay_mechanism_mismatch;
mod delay_response_misaddressed;
mod delay_response_missing;
mod follow_up_missing;
mod follow_up_order_or_delay;
mod implausible_path_delay;
mod multicast_unicast_mismatch;
mod peer_delay_several_responders;
mod peer_response_out_of_time;
mod software_stamped_master;
mod two_step_flag_wrong;
mod zero_or_odd_origin;

use super::Rule;

/// The rules of this group, in the order of the output.
pub(super) static RULES: &[&dyn Rule] = &[
    &delay_response_missing::DelayResponseMissing,
    &delay_response_misaddressed::DelayResponseMisaddressed,
    &delay_mechanism_mismatch::DelayMechanismMismatch,
    &multicast_unicast_mismatch::MulticastUnicastMismatch,
    &zero_or_odd_origin::ZeroOrOddOrigin,
    &follow_up_missing::FollowUpMissing,
    &two_step_flag_wrong::TwoStepFlagWrong,
    &correction_field_wrong::CorrectionFieldWrong,
    &implausible_path_delay::ImplausiblePathDelay,
    &peer_delay_several_responders::PeerDelaySeveralResponders,
    &peer_response_out_of_time::PeerResponseOutOfTime,
    &follow_up_order_or_delay::FollowUpOrderOrDelay,
    &software_stamped_master::SoftwareStampedMaster,
];
