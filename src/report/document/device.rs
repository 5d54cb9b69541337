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
    /// What it is called, untrusted text; `null` where nobody says.
    pub name: Option<String>,
    /// Where the name comes from: `site-file`.
    pub named_by: Option<&'static str>,
    /// Not worked out by this version.
    pub vendor_prefix: Absent,
    /// MAC addresses it sent from.
    pub macs: Vec<String>,
    /// IP addresses it sent from.
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
    /// Not worked out by this version.
    pub media_rate_ppm: Absent,
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
