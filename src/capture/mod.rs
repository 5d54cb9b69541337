//! Capture files to records. A record is octets with a time; nothing here looks inside a frame.

mod record;

pub use record::{CaptureSummary, Compression, Damage, FileFormat, LinkType, Record};
