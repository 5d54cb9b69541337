//! The site file: what the user expects of the site's clock, link and devices, and what devices are called.
//!
//! The text is TOML. Every wrong line is told with its number, the key and, for a key that is not known, the nearest
//! one that is; nothing is guessed or passed over.

mod expectations;
mod problem;
mod read;
mod section;
mod value;

pub(crate) use expectations::same_clock;
pub use expectations::{
    ClockExpectations, Direction, LinkExpectations, ListedDevice, PlannedLoad, PtpVersion, Site, WantedDomain,
};
pub use problem::Problem;
pub use read::parse;
pub use value::{clock, duration, mac, millionths, rate};
