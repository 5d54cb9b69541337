//! Statistics over plain integers. Nothing here knows PTP or chooses a threshold; too few values give `None`.
//!
//! Inputs are exact and carry their unit in the name; results in floating point do too.

mod course;
mod distribution;
mod even;
mod line;
mod order;
mod rate;
mod run;
mod short;
mod stability;
mod time_error;

pub use distribution::{Distribution, Summary};
pub use even::{EvenSeries, Uneven};
pub use line::{
    LowerEnvelope, Point, Slope, THEIL_SEN_LIMIT, interpolate, least_squares, lower_envelope, near_slope_ppm,
    theil_sen, thin, without_slope,
};
pub use order::{
    OrderStatistics, median, median_absolute_deviation, median_absolute_deviation_scaled_ns,
    order_statistics, quantile,
};
pub use rate::{Peak, Rate, RateWidth};
pub use run::Run;
pub use stability::{
    ALLAN_RECORD_PARTS, FrequencyDeviation, LEAST_TERMS, MODIFIED_RECORD_PARTS, TimeDeviation, adev, hdev,
    mdev, oadev, octaves, ohdev, tdev, totdev,
};
pub use time_error::{Mtie, TimeError, mtie, mtie_octaves, time_error};
