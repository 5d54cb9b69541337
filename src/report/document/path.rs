//! `domains[].path`, `domains[].profiles` and `devices[].offset_ns` of the report.

use schemars::JsonSchema;
use serde::Serialize;

use super::SpreadDocument;

/// The capture's clock against a domain's leader.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct PathDocument {
    /// The port whose Syncs were used.
    pub port: String,
    /// Whether that is a boundary clock's port and not the leader's own: what that clock is off by is in the offset.
    pub is_relayed: bool,
    /// The stretch that all values are of, where time jumped; `null` where they are of the whole capture.
    pub stretch: Option<StretchDocument>,
    /// Exchanges used: requests with their answers. 0 where the delay is in the offset.
    pub exchanges: u64,
    /// Capture's clock less the leader's; with a one-way basis the delay to the capture point is in it.
    pub offset_ns: SpreadDocument,
    /// The offset by the exchanges with the shortest way, rate taken out, at the middle of the capture; `null` below
    /// 16 exchanges.
    pub offset_at_least_delay_ns: Option<i64>,
    /// `same`, `capture-utc-leader-tai`, `capture-tai-leader-utc` or `unrelated`.
    pub timescales: &'static str,
    /// The median offset less whole leap seconds where the timescales differ by those; `null` where unrelated.
    pub residual_offset_ns: Option<i64>,
    /// `meanPathDelay` between that port and the capture point; `null` where no exchange was seen, or it is too small to
    /// be told from none.
    pub mean_path_delay_ns: Option<SpreadDocument>,
    /// Whether it is too small to be told from none in three exchanges or more: captured at that port.
    pub at_leader: bool,
    /// How much faster the capture's clock runs than the leader's; which of the two is wrong is not told.
    pub rate_ppm: Option<f64>,
    /// Standard error of that.
    pub rate_sigma_ppm: Option<f64>,
    /// Whether the rate is more than three standard errors from 0; `null` without one.
    pub rate_is_seen: Option<bool>,
    /// Slope of the lower edge of the one-way delays.
    pub envelope_ppm: Option<f64>,
    /// Change of the one-way delay from Sync to Sync, without sign (IPDV, RFC 3393).
    pub sync_jitter_ns: Option<SpreadDocument>,
    /// One-way delay above the smallest, rate taken out (PDV, RFC 5481).
    pub delay_variation_ns: Option<SpreadDocument>,
    /// Stability of the one-way series by averaging time; empty where too little or too much is missing.
    pub stability: Vec<StabilityDocument>,
    /// What it was worked out of, and what cannot be told apart.
    pub basis: String,
}

/// A stretch of the capture.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct StretchDocument {
    /// Its beginning, seconds from the first frame.
    pub from_at_s: f64,
    /// Its end.
    pub until_at_s: f64,
}

/// Stability at one averaging time. A measure is `null` where the record is too short for it.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct StabilityDocument {
    /// Averaging time.
    pub tau_s: f64,
    /// Allan deviation.
    pub adev: Option<f64>,
    /// Modified Allan deviation.
    pub mdev: Option<f64>,
    /// Time deviation.
    pub tdev_ns: Option<f64>,
    /// Maximum time interval error.
    pub mtie_ns: Option<f64>,
}

/// A port that answers peer-delay requests, as the capture point sees it.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct PeerDocument {
    /// The port.
    pub port: String,
    /// Answered requests.
    pub exchanges: u64,
    /// How long it held an exchange, by its own clock.
    pub turnaround_ns: Option<SpreadDocument>,
    /// Delay between the capture point and it; its rate is taken into account where that is seen.
    pub link_delay_ns: Option<SpreadDocument>,
    /// How much faster its clock runs than the capture's.
    pub rate_ppm: Option<f64>,
    /// Standard error of that.
    pub rate_sigma_ppm: Option<f64>,
}

/// How a domain agrees with a profile.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct ProfileDocument {
    /// The profile.
    pub name: &'static str,
    /// Whether nothing seen speaks against it and enough was seen.
    pub fits: bool,
    /// Whether enough was seen to say so at all.
    pub seen_enough: bool,
    /// What speaks against it.
    pub deviations: Vec<DeviationDocument>,
}

/// One point in which a domain differs from a profile.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct DeviationDocument {
    /// What.
    pub item: String,
    /// What was seen.
    pub seen: String,
    /// What the profile lays down.
    pub expected: String,
    /// Where it lays that down.
    pub source: &'static str,
    /// `verified`, `from-memory` or `unsure`.
    pub confidence: &'static str,
}

/// A device's clock less its leader's.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct DeviceOffsetDocument {
    /// 50th percentile.
    pub median: i64,
    /// 5th percentile.
    pub p5: i64,
    /// 95th percentile.
    pub p95: i64,
    /// Samples.
    pub count: u64,
    /// `management`, `peer-delay`, `downstream-sync` or `request-origin`.
    pub basis: &'static str,
    /// How far the truth may be from the median: stamping latency and path.
    pub uncertainty_ns: i64,
    /// How much faster its clock runs than the leader's.
    pub rate_ppm: Option<f64>,
    /// Standard error of that.
    pub rate_sigma_ppm: Option<f64>,
}
