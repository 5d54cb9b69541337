//! `multicast` of the report.

use schemars::JsonSchema;
use serde::Serialize;

/// Who asks for which groups, and what the groups on the wire have to do with that.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct MulticastDocument {
    /// Addresses that send general queries, by VLAN.
    pub queriers: Vec<QuerierDocument>,
    /// Groups that were asked for or left, by VLAN.
    pub memberships: Vec<MembershipDocument>,
    /// Groups on the wire that nobody asked for in this capture, without link-local ones.
    pub unrequested: Vec<String>,
    /// Why that nobody asked is no evidence; empty where it is.
    pub unrequested_caveats: Vec<&'static str>,
    /// Groups asked for by somebody who has not left, to which nothing came in the whole capture, without link-local ones.
    pub idle: Vec<String>,
    /// Reports and leaves for addresses that are no groups; they count nowhere else.
    pub reports_of_no_group: u64,
    /// The first such address; `null` where there is none.
    pub no_group: Option<String>,
    /// MAC addresses that several groups in use share, or a group shares with PTP or link-local groups.
    pub shared_macs: Vec<SharedMacDocument>,
}

/// An address that asks for members.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct QuerierDocument {
    /// Its address; `0.0.0.0` is a switch's proxy that cannot be elected.
    pub ip: String,
    /// The VLAN; `null` where untagged.
    pub vlan: Option<u16>,
    /// `IGMPv1`, `IGMPv2`, `IGMPv3`, `MLDv1` or `MLDv2`, of its last query.
    pub version: &'static str,
    /// General queries captured.
    pub queries: u64,
    /// Their median distance; `null` below two.
    pub interval_s: Option<f64>,
    /// The interval that it declares; `null` where its version does not.
    pub declared_interval_s: Option<f64>,
    /// Its last general query; `null` where the capture gives no times.
    pub last_at_s: Option<f64>,
    /// How long others wait for its next one before they take over (RFC 3376 section 8.5).
    pub patience_s: f64,
    /// When its silence grew longer than that, where it lasted to the end.
    pub silent_since_s: Option<f64>,
    /// Whether it is the one that won in its VLAN.
    pub elected: bool,
}

/// The members of a group.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct MembershipDocument {
    /// The group.
    pub group: String,
    /// The VLAN; `null` where untagged.
    pub vlan: Option<u16>,
    /// Members at the end: IP addresses, or MAC addresses of hosts without one.
    pub hosts: Vec<String>,
    /// The lowest version that a member at the end reports with; `null` without members.
    pub version: Option<&'static str>,
    /// Every member that was seen.
    pub members: Vec<MemberDocument>,
}

/// A member of a group.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct MemberDocument {
    /// Its IP address, or its MAC address where it reports without one.
    pub host: String,
    /// Where its reports come from.
    pub mac: Option<String>,
    /// The version of its last report.
    pub version: &'static str,
    /// Reports captured.
    pub reports: u64,
    /// The only sources it asks for, or asked for last; `null` where it asks for all but `all_but`, or left only.
    pub only_from: Option<Vec<String>>,
    /// The sources it does not ask for; empty where all are.
    pub all_but: Vec<String>,
    /// Its first report, or its leave where that is all.
    pub first_at_s: Option<f64>,
    /// Its last report or leave.
    pub last_at_s: Option<f64>,
    /// `left`, `expired`, or `unanswered` where queries for its group alone stayed without an answer; `null` while it is a member.
    pub ended_by: Option<&'static str>,
    /// When it ended.
    pub ended_at_s: Option<f64>,
}

/// A MAC address that stands for several groups.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct SharedMacDocument {
    /// The address.
    pub mac: String,
    /// Groups in use: on the wire, or asked for.
    pub groups: Vec<String>,
    /// What else the address is needed for: `ptp`, `link-local` or nothing.
    pub reserved_for: Option<&'static str>,
}
