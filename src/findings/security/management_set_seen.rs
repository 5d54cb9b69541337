//! `management-set-seen`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::ClockPort;
use crate::domains::Domain;
use crate::domains::Order;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::findings::words::times;
use crate::ptp::v2::Action;
use crate::ptp::v2::management::management_name;

/// `managementId` values that by themselves stop or move the time: INITIALIZE, TIME, ENABLE_PORT, DISABLE_PORT
/// (1588-2008 Table 40, from memory).
const INTERRUPTING: [u16; 4] = [0x0005, 0x200F, 0x200D, 0x200E];

/// Somebody changed settings by PTP management.
pub(super) struct ManagementSetSeen;

impl Rule for ManagementSetSeen {
    fn id(&self) -> &'static str {
        "management-set-seen"
    }

    fn summary(&self) -> &'static str {
        "somebody changed settings, or gave commands, by PTP management"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "ask whether that was planned; the sender's address tells which machine it was",
            "if not, block PTP management (UDP 320, from hosts that are no clocks) at the access ports",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &["IEEE 1588-2008 15.4.1 table 38, table 40 (from memory)"]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let mut findings = Vec::new();
        for domain in analysis.domains.iter() {
            findings.extend(domain.ports.values().filter_map(|port| self.finding(analysis, domain, port)));
        }
        Outcome::from_findings(findings)
    }
}

impl ManagementSetSeen {
    fn finding(&self, analysis: &Analysis, domain: &Domain, port: &ClockPort) -> Option<Finding> {
        let orders = port.orders.given();
        let first = orders.first()?;
        let count: u64 = orders.iter().map(|order| order.count).sum();
        let interrupts = orders.iter().any(|order| INTERRUPTING.contains(&order.management_id));
        let severity = if interrupts { Severity::Major } else { Severity::Minor };
        let title = if count == 1 {
            format!("{}: {} sent {}", domain.key, port.port, words(first))
        } else {
            format!("{}: {} changed settings {}, first {}", domain.key, port.port, times(count), words(first))
        };
        let evidence = orders.iter().map(|order| {
            let text = format!("{} to {}, {}", words(order), target(order), times(order.count));
            Evidence::at(Some(order.first), text)
        });
        let finding = Finding::of(self, (severity, Strength::Shown), title, evidence.collect());
        Some(finding.in_domain(domain.key).about_clock(analysis, port.port.clock))
    }
}

fn words(order: &Order) -> String {
    let action = if order.action == Action::Command { "COMMAND" } else { "SET" };
    match management_name(order.management_id) {
        Some(name) => format!("{action} {name}"),
        None => format!("{action} 0x{:04x}", order.management_id),
    }
}

fn target(order: &Order) -> String {
    // All ones mean every clock, or every port (1588-2008 15.4.1, from memory).
    let text = order.target.to_string();
    if text.starts_with("ff-ff-ff-ff-ff-ff-ff-ff") { "every clock".to_owned() } else { text }
}
