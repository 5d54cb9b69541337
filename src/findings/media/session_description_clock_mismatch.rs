//! `session-description-clock-mismatch`

use std::collections::BTreeSet;

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::ClockId;
use crate::domains::Domain;
use crate::domains::DomainName;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::ptp::ClockIdentity;
use crate::sdp::PtpDomain;
use crate::sdp::PtpSource;
use crate::sdp::ReferenceClock;
use crate::sdp::Session;

/// A session's description names another clock than the one that leads.
pub(super) struct SessionDescriptionClockMismatch;

impl Rule for SessionDescriptionClockMismatch {
    fn id(&self) -> &'static str {
        "session-description-clock-mismatch"
    }

    fn summary(&self) -> &'static str {
        "a stream's description names a PTP clock or a domain that does not lead here"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "let the sender describe its stream anew: stop and start it, or its announcements",
            "where two clocks follow one reference, descriptions may say `traceable` instead of one clock's identity",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "`a=ts-refclk:ptp=` names the grandmaster's identity and domain: RFC 7273 4.8 (from memory)",
            "clocks that led at any time of the capture count as right (chosen: announcements lag)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let mut seen = BTreeSet::new();
        let mut findings = Vec::new();
        for session in analysis.sessions.iter() {
            for (identity, number) in named(session) {
                if seen.insert((session.name.clone(), identity, number)) {
                    findings.extend(self.finding(analysis, session, identity, number));
                }
            }
        }
        Outcome::from_findings(findings)
    }
}

/// The grandmasters that a description names, with their domains.
fn named(session: &Session) -> BTreeSet<(ClockIdentity, Option<u8>)> {
    let clocks = session.media.iter().flat_map(|media| session.reference_clocks_of(media));
    let named = clocks.filter_map(|clock| match clock {
        ReferenceClock::Ptp { source: PtpSource::Grandmaster { grandmaster_identity, domain }, .. } => {
            let number = match domain {
                None => None,
                Some(PtpDomain::Number(number)) => Some(*number),
                Some(PtpDomain::Name(_)) => return None,
            };
            Some((ClockIdentity(*grandmaster_identity), number))
        }
        _ => None,
    });
    named.collect()
}

const fn number_of(domain: &Domain) -> Option<u8> {
    match domain.key.name {
        DomainName::Number { number, .. } => Some(number),
        _ => None,
    }
}

impl SessionDescriptionClockMismatch {
    fn finding(
        &self,
        analysis: &Analysis,
        session: &Session,
        identity: ClockIdentity,
        number: Option<u8>,
    ) -> Option<Finding> {
        let clock = ClockId::V2(identity);
        let led = |domain: &&Domain| domain.election.tenures().any(|tenure| tenure.clock == clock);
        let numbered = || analysis.domains.iter().filter(|domain| number_of(domain).is_some());
        let meant = || numbered().filter(|domain| number.is_none() || number_of(domain) == number);
        if meant().any(|domain| led(&domain)) {
            return None;
        }
        let elsewhere = numbered().find(led);
        // A domain that is not led here may be led elsewhere.
        let rightful = meant().find(|domain| domain.election.leader().is_some());
        let (text, strength, domain) = match (elsewhere, rightful) {
            (Some(domain), _) => {
                let text =
                    format!("it leads in {}, not in domain {}", domain.key, number.unwrap_or_default());
                (text, Strength::Shown, domain)
            }
            (None, Some(domain)) => {
                let leader = domain.election.leader().map(|leader| leader.to_string()).unwrap_or_default();
                (format!("in {} {leader} leads", domain.key), Strength::Inferred, domain)
            }
            (None, None) => return None,
        };
        let stream = analysis.wire.streams.iter().find(|stream| {
            let described = stream.described.as_ref();
            described.is_some_and(|it| it.name == session.name && it.reference == Some(identity.0))
        });
        let about = match stream {
            Some(stream) => stream.key.to_string(),
            None => format!("session {:?}", session.name),
        };
        let title = format!("{about}: its description names {clock} as its clock; {text}");
        let origin = session.origin.as_ref().map(|origin| origin.address.as_str()).unwrap_or_default();
        let evidence = vec![Evidence::at(
            None,
            format!("session {:?} of {origin}: a=ts-refclk:ptp= names {clock}; {text}", session.name),
        )];
        let finding = Finding::of(self, (Severity::Major, strength), title, evidence);
        let finding = finding.in_domain(domain.key);
        Some(match stream {
            Some(stream) => finding.about_stream(analysis, stream),
            None => finding,
        })
    }
}
