//! `no-authentication`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::ClockPort;
use crate::domains::Domain;
use crate::domains::Kind;
use crate::domains::TlvKind;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;

/// `tlvType` AUTHENTICATION (1588-2019 16.14, from memory).
const AUTHENTICATION: TlvKind = TlvKind::Standard(0x8009);

/// Messages of a port before its ways are judged (chosen).
const MESSAGES: u64 = 10;

/// Some clocks of a domain authenticate their messages, and others do not.
pub(super) struct NoAuthentication;

impl Rule for NoAuthentication {
    fn id(&self) -> &'static str {
        "no-authentication"
    }

    fn summary(&self) -> &'static str {
        "some clocks of a domain authenticate their messages and others do not; none at all is the usual state"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "let all clocks of the domain authenticate, or none: those that check drop the messages of the others",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &["AUTHENTICATION TLV: IEEE 1588-2019 16.14 (from memory)", "10 whole messages of each (chosen)"]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let domains = analysis.domains.iter().filter(|domain| !domain.key.is_v1());
        Outcome::from_findings(domains.filter_map(|domain| self.finding(domain)).collect())
    }
}

/// Messages of a port that could be read whole, and those of them that were authenticated. What others never use for
/// time does not count.
fn authenticated(port: &ClockPort) -> (u64, u64) {
    let for_time = port.marks.iter().filter(|(kind, _)| !matches!(kind, Kind::Management | Kind::Signaling));
    for_time.fold((0, 0), |(whole, with), (_, marks)| {
        (whole + marks.whole, with + marks.tlvs.get(&AUTHENTICATION).copied().unwrap_or_default())
    })
}

impl NoAuthentication {
    fn finding(&self, domain: &Domain) -> Option<Finding> {
        let judged = || domain.ports.values().map(|port| (port, authenticated(port)));
        let with: Vec<_> = judged().filter(|(_, (_, with))| *with > 0).collect();
        let without: Vec<_> =
            judged().filter(|(_, (whole, with))| *with == 0 && *whole >= MESSAGES).collect();
        let (guarded, (whole, count)) = with.first()?;
        let (open, (plain, _)) = without.first()?;
        let title = format!(
            "{}: of {} clocks {} authenticate their messages",
            domain.key,
            with.len().saturating_add(without.len()),
            with.len()
        );
        let evidence = vec![
            Evidence::at(
                Some(guarded.last),
                format!("{count} of {whole} messages of {} are authenticated", guarded.port),
            ),
            Evidence::at(Some(open.last), format!("none of the {plain} messages of {}", open.port)),
        ];
        let finding = Finding::of(self, (Severity::Info, Strength::Shown), title, evidence);
        Some(finding.in_domain(domain.key))
    }
}
