//! The exit status, decided in one place.

use std::process::ExitCode;

use downbeat::findings::Judgement;
use downbeat::findings::Severity;
use downbeat::findings::Verdict;

/// How the program ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Status {
    /// Nothing at or above `--fail-on`.
    Clear,
    /// Findings at or above it.
    Findings,
    /// Bad usage or unreadable input.
    NoReport,
    /// No PTP, or too little to judge.
    CannotTell,
}

impl Status {
    /// Of a report, with the severity that `--fail-on` names; `None` is "never".
    pub(crate) fn of(judgement: &Judgement, fail_on: Option<Severity>) -> Self {
        let worst = judgement.findings.iter().map(|finding| finding.severity).max();
        Self::of_worst(worst, fail_on, judgement.verdict == Verdict::CannotTell)
    }

    /// The same where only a part was read: what is behind may be anything.
    pub(crate) fn of_part(self, is_partial: bool) -> Self {
        if is_partial && self == Self::Clear { Self::CannotTell } else { self }
    }

    /// Of the worst that there is, if there is any.
    pub(crate) fn of_worst(worst: Option<Severity>, fail_on: Option<Severity>, cannot_tell: bool) -> Self {
        match (worst, fail_on) {
            (Some(worst), Some(limit)) if worst >= limit => Self::Findings,
            _ if cannot_tell => Self::CannotTell,
            _ => Self::Clear,
        }
    }
}

impl From<Status> for ExitCode {
    fn from(status: Status) -> Self {
        Self::from(match status {
            Status::Clear => 0,
            Status::Findings => 1,
            Status::NoReport => 2,
            Status::CannotTell => 3,
        })
    }
}
