//! What a rule is.

use super::finding::Finding;
use crate::analysis::Analysis;

/// What a rule says of a capture.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Outcome {
    /// Nothing of the kind.
    Quiet,
    /// It is so, once or more.
    Broken(Vec<Finding>),
    /// It is so, once or more, and elsewhere this capture could not have shown it, and why.
    PartlyBroken(Vec<Finding>, String),
    /// This capture could not have shown it, and why.
    CannotTell(String),
}

impl Outcome {
    /// Quiet where there are no findings.
    #[must_use]
    pub fn from_findings(findings: Vec<Finding>) -> Self {
        if findings.is_empty() { Self::Quiet } else { Self::Broken(findings) }
    }

    /// The findings; where there are none, why nothing can be told, if so.
    #[must_use]
    pub fn from_findings_or(findings: Vec<Finding>, cannot_tell: Option<String>) -> Self {
        match cannot_tell {
            Some(why) if findings.is_empty() => Self::CannotTell(why),
            _ => Self::from_findings(findings),
        }
    }

    /// The findings; where there are none, why nothing can be told of the last that could not be judged.
    #[must_use]
    pub fn of_each(judged: impl IntoIterator<Item = Result<Finding, String>>) -> Self {
        let (mut findings, mut cannot_tell) = (Vec::new(), None);
        for judged in judged {
            match judged {
                Ok(finding) => findings.push(finding),
                Err(why) => cannot_tell = Some(why),
            }
        }
        Self::from_findings_or(findings, cannot_tell)
    }

    /// The findings, and why nothing can be told of others of the kind, if so.
    #[must_use]
    pub fn of_some(findings: Vec<Finding>, cannot_tell: Option<String>) -> Self {
        match cannot_tell {
            Some(why) if !findings.is_empty() => Self::PartlyBroken(findings, why),
            cannot_tell => Self::from_findings_or(findings, cannot_tell),
        }
    }
}

/// One thing that can be wrong.
pub trait Rule: Sync {
    /// Its name: kebab-case, never used again for something else.
    fn id(&self) -> &'static str;

    /// One line on what it means.
    fn summary(&self) -> &'static str;

    /// What to do, in plain words, first things first, where that is the same for all its findings.
    fn next(&self) -> &'static [&'static str] {
        &[]
    }

    /// Where the rule and its limits come from, where that is the same for all its findings.
    fn sources(&self) -> &'static [&'static str] {
        &[]
    }

    /// Looks at a capture.
    fn judge(&self, analysis: &Analysis) -> Outcome;
}
