//! Measured series of an analysis, for plots and tables of samples. The [`Document`](super::Document) holds what can be
//! said in a figure; this holds what has to be drawn. Times are seconds from the first frame.

use serde::Serialize;

/// Every series.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Series {
    /// First instant that was looked at.
    pub from_s: f64,
    /// Latest instant that was looked at.
    pub until_s: f64,
    /// Time in each domain, in the document's order.
    pub domains: Vec<DomainSeries>,
    /// What the link carried.
    pub load: LoadSeries,
    /// Losses in a row, all of them; near ones of a stream that has many together.
    pub losses: Vec<LossMark>,
    /// How many losses in a row there were, with those of which it is not known when.
    pub loss_bursts: u64,
    /// Packets that were lost, in a row or not.
    pub lost: u64,
    /// Times in which nothing at all was captured.
    pub holes: Vec<HoleMark>,
}

/// A time in which nothing was captured, though others would have come.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct HoleMark {
    /// The last frame before it.
    pub from_s: f64,
    /// The first frame after it.
    pub until_s: f64,
}

/// Time in a domain. A series is `None` where it has no sample.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct DomainSeries {
    /// The domain's key.
    pub domain: String,
    /// The port whose Syncs and answers the samples are of; `None` without any.
    pub port: Option<String>,
    /// Clocks that offered themselves beside the leader.
    pub rivals: Vec<RivalSpan>,
    /// The same of other clocks that led or were rivals, the longest series first; at most [`OTHERS_KEPT`].
    pub others: Vec<PortSeries>,
    /// Such clocks' ports that found no room there.
    pub others_left_out: Vec<String>,
    /// Capture's clock less the leader's: from exchanges, or from Syncs alone, with the way from the leader in it.
    pub offset: Option<SampleSeries>,
    /// Whether the offset is from Syncs alone.
    pub is_one_way: bool,
    /// `meanPathDelay` between leader and capture point.
    pub path_delay: Option<SampleSeries>,
    /// Jumps of time.
    pub steps: Vec<StepMark>,
    /// Times between the leader's Syncs, in order.
    pub sync_intervals: Vec<IntervalClass>,
}

/// Ports besides the leader's own whose samples are kept for a picture (chosen: more lines cannot be told apart).
pub const OTHERS_KEPT: usize = 3;

/// A clock that offered itself beside a better one that led.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RivalSpan {
    /// The clock.
    pub clock: String,
    /// The one that led.
    pub leader: String,
    /// Its first offer beside it.
    pub from_s: f64,
    /// Its latest.
    pub until_s: f64,
}

/// Samples of one port.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PortSeries {
    /// The port.
    pub port: String,
    /// Capture's clock less its.
    pub offset: Option<SampleSeries>,
    /// Whether that is from Syncs alone.
    pub is_one_way: bool,
    /// `meanPathDelay` between it and the capture point.
    pub path_delay: Option<SampleSeries>,
}

/// Times that are not told apart, and how often one of them occurs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct IntervalClass {
    /// The smallest, ns.
    pub from_ns: i64,
    /// The largest, ns: the same while every time is kept one by one.
    pub to_ns: i64,
    /// How often.
    pub times: u64,
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
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct LoadSeries {
    /// Where the first bin begins; before the capture's first frame, as bins are aligned to the capture's clock.
    pub first_s: f64,
    /// The width of a bin; 0 without any.
    pub width_s: f64,
    /// The link's speed, b/s.
    pub speed_bps: f64,
    /// All frames, b/s on the wire. The first and the last bin are cut by the ends of the capture.
    pub link_bps: Vec<f64>,
    /// The fullest second, which a wider bin levels; `None` where less time passed.
    pub peak_1s: Option<PeakMark>,
    /// The streams of each source, the fullest source first. What is missing to the link is no stream.
    pub sources: Vec<SourceSeries>,
}

/// The fullest second.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct PeakMark {
    /// When it begins, or the first frame is in it.
    pub at_s: f64,
    /// What it carried, b/s.
    pub bps: f64,
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

/// Packets that were missing in a row, once or several times close to one another.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LossMark {
    /// When the packet after the first loss came.
    pub at_s: f64,
    /// When the packet after the last loss came; the same where it is one.
    pub until_s: f64,
    /// The stream's key.
    pub stream: String,
    /// How many losses they are.
    pub bursts: u64,
    /// How many packets are missing in all of them.
    pub missing: u64,
}
