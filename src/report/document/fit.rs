//! The answer of `downbeat fit`, `downbeat.fit/1`.

use schemars::JsonSchema;
use serde::Serialize;

use super::LinkDocument;

/// The `schema` of this document.
pub const FIT_SCHEMA: &str = "downbeat.fit/1";

/// Whether what is planned fits on the captured link.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(title = "downbeat.fit/1", deny_unknown_fields)]
pub struct FitDocument {
    /// Always `downbeat.fit/1`.
    pub schema: &'static str,
    /// The files that were read, in time order.
    pub files: Vec<String>,
    /// The link now.
    pub link: LinkDocument,
    /// Fraction of the link that has to stay free.
    pub keep_free: f64,
    /// What is planned.
    pub planned: Vec<PlannedDocument>,
    /// How long the network was watched: the capture's length without the link's `holes`.
    pub duration_s: f64,
    /// Whether that is less than a minute (chosen): fuller seconds may lie outside it.
    pub is_short: bool,
    /// Mean load now, as a fraction of the link's speed.
    pub load_now_mean: f64,
    /// Load in the fullest second now; no less than the mean.
    pub load_now_peak_1s: f64,
    /// Mean load with what is planned.
    pub load_then_mean: f64,
    /// Load where what is planned meets the fullest second of now.
    pub load_then_peak_1s: f64,
    /// What may be used of the link: its speed less what has to stay free.
    pub usable_bps: u64,
    /// Mean rate with what is planned; fits where it is no more than `usable_bps`.
    pub mean_then_bps: u64,
    /// Rate where what is planned meets the fullest second of now.
    pub peak_1s_then_bps: u64,
    /// What is free of the link then, on average; below 0 where it is overfull.
    pub free_then: f64,
    /// Load of the fullest millisecond with what is planned.
    pub load_then_peak_1ms: f64,
    /// `fits` (also at exactly what may be used), `only-if-peaks-do-not-meet`, `does-not-fit`, or `cannot-tell` where the
    /// capture holds no whole second.
    pub answer: &'static str,
    /// How that was worked out, line by line.
    pub arithmetic: Vec<String>,
    /// What the answer does not know.
    pub caveats: Vec<String>,
}

/// Streams that are planned.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct PlannedDocument {
    /// What they are called.
    pub name: String,
    /// How many.
    pub count: u32,
    /// What each takes on the wire.
    pub rate_bps: u64,
    /// `in` or `out` of this link; `null` where that was not said, and then it counts for both.
    pub direction: Option<&'static str>,
}
