//! `downbeat explain`: the rules with one line each, or one rule's whole page.

use std::io;
use std::io::Write;

use schemars::JsonSchema;
use serde::Serialize;

use super::text::Paper;
use super::text::Style;
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
pub fn write(document: &ExplainDocument, style: Style, out: &mut impl Write) -> io::Result<()> {
    Paper::of(style, out, |paper| whole(document, paper))
}

fn whole(document: &ExplainDocument, out: &mut Paper<'_>) -> io::Result<()> {
    if let [one] = document.rules.as_slice() {
        return page_of(one.page, out);
    }
    for rule in &document.rules {
        writeln!(out, "{}", rule.id)?;
        paragraph(out, 4, "", rule.summary)?;
    }
    writeln!(out)?;
    paragraph(out, 0, "", "`downbeat explain ID` prints the whole page of one.")
}

/// A page of headings, paragraphs and lists of one level, its lines as long as there is room.
fn page_of(page: &str, out: &mut Paper<'_>) -> io::Result<()> {
    let mut label = "";
    let mut text = String::new();
    for line in page.lines() {
        let (begins, rest) = match (line.strip_prefix("- "), line.trim_start_matches('#')) {
            (Some(item), _) => (Some("- "), item),
            (None, heading) if heading.len() < line.len() => (Some(""), heading.trim_start()),
            (None, _) => (None, line.trim()),
        };
        if (begins.is_some() || line.is_empty()) && !text.is_empty() {
            paragraph(out, 0, std::mem::take(&mut label), &std::mem::take(&mut text))?;
        }
        if line.is_empty() {
            writeln!(out)?;
            continue;
        }
        label = begins.unwrap_or(label);
        if !text.is_empty() {
            text.push(' ');
        }
        text.push_str(rest);
    }
    if text.is_empty() { Ok(()) } else { paragraph(out, 0, label, &text) }
}
