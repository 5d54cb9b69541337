//! `querier-without-address`

use super::named;
use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;

/// Only a querier without an address asks for members.
pub(super) struct QuerierWithoutAddress;

impl Rule for QuerierWithoutAddress {
    fn id(&self) -> &'static str {
        "querier-without-address"
    }

    fn summary(&self) -> &'static str {
        "group members are asked for from 0.0.0.0 only: switches do not take that port for the way to a router"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "give the switch that asks an address in the VLAN, and let it ask from that",
            "where several switches are in a row, look whether groups from behind the far ones arrive",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &["RFC 4541 2.1.1 (from memory): queries from 0.0.0.0 are a proxy's and mark no router port"]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let found = analysis.multicast.segments().filter_map(|segment| {
            let nameless = segment.queriers.values().find(|querier| querier.address.is_unspecified())?;
            // One with an address wins, and its port is marked.
            if segment.elected.is_some() {
                return None;
            }
            let title = format!("{}: queries for group members come from no address", named(segment.key));
            let text = format!("{} general queries from {}", nameless.queries, nameless.address);
            let evidence = vec![Evidence::at(Some(nameless.last), text)];
            Some(Finding::of(self, (Severity::Minor, Strength::Shown), title, evidence))
        });
        Outcome::from_findings(found.collect())
    }
}
