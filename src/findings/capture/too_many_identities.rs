//! `too-many-identities`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::DOMAINS_KEPT;
use crate::domains::PORTS_KEPT;
use crate::domains::REQUESTERS_KEPT;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;

/// More senders were heard than are kept: a flood, or forged traffic.
pub(super) struct TooManyIdentities;

impl Rule for TooManyIdentities {
    fn id(&self) -> &'static str {
        "too-many-identities"
    }

    fn summary(&self) -> &'static str {
        "more domains, ports or requesters were heard than can be kept: a flood or forged traffic looks like this"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "find the switch port that they come in by: few devices send under that many names",
            "unplug that device, or filter PTP at its port, and capture again",
            "if the network really is that large, read one VLAN or one domain of it at a time",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &["512 domains, 16384 ports, 16384 requesters, 128 announcers in an election (chosen)"]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let left_out = analysis.domains.left_out();
        if !left_out.is_of_senders() {
            return Outcome::Quiet;
        }
        let mut evidence = Vec::new();
        let mut tell = |count: u64, text: String| {
            if count > 0 {
                evidence.push(Evidence::at(None, text));
            }
        };
        let (domains, ports, requesters) = (left_out.domains, left_out.ports, left_out.requesters);
        let offers = left_out.offers;
        tell(domains, format!("{domains} domains beyond the {DOMAINS_KEPT} that are kept"));
        let messages = left_out.messages;
        tell(ports, format!("{ports} ports beyond the {PORTS_KEPT} that are kept, with {messages} messages"));
        tell(requesters, format!("{requesters} requesters beyond the {REQUESTERS_KEPT} that are kept"));
        tell(offers, format!("{offers} Announces of ports that no election had room for"));
        tell(
            1,
            "those heard least often and longest ago were left out; one that came again counts again"
                .to_owned(),
        );
        let title =
            "more senders were heard than can be kept, as in a flood or where traffic is forged".to_owned();
        Outcome::Broken(vec![Finding::of(self, (Severity::Minor, Strength::Shown), title, evidence)])
    }
}
