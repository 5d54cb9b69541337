//! The comparison's shape, `downbeat.compare/1`, and how it is made.

use std::cmp::Reverse;

use schemars::JsonSchema;
use serde::Serialize;
use serde_json::Value;
use serde_json::json;

use super::change::About;
use super::change::ChangeDocument;
use super::change::Changes;
use super::change::WeightName;
use super::devices;
use super::domains;
use super::report::Finding;
use super::report::Report;
use super::streams;

/// The `schema` of this document.
pub const SCHEMA: &str = "downbeat.compare/1";

/// What differs between two reports.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(title = "downbeat.compare/1", deny_unknown_fields)]
pub struct CompareDocument {
    /// Always `downbeat.compare/1`.
    pub schema: &'static str,
    /// `captures` of the first report, as it holds them.
    pub before: Vec<Value>,
    /// `captures` of the second.
    pub after: Vec<Value>,
    /// What differs, the gravest first.
    pub changes: Vec<ChangeDocument>,
    /// What could not be compared, and why.
    pub not_compared: Vec<String>,
}

/// What differs.
#[must_use]
pub fn compare(before: &Report, after: &Report) -> CompareDocument {
    let mut changes = Changes::default();
    verdicts(before, after, &mut changes);
    findings(before, after, &mut changes);
    domains::compare(before, after, &mut changes);
    devices::compare(before, after, &mut changes);
    streams::compare(before, after, &mut changes);
    let Changes { mut changes, not_compared } = changes;
    // Stable, so that within a weight verdict, findings, domains, devices and streams follow one another.
    changes.sort_by_key(|change| Reverse(change.weight));
    CompareDocument {
        schema: SCHEMA,
        before: before.captures.clone(),
        after: after.captures.clone(),
        changes,
        not_compared,
    }
}

/// The JSON schema of the comparison, indented, with a line break at its end.
#[must_use]
pub fn schema() -> String {
    crate::report::schema_of::<CompareDocument>()
}

fn verdicts(before: &Report, after: &Report, changes: &mut Changes) {
    if before.verdict != after.verdict {
        let weight = match after.verdict.as_str() {
            "fault" => WeightName::Major,
            "cannot-tell" | "watch" => WeightName::Minor,
            _ => WeightName::Info,
        };
        let about = About { kind: "verdict-changed", subject: "capture", field: "verdict", weight };
        let text =
            format!("the verdict is {}, was {}: {}", after.verdict, before.verdict, after.verdict_because);
        changes.say(about, json!(before.verdict), json!(after.verdict), text);
    }
    let (was, is) = (&before.viewpoint.kind, &after.viewpoint.kind);
    if was != is {
        let about = About {
            kind: "viewpoint-changed",
            subject: "capture",
            field: "viewpoint",
            weight: WeightName::Info,
        };
        let text =
            format!("it was taken at {is}, before at {was}: what is gone or new may be so because of that");
        changes.say(about, json!(was), json!(is), text);
    }
}

/// What makes two findings of one rule the same.
fn is_same(one: &Finding, other: &Finding) -> bool {
    one.id == other.id
        && one.domain == other.domain
        && one.device == other.device
        && one.stream == other.stream
}

fn findings(before: &Report, after: &Report, changes: &mut Changes) {
    let about = |id: &'static str, finding: &Finding, weight: WeightName| (id, finding.id.clone(), weight);
    let mut tell =
        |(kind, subject, weight): (&'static str, String, WeightName), was: Value, is: Value, text| {
            let about = About { kind, subject: &subject, field: "findings", weight };
            changes.say(about, was, is, text);
        };
    for finding in &after.findings {
        let known: Vec<&Finding> = before.findings.iter().filter(|known| is_same(known, finding)).collect();
        let severity = WeightName::of_severity(&finding.severity);
        match known.iter().map(|known| WeightName::of_severity(&known.severity)).max() {
            None => {
                let text = format!("new finding {}: {}", finding.id, finding.title);
                tell(about("finding-new", finding, severity), Value::Null, json!(finding.title), text);
            }
            Some(was) if was < severity => {
                let text =
                    format!("{} is {}, was {}: {}", finding.id, severity.name(), was.name(), finding.title);
                tell(
                    about("finding-graver", finding, severity),
                    json!(was.name()),
                    json!(severity.name()),
                    text,
                );
            }
            Some(_) => {}
        }
    }
    for finding in &before.findings {
        if !after.findings.iter().any(|other| is_same(finding, other)) {
            let text = format!("no longer: {}: {}", finding.id, finding.title);
            let info = about("finding-gone", finding, WeightName::Info);
            tell(info, json!(finding.title), Value::Null, text);
        }
    }
}
