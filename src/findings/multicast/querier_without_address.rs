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
        &[
            "RFC 4541 2.1.1 (from memory): queries from 0.0.0.0 are a proxy's and mark no router port",
            "no other for as long as others wait, 255 s by default (RFC 3376 8.5, from memory)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let mut found = Vec::new();
        let mut why = None;
        for segment in analysis.multicast.segments() {
            // One with an address wins, and its port is marked.
            let nameless = segment.queriers.values().find(|querier| querier.address.is_unspecified());
            let Some(nameless) = nameless.filter(|_| segment.elected.is_none()) else { continue };
            if !segment.is_nameless {
                let patience = nameless.patience().as_seconds_text();
                why = Some(format!(
                    "{}: queries of {} only, and less than {patience} were watched, in which another may ask",
                    named(segment.key),
                    nameless.address
                ));
                continue;
            }
            let title = format!("{}: queries for group members come from no address", named(segment.key));
            let text = format!("{} general queries from {}", nameless.queries, nameless.address);
            let evidence = vec![Evidence::at(Some(nameless.last), text)];
            found.push(Finding::of(self, (Severity::Minor, Strength::Shown), title, evidence));
        }
        match why.filter(|_| found.is_empty()) {
            Some(why) => Outcome::CannotTell(why),
            None => Outcome::from_findings(found),
        }
    }
}
