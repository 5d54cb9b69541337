//! `delay-response-misaddressed`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::Cadence;
use crate::domains::Domain;
use crate::domains::Kind;
use crate::domains::Mechanism;
use crate::domains::PortId;
use crate::domains::Requester;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;

/// Answers to a wrong address from which it is no accident (chosen).
const ELSEWHERE: u64 = 3;

/// Answers with a number that was never asked with, and requests left open meanwhile (reference: 8 of 8).
const STRAYS: u64 = 8;

/// Answers go to another address, or carry another number, than the requests.
pub(super) struct DelayResponseMisaddressed;

impl Rule for DelayResponseMisaddressed {
    fn id(&self) -> &'static str {
        "delay-response-misaddressed"
    }

    fn summary(&self) -> &'static str {
        "answers to a device go to another address or carry another number than its requests"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "look for address translation or a proxy between the device and the leader",
            "if there is none, update the leader: an answer repeats the number of its request and goes back where that came from",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "an answer copies sequenceId and sourcePortIdentity of its request: IEEE 1588-2008 11.3.2 (from memory)",
            "3 answers to another address; 8 answers with numbers that were not asked with, and as many requests left open (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let mut findings = Vec::new();
        for domain in analysis.domains.iter() {
            for ((port, mechanism), requester) in &domain.requesters {
                if *mechanism == Mechanism::EndToEnd {
                    findings.extend(self.finding(analysis, domain, *port, requester));
                }
            }
        }
        Outcome::from_findings(findings)
    }
}

impl DelayResponseMisaddressed {
    fn finding(
        &self,
        analysis: &Analysis,
        domain: &Domain,
        port: PortId,
        requester: &Requester,
    ) -> Option<Finding> {
        let sent = domain.ports.get(&port)?;
        // Two senders under one identity mix their numbers and addresses.
        if sent.twins.two().is_some() {
            return None;
        }
        let checks = requester.checks();
        let (elsewhere, strays) = (checks.elsewhere, checks.strays);
        let (strength, what, evidence) = if elsewhere.times >= ELSEWHERE {
            let own = sent.addresses.keys().filter_map(|address| address.ip).map(|ip| ip.to_string());
            let own: Vec<String> = own.collect();
            let text = format!(
                "{} Delay_Resp for it went to another IP address; it sends from {}",
                elsewhere.times,
                own.join(", ")
            );
            let what = "is answered at another address than it asks from";
            (Strength::Shown, what, Evidence::at(elsewhere.first, text))
        } else {
            let open = requester.unanswered();
            // Requests that were lost to the capture leave answers without a request as well.
            let lost = sent.series(Kind::DelayReq).map_or(0, Cadence::missed);
            let mostly_open = requester.answered().saturating_mul(2) < requester.seen();
            let as_many = strays.times.saturating_mul(2) >= open;
            if strays.times < STRAYS
                || open < STRAYS
                || !mostly_open
                || !as_many
                || lost.saturating_mul(4) > strays.times
            {
                return None;
            }
            let text = format!(
                "{} Delay_Resp name it with a sequenceId of no request of its, and {open} of its {} requests stayed open",
                strays.times,
                requester.seen()
            );
            let what = "is answered with numbers that it did not ask with";
            (Strength::Inferred, what, Evidence::at(strays.first, text))
        };
        let title = format!("{}: {port} {what}", domain.key);
        let finding = Finding::of(self, (Severity::Major, strength), title, vec![evidence]);
        Some(finding.in_domain(domain.key).about_clock(analysis, port.clock))
    }
}
