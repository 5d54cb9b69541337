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
    /// Ports of switches that sent LLDP to the place: with one, the capture hangs on it; several came through a mirror.
    pub switch_ports: Vec<SwitchPortDocument>,
}

/// A switch's port, as the switch names it in LLDP. Text from the network, as it came.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct SwitchPortDocument {
    /// Where its messages come from.
    pub mac: String,
    /// The switch's name.
    pub system: Option<String>,
    /// The port.
    pub port: Option<String>,
    /// What the port is described as.
    pub port_description: Option<String>,
}
