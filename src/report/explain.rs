//! `downbeat explain`: the rules with one line each, or one rule's whole page.

use std::io;
use std::io::Write;

use schemars::JsonSchema;
use serde::Serialize;

use super::text::paragraph;
use crate::findings::page;
use crate::findings::rules;

/// The `schema` of this document.
const SCHEMA: &str = "downbeat.explain/1";

/// Rules with what they mean.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(title = "downbeat.explain/1", deny_unknown_fields)]
pub struct ExplainDocument {
    /// Always `downbeat.explain/1`.
    pub schema: &'static str,
    /// The rules asked for, in the order of the report.
    pub rules: Vec<ExplainedRule>,
}

/// A rule.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct ExplainedRule {
    /// Its id, as in `findings` and `not_judged`.
    pub id: &'static str,
    /// What it means, in one line.
    pub summary: &'static str,
    /// Its page, Markdown.
    pub page: &'static str,
}

/// All rules, or the one of that id; without rules where none has it.
#[must_use]
pub fn explain(id: Option<&str>) -> ExplainDocument {
    let asked_for = rules().filter(|rule| id.is_none_or(|id| rule.id() == id));
    let rules = asked_for.map(|rule| ExplainedRule {
        id: rule.id(),
        summary: rule.summary(),
        page: page(rule.id()).unwrap_or_default(),
    });
    ExplainDocument { schema: SCHEMA, rules: rules.collect() }
}

/// Writes one rule's page, or of several a line each.
///
/// # Errors
/// Where `out` cannot be written.
pub fn write(document: &ExplainDocument, out: &mut impl Write) -> io::Result<()> {
    if let [one] = document.rules.as_slice() {
        for line in one.page.lines() {
            writeln!(out, "{}", line.trim_start_matches(['#']).trim_start_matches(is_after_heading(line)))?;
        }
        return Ok(());
    }
    for rule in &document.rules {
        writeln!(out, "{}", rule.id)?;
        paragraph(out, 4, "", rule.summary)?;
    }
    writeln!(out)?;
    paragraph(out, 0, "", "`downbeat explain ID` prints the whole page of one.")
}

/// The blank behind the signs of a heading.
fn is_after_heading(line: &str) -> impl FnMut(char) -> bool {
    let is_heading = line.starts_with('#');
    move |c| is_heading && c == ' '
}
