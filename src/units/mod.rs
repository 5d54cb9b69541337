//! Quantities with their unit in the type. Arithmetic is exact; floating point begins in the report.

mod address;
mod interval;
mod multicast;
mod rate;
mod time;

pub use address::MacAddress;
pub use interval::{LogInterval, TimeInterval};
pub use multicast::multicast_mac;
pub use rate::{BitsPerSecond, wire_bits, wire_octets};
pub use time::{CaptureTime, NANOS_PER_SECOND, Nanos, Timestamp};
