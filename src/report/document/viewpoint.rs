//! `viewpoint` of the report.

use schemars::JsonSchema;
use serde::Serialize;

use super::StrengthName;

/// Where the captures were taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[allow(missing_docs, reason = "described at viewpoint::Seat")]
pub enum SeatName {
    AtLeader,
    AtFollower,
    Mirror,
    Access,
    Unknown,
}

/// Where the captures were taken, and what cannot be seen from there.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct ViewpointDocument {
    /// The place.
    pub kind: SeatName,
    /// How firmly that is said.
    pub strength: StrengthName,
    /// What shows it; where it is unknown, what was seen and does not suffice.
    pub shown_by: Vec<String>,
    /// What is out of view there, or was not captured: its absence is no evidence.
    pub cannot_see: Vec<String>,
}
