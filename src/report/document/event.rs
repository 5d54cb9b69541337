//! `events`, `findings` and `not_judged` of the report.

use schemars::JsonSchema;
use serde::Serialize;

use super::StrengthName;

/// A frame: its number from 1 where one file was read, else the file with it.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[serde(untagged)]
pub enum FrameReference {
    /// In the only file.
    Number(u64),
    /// In one of several files.
    InFile {
        /// The file, as it was named.
        file: String,
        /// The frame's number from 1 within it.
        frame: u64,
    },
}

/// Something that happened.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct EventDocument {
    /// When, RFC 3339.
    pub time: String,
    /// When, seconds from the first frame.
    pub at_s: f64,
    /// What kind of thing.
    pub kind: &'static str,
    /// Key of its domain.
    pub domain: Option<String>,
    /// Key of its device.
    pub device: Option<String>,
    /// What, in words.
    pub text: String,
    /// Frames that show it.
    pub frames: Vec<FrameReference>,
}

/// The answer in one word.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[allow(missing_docs, reason = "described at findings::Verdict")]
pub enum VerdictName {
    Sound,
    Watch,
    Fault,
    CannotTell,
}

/// How much a finding matters.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[allow(missing_docs, reason = "described at findings::Severity")]
pub enum SeverityName {
    Info,
    Minor,
    Major,
    Critical,
}

/// Something wrong.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct FindingDocument {
    /// The rule's id.
    pub id: &'static str,
    /// How much it matters.
    pub severity: SeverityName,
    /// How firmly it is said.
    pub strength: StrengthName,
    /// Key of its domain.
    pub domain: Option<String>,
    /// Key of its device.
    pub device: Option<String>,
    /// Key of the stream it is about.
    pub stream: Option<String>,
    /// Who, what, how much.
    pub title: String,
    /// What shows it.
    pub evidence: Vec<EvidenceDocument>,
    /// What to do.
    pub next: Vec<&'static str>,
    /// Where the rule and its limits come from.
    pub sources: Vec<&'static str>,
    /// Place in `findings`, from 0, of the finding that this one likely follows from; `null` where it stands for itself.
    pub follows_from: Option<usize>,
}

/// What shows a finding.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct EvidenceDocument {
    /// The file.
    pub file: Option<String>,
    /// The frame's number from 1 within it.
    pub frame: Option<u64>,
    /// When, RFC 3339.
    pub time: Option<String>,
    /// What it shows.
    pub text: String,
}

/// A rule that could not be decided.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct NotJudgedDocument {
    /// The rule's id.
    pub id: &'static str,
    /// Why.
    pub why: String,
}
