//! `captures` of the report.

use schemars::JsonSchema;
use serde::Serialize;

/// A file that was read.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct CaptureDocument {
    /// As it was named.
    pub file: String,
    /// `pcap` or `pcapng`.
    pub format: &'static str,
    /// `gzip` or `zstd`.
    pub compression: Option<&'static str>,
    /// Records read.
    pub packets: u64,
    /// Sum of their lengths on the wire, as captured.
    pub octets: u64,
    /// Earliest stamp, RFC 3339 of the capture's clock.
    pub first: Option<String>,
    /// Latest stamp.
    pub last: Option<String>,
    /// From the one to the other.
    pub duration_s: Option<f64>,
    /// Step of the stamps.
    pub resolution_ns: Option<i64>,
    /// Records of which fewer octets were kept than were on the wire.
    pub snapped: u64,
    /// The most octets that were kept of one of those; `null` where there is none.
    pub snapped_to: Option<u32>,
    /// Frames whose headers or PTP message could not be read as they should.
    pub undecodable: u64,
    /// Why those could not.
    pub problems: Vec<ProblemDocument>,
    /// Stamps earlier than the one before on the same interface.
    pub time_backsteps: u64,
    /// Frames that end with their check sequence though the file does not say so: rates count it once.
    pub undeclared_frame_checks: u64,
    /// Frames the capturing machine says it lost.
    pub drops_reported: Option<u64>,
    /// Link types, as the capture formats number them.
    pub link_types: Vec<u16>,
    /// What could not be read of the file.
    pub damage: Vec<DamageDocument>,
}

/// A reason why frames could not be read.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct ProblemDocument {
    /// The reason.
    pub text: String,
    /// Frames it was met in.
    pub count: u64,
    /// The first of them.
    pub first_frame: u64,
}

/// Damage to a file.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct DamageDocument {
    /// Octets from the start of the (unpacked) capture.
    pub offset: u64,
    /// What was found, and what was done.
    pub text: String,
}
