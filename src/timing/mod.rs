//! Timing arithmetic on exact integers in units of 2⁻¹⁶ ns: from time stamps and corrections to offsets, delays and
//! rates. Pure functions and small accumulators; nothing here sees a packet.
//!
//! Symbols as everywhere in this module: C is the capture's clock and G the leader's; t1 is a Sync's send time on G,
//! t2 its capture time on C, t3 the capture time of a Delay_Req on C and t4 its receipt on G. θ = C − G, positive
//! where the capture's clock is ahead.

mod follower;
mod interval;
mod jitter;
mod media;
mod minimum;
mod offset;
mod peer;
mod rate;
mod scaled;
mod series;
mod step;
mod timescale;

pub use follower::{
    FollowerOffset, HARDWARE_SPREAD_LIMIT, HARDWARE_UNCERTAINTY, SOFTWARE_UNCERTAINTY,
    follower_offset_from_request, follower_offset_from_response, stamping_uncertainty,
};
pub use interval::{FOREIGN_MASTER_TIME_WINDOW, announce_receipt_timeout, foreign_master_time_window};
pub use jitter::{InterarrivalJitter, delay_variation, inter_packet_delay_variation};
pub use media::{RtpUnwrapper, media_time, rtp_timestamp};
pub use minimum::{LEAST_WINDOW_SAMPLES, combine, window_minima};
pub use offset::{TwoWay, delay_from_request, delay_to_capture};
pub use peer::{LinkDelay, Turnaround};
pub use rate::RateRatio;
pub use scaled::ScaledNanos;
pub use series::{DEFAULT_LIMIT, Series};
pub use step::{Step, Stepped, find_steps, origin_step, who_stepped};
pub use timescale::{TAI_MINUS_UTC, TIMESCALE_TOLERANCE, Timescales, tai_minus_utc_at, timescales};
