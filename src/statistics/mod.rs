//! Statistics over plain integers. Nothing here knows PTP or chooses a threshold; too few values give `None`.

mod distribution;

pub use distribution::{Distribution, Summary};
