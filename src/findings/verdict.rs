//! All rules over one capture, and the verdict they add up to.

use super::RULES;
use super::finding::Finding;
use super::finding::Severity;
use super::rule::Outcome;
use crate::analysis::Analysis;
use crate::devices::State;
use crate::devices::Strength;

/// The answer in one word.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// A leader leads, followers are shown to follow, and no rule above info applies.
    Sound,
    /// Only minor findings.
    Watch,
    /// A major or critical finding.
    Fault,
    /// No PTP, too short, or nobody could be shown to follow.
    CannotTell,
}

impl Verdict {
    /// The name in the JSON report.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Sound => "sound",
            Self::Watch => "watch",
            Self::Fault => "fault",
            Self::CannotTell => "cannot-tell",
        }
    }
}

/// What the rules say of a capture.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Judgement {
    /// In one word.
    pub verdict: Verdict,
    /// Why, in one sentence.
    pub because: String,
    /// Findings, the gravest first.
    pub findings: Vec<Finding>,
    /// Rules that could not be decided, and why.
    pub not_judged: Vec<(&'static str, String)>,
}

/// Applies every rule.
#[must_use]
pub fn judge(analysis: &Analysis) -> Judgement {
    let mut findings = Vec::new();
    let mut not_judged = Vec::new();
    for rule in RULES {
        match rule.judge(analysis) {
            Outcome::Quiet => {}
            Outcome::Broken(found) => findings.extend(found),
            Outcome::CannotTell(why) => not_judged.push((rule.id(), why)),
        }
    }
    // Stable, so the register's order holds within a severity.
    findings.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
    let (verdict, because) = verdict(analysis, &findings);
    Judgement { verdict, because, findings, not_judged }
}

fn verdict(analysis: &Analysis, findings: &[Finding]) -> (Verdict, String) {
    let worst = findings.iter().map(|finding| finding.severity).max();
    let count = |severity| findings.iter().filter(|finding| finding.severity >= severity).count();
    match worst {
        Some(Severity::Critical | Severity::Major) => {
            let faults = count(Severity::Major);
            let plural = if faults == 1 { "" } else { "s" };
            return (
                Verdict::Fault,
                format!(
                    "{faults} finding{plural} that need{} attention now",
                    if faults == 1 { "s" } else { "" }
                ),
            );
        }
        _ if analysis.ptp_messages == 0 => {
            return (Verdict::CannotTell, "there is no PTP message in this capture".to_owned());
        }
        Some(Severity::Minor) => {
            return (Verdict::Watch, "nothing is broken now; something happened or is untidy".to_owned());
        }
        Some(Severity::Info) | None => {}
    }
    let leader = analysis.domains.iter().find(|domain| domain.election.leader().is_some());
    if leader.is_none() {
        return (Verdict::CannotTell, "no leader was seen and nothing shows why".to_owned());
    }
    let followers = analysis.devices.iter().filter(|device| {
        matches!(device.state, State::Following | State::Relaying) && device.strength != Strength::CannotTell
    });
    match followers.count() {
        0 => (Verdict::CannotTell, "a clock leads, but nobody is shown to follow it".to_owned()),
        1 => (Verdict::Sound, "one leader, and the one device that follows is answered".to_owned()),
        n => (Verdict::Sound, format!("the elected clock leads, and {n} devices that follow are answered")),
    }
}
