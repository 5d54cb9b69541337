//! One difference.

use schemars::JsonSchema;
use serde::Serialize;
use serde_json::Value;

use crate::findings::Severity;

/// How much a change matters.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[allow(missing_docs, reason = "as findings::Severity")]
pub enum WeightName {
    Info,
    Minor,
    Major,
    Critical,
}

impl WeightName {
    /// The name in the JSON document.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Info => "info",
            Self::Minor => "minor",
            Self::Major => "major",
            Self::Critical => "critical",
        }
    }

    /// As `--fail-on` counts it.
    #[must_use]
    pub const fn severity(self) -> Severity {
        match self {
            Self::Info => Severity::Info,
            Self::Minor => Severity::Minor,
            Self::Major => Severity::Major,
            Self::Critical => Severity::Critical,
        }
    }

    /// The weight of a report's severity; what is not known is not overlooked.
    pub(super) fn of_severity(name: &str) -> Self {
        match name {
            "info" => Self::Info,
            "minor" => Self::Minor,
            "critical" => Self::Critical,
            _ => Self::Major,
        }
    }
}

/// One difference between two reports.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct ChangeDocument {
    /// What kind of thing changed.
    pub kind: &'static str,
    /// Whose: key of a domain, a port, a device, a stream, or a finding's id.
    pub subject: String,
    /// What of it.
    pub field: String,
    /// Before; `null` where it was not there.
    pub before: Value,
    /// After; `null` where it is not there.
    pub after: Value,
    /// How much it matters.
    pub weight: WeightName,
    /// In words.
    pub text: String,
}

/// Changes in the making.
#[derive(Debug, Default)]
pub(super) struct Changes {
    pub(super) changes: Vec<ChangeDocument>,
    /// What could not be compared, and why.
    pub(super) not_compared: Vec<String>,
}

/// What a change is about.
#[derive(Debug, Clone, Copy)]
pub(super) struct About<'a> {
    pub(super) kind: &'static str,
    pub(super) subject: &'a str,
    pub(super) field: &'a str,
    pub(super) weight: WeightName,
}

impl Changes {
    /// Adds a change with words of its own.
    pub(super) fn say(&mut self, about: About<'_>, before: Value, after: Value, text: String) {
        self.changes.push(ChangeDocument {
            kind: about.kind,
            subject: about.subject.to_owned(),
            field: about.field.to_owned(),
            before,
            after,
            weight: about.weight,
            text,
        });
    }

    /// Adds a change where two values that are both there differ.
    pub(super) fn differ<T: PartialEq + Clone + Into<Value>>(
        &mut self,
        about: About<'_>,
        before: Option<&T>,
        after: Option<&T>,
    ) {
        let Some((before, after)) = before.zip(after).filter(|(before, after)| before != after) else {
            return;
        };
        let (before, after): (Value, Value) = (before.clone().into(), after.clone().into());
        let text =
            format!("{}: {} {} instead of {}", about.subject, about.field, shown(&after), shown(&before));
        self.say(about, before, after, text);
    }
}

/// A value in a sentence.
pub(super) fn shown(value: &Value) -> String {
    match value {
        Value::Null => "none".to_owned(),
        Value::String(text) => text.clone(),
        Value::Array(items) if items.is_empty() => "none".to_owned(),
        Value::Array(items) => items.iter().map(shown).collect::<Vec<_>>().join(", "),
        other => other.to_string(),
    }
}
