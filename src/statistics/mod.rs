//! Statistics over plain integers. Nothing here knows PTP or chooses a threshold; too few values give `None`.

mod distribution;
mod rate;

pub use distribution::{Distribution, Summary};
pub use rate::{Peak, Rate, RateWidth};
