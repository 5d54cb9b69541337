//! A report as it is read back: what comparing needs of it. Keys that a report lacks are absent knowledge.

use serde::Deserialize;
use serde_json::Value;

use crate::report::Document;
use crate::report::SCHEMA;

/// A report, read back.
#[derive(Debug, Clone, Deserialize)]
pub struct Report {
    pub(super) captures: Vec<Value>,
    pub(super) verdict: String,
    #[serde(default)]
    pub(super) verdict_because: String,
    pub(super) viewpoint: Viewpoint,
    pub(super) span: Option<Span>,
    pub(super) domains: Vec<Domain>,
    pub(super) devices: Vec<Device>,
    pub(super) streams: Option<Vec<Stream>>,
    pub(super) findings: Vec<Finding>,
}

#[derive(Debug, Clone, Deserialize)]
pub(super) struct Viewpoint {
    pub(super) kind: String,
}

#[derive(Debug, Clone, Deserialize)]
pub(super) struct Span {
    pub(super) duration_s: Option<f64>,
    pub(super) ptp_messages: u64,
}

#[derive(Debug, Clone, Deserialize)]
pub(super) struct Domain {
    pub(super) key: String,
    pub(super) leader: Option<String>,
    #[serde(default)]
    pub(super) tenures: Vec<Value>,
    #[serde(default)]
    pub(super) succession: Vec<String>,
    #[serde(default)]
    pub(super) clocks: Vec<Clock>,
    #[serde(default)]
    pub(super) requesters: Vec<Requester>,
    pub(super) answers: Option<Answers>,
    pub(super) path: Option<Path>,
    #[serde(default)]
    pub(super) profiles: Vec<Profile>,
}

#[derive(Debug, Clone, Deserialize)]
pub(super) struct Clock {
    pub(super) clock: String,
    pub(super) port: u16,
    pub(super) grandmaster: Option<String>,
    pub(super) steps_removed: Option<u64>,
    pub(super) priority1: Option<u64>,
    pub(super) priority2: Option<u64>,
    pub(super) clock_class: Option<u64>,
    pub(super) clock_accuracy: Option<u64>,
    pub(super) variance: Option<i64>,
    pub(super) preferred: Option<bool>,
    pub(super) stratum: Option<u64>,
    pub(super) time_source: Option<u64>,
    pub(super) utc_offset_s: Option<i64>,
    #[serde(default)]
    pub(super) flags: Vec<String>,
    pub(super) two_step: Option<bool>,
    pub(super) announce: Option<Cadence>,
    pub(super) sync: Option<Cadence>,
}

#[derive(Debug, Clone, Deserialize)]
pub(super) struct Cadence {
    pub(super) declared_s: Option<f64>,
    pub(super) median_s: Option<f64>,
    pub(super) count: u64,
}

#[derive(Debug, Clone, Deserialize)]
pub(super) struct Requester {
    pub(super) port: String,
    pub(super) mechanism: String,
    pub(super) asked_for_s: Option<f64>,
}

#[derive(Debug, Clone, Deserialize)]
pub(super) struct Answers {
    pub(super) response_time_ns: Option<Spread>,
}

#[derive(Debug, Clone, Deserialize)]
pub(super) struct Path {
    pub(super) mean_path_delay_ns: Option<Spread>,
    pub(super) sync_jitter_ns: Option<Spread>,
    pub(super) delay_variation_ns: Option<Spread>,
}

/// Order statistics of a series.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
pub(super) struct Spread {
    pub(super) median: i64,
    pub(super) p5: i64,
    pub(super) p95: i64,
    pub(super) count: u64,
}

#[derive(Debug, Clone, Deserialize)]
pub(super) struct Profile {
    pub(super) name: String,
    pub(super) fits: bool,
    #[serde(default)]
    pub(super) seen_enough: bool,
    pub(super) deviations: Vec<Deviation>,
}

#[derive(Debug, Clone, Deserialize)]
pub(super) struct Deviation {
    pub(super) item: String,
    pub(super) seen: String,
    pub(super) expected: String,
}

#[derive(Debug, Clone, Deserialize)]
pub(super) struct Device {
    pub(super) key: String,
    pub(super) name: Option<String>,
    #[serde(default)]
    pub(super) ips: Vec<String>,
    #[serde(default)]
    pub(super) clocks: Vec<String>,
    pub(super) state: String,
    #[serde(default)]
    pub(super) reasons: Vec<String>,
    pub(super) offset_ns: Option<Offset>,
}

#[derive(Debug, Clone, Deserialize)]
pub(super) struct Offset {
    #[serde(flatten)]
    pub(super) spread: Spread,
    pub(super) basis: String,
    #[serde(default)]
    pub(super) uncertainty_ns: i64,
}

#[derive(Debug, Clone, Deserialize)]
pub(super) struct Stream {
    pub(super) key: String,
    pub(super) source_ip: Option<String>,
    pub(super) group: Option<String>,
    pub(super) port: Option<u16>,
    pub(super) vlan: Option<u16>,
    pub(super) kind: Option<String>,
    pub(super) codec: Option<String>,
    pub(super) mean_bps: Option<u64>,
    #[serde(default)]
    pub(super) dscp: Option<Value>,
    pub(super) clocked: Option<bool>,
}

#[derive(Debug, Clone, Deserialize)]
pub(super) struct Finding {
    pub(super) id: String,
    pub(super) severity: String,
    pub(super) domain: Option<String>,
    pub(super) device: Option<String>,
    pub(super) stream: Option<String>,
    pub(super) title: String,
}

impl Report {
    /// From a saved report.
    ///
    /// # Errors
    /// Where the text is no report of this kind.
    pub fn parse(text: &str) -> Result<Self, String> {
        let value: Value = serde_json::from_str(text).map_err(|error| format!("no JSON: {error}"))?;
        Self::from_value(value)
    }

    /// From a document in memory.
    ///
    /// # Errors
    /// Never for a document of this library; it takes the way of a saved report, so it has its errors.
    pub fn of(document: &Document) -> Result<Self, String> {
        let value = serde_json::to_value(document).map_err(|error| error.to_string())?;
        Self::from_value(value)
    }

    fn from_value(value: Value) -> Result<Self, String> {
        match value.get("schema").and_then(Value::as_str) {
            Some(SCHEMA) => {}
            Some(other) => return Err(format!("schema {other}; only {SCHEMA} can be compared")),
            None => {
                return Err(format!("no report: it has no schema; save one with --format json ({SCHEMA})"));
            }
        }
        if value.pointer("/span/partial") == Some(&Value::Bool(true)) {
            return Err("this report is of a part of its captures, as reading was stopped by hand; what is missing from it \
                        would be taken for a difference"
                .to_owned());
        }
        serde_json::from_value(value).map_err(|error| format!("no whole report: {error}"))
    }

    /// Whether there is no PTP in it at all.
    #[must_use]
    pub fn is_without_ptp(&self) -> bool {
        self.span.as_ref().map_or(self.domains.is_empty(), |span| span.ptp_messages == 0)
    }

    /// Step of the coarsest stamps; 1 µs, classic pcap's, where a file does not say.
    pub(super) fn resolution_ns(&self) -> i64 {
        let steps = self
            .captures
            .iter()
            .map(|file| file.get("resolution_ns").and_then(Value::as_i64).unwrap_or(1000));
        steps.max().unwrap_or(1000)
    }
}
