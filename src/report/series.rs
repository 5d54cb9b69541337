//! Measured series of an analysis, for plots and tables of samples. The [`Document`](super::Document) holds what can be
//! said in a figure; this holds what has to be drawn. Times are seconds from the first frame.

use serde::Serialize;

/// Every series.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Series {
    /// First instant that was looked at.
    pub from_s: f64,
    /// Latest instant that was looked at.
    pub until_s: f64,
    /// Time in each domain, in the document's order.
    pub domains: Vec<DomainSeries>,
    /// What the link carried.
    pub load: LoadSeries,
    /// Losses in a row, the first few of each stream.
    pub losses: Vec<LossMark>,
}

/// Time in a domain. A series is `None` where it has no sample.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DomainSeries {
    /// The domain's key.
    pub domain: String,
    /// Capture's clock less the leader's: from exchanges, or from Syncs alone, with the way from the leader in it.
    pub offset: Option<SampleSeries>,
    /// Whether the offset is from Syncs alone.
    pub is_one_way: bool,
    /// `meanPathDelay` between leader and capture point.
    pub path_delay: Option<SampleSeries>,
    /// Jumps of time.
    pub steps: Vec<StepMark>,
    /// Times between the leader's Syncs, ns, each with how often it occurs; in order.
    pub sync_intervals: Vec<(i64, u64)>,
}

/// Samples over time: all of them, or an even draw with the lowest and highest of every stretch.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SampleSeries {
    /// Samples taken; those kept may be fewer.
    pub taken: u64,
    /// What every value is told from, ns: the median. Whole, so that values near it keep their fractions.
    pub base_ns: i64,
    /// 5th percentile less the base, ns.
    pub p5_ns: f64,
    /// 95th percentile less the base, ns.
    pub p95_ns: f64,
    /// In order of time.
    pub samples: Vec<Sample>,
}

/// A sample.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Sample {
    /// When.
    pub at_s: f64,
    /// What, less its series' base, ns.
    pub value_ns: f64,
    /// Whether it is of the even draw; else it is kept as the lowest or highest of its stretch, and counts in no share.
    pub is_drawn: bool,
}

/// A jump of time.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct StepMark {
    /// The first Sync after it.
    pub at_s: f64,
    /// How far "capture less leader" jumped, ns.
    pub size_ns: f64,
    /// Whose time it was: `leader`, `capture` or `cannot-tell`.
    pub whose: &'static str,
}

/// What the link carried, in bins of equal width.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LoadSeries {
    /// Where the first bin begins; before the capture's first frame, as bins are aligned to the capture's clock.
    pub first_s: f64,
    /// The width of a bin; 0 without any.
    pub width_s: f64,
    /// The link's speed, b/s.
    pub speed_bps: f64,
    /// All frames, b/s on the wire. The first and the last bin are cut by the ends of the capture.
    pub link_bps: Vec<f64>,
    /// The streams of each source, the fullest source first. What is missing to the link is no stream.
    pub sources: Vec<SourceSeries>,
}

/// What a source sent.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SourceSeries {
    /// Its address, or the stream's key where that has none.
    pub source: String,
    /// Key of the device.
    pub device: Option<String>,
    /// Its streams together, b/s on the wire.
    pub bps: Vec<f64>,
}

/// Packets that were missing in a row.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LossMark {
    /// When the next one came.
    pub at_s: f64,
    /// The stream's key.
    pub stream: String,
    /// How many.
    pub missing: u64,
}
