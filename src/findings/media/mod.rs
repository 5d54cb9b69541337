//! Media streams: their clocks, their descriptions, their packets.

mod follower_silent;
mod format_or_rate_mismatch;
mod media_clock_rate_off;
mod packet_spacing_bursty;
mod rtp_loss_or_reorder;
mod rtp_offset_not_from_ptp;
mod rtp_timestamp_step;
mod session_description_clock_mismatch;
mod session_without_stream;

use super::Rule;
use crate::sdp::MediaClock;
use crate::streams::Stream;

/// The rules of this group, in the order of the output.
pub(super) static RULES: &[&dyn Rule] = &[
    &media_clock_rate_off::MediaClockRateOff,
    &follower_silent::FollowerSilent,
    &rtp_offset_not_from_ptp::RtpOffsetNotFromPtp,
    &session_description_clock_mismatch::SessionDescriptionClockMismatch,
    &format_or_rate_mismatch::FormatOrRateMismatch,
    &rtp_timestamp_step::RtpTimestampStep,
    &rtp_loss_or_reorder::RtpLossOrReorder,
    &packet_spacing_bursty::PacketSpacingBursty,
    &session_without_stream::SessionWithoutStream,
];

/// Whether a stream's description says that its clock is PTP's.
fn claims_ptp(stream: &Stream) -> bool {
    stream.described.as_ref().is_some_and(|described| {
        let direct = matches!(described.media_clock, Some(MediaClock::Direct { .. }));
        described.reference.is_some() && (direct || described.media_clock.is_none())
    })
}
