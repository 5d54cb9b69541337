//! `devices` of the report.

use schemars::JsonSchema;
use serde::Serialize;

use super::Absent;
use super::DeviceOffsetDocument;

/// A device.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct DeviceDocument {
    /// Names it in the report.
    pub key: String,
    /// What it calls itself; `null` where it was not heard to say. Text from the network, as it came.
    pub name: Option<String>,
    /// Where the name comes from: `site-file`, `mdns`, `lldp` or `dhcp`.
    pub named_by: Option<&'static str>,
    /// Not worked out by this version.
    pub vendor_prefix: Absent,
    /// MAC addresses it sent PTP from; by ARP and its like where that has none.
    pub macs: Vec<String>,
    /// IP addresses it sent PTP from, and those that its MAC address claims.
    pub ips: Vec<String>,
    /// Its clocks.
    pub clocks: Vec<String>,
    /// Keys of the domains it takes part in.
    pub domains: Vec<String>,
    /// The grandmaster of the domain that its state speaks of.
    pub leader: Option<String>,
    /// What it does.
    pub state: StateName,
    /// How firmly that is said.
    pub strength: StrengthName,
    /// Why.
    pub reasons: Vec<String>,
    /// Its clock less its leader's, on the best basis there is; `null` where its messages do not tell.
    pub offset_ns: Option<DeviceOffsetDocument>,
    /// How much faster its media clock runs than the leader's; of several streams the one farthest off. `null` where it
    /// sends none, or the capture is too short to tell.
    pub media_rate_ppm: Option<f64>,
}

/// A state's name.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[allow(missing_docs, reason = "described at devices::State")]
pub enum StateName {
    Leading,
    Relaying,
    Following,
    StandingBy,
    Rival,
    Unanswered,
    Astray,
    Adrift,
    Unclocked,
    Unproven,
}

/// How firmly something is said.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[allow(missing_docs, reason = "described at devices::Strength")]
pub enum StrengthName {
    Shown,
    Inferred,
    CannotTell,
}
