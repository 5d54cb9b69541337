//! The comparison for a terminal.

use std::io;
use std::io::Write;

use serde_json::Value;

use super::document::CompareDocument;
use crate::report::Paper;
use crate::report::Style;
use crate::report::paragraph;
use crate::report::plain;

/// Writes the comparison, as wide as the style has it; text from files and packets is escaped.
///
/// # Errors
/// Where `out` cannot be written.
pub fn write(comparison: &CompareDocument, style: Style, out: &mut impl Write) -> io::Result<()> {
    Paper::of(style, out, |paper| whole(comparison, paper))
}

fn whole(comparison: &CompareDocument, out: &mut Paper<'_>) -> io::Result<()> {
    paragraph(out, 0, "before  ", &files(&comparison.before))?;
    paragraph(out, 0, "after   ", &files(&comparison.after))?;
    writeln!(out)?;
    if comparison.changes.is_empty() {
        writeln!(out, "nothing differs")?;
    }
    for change in &comparison.changes {
        paragraph(out, 0, &format!("{:<10}", change.weight.name()), &plain(&change.text))?;
    }
    for what in &comparison.not_compared {
        paragraph(out, 0, "not compared: ", &plain(what))?;
    }
    Ok(())
}

/// The files of one side, with their first and last instant.
fn files(captures: &[Value]) -> String {
    let text = |file: &Value, key: &str| file.get(key).and_then(Value::as_str).map(str::to_owned);
    let names: Vec<String> = captures.iter().filter_map(|file| text(file, "file")).collect();
    let first = captures.iter().filter_map(|file| text(file, "first")).min();
    let last = captures.iter().filter_map(|file| text(file, "last")).max();
    let span = first.zip(last).map(|(first, last)| format!(", {first} to {last}")).unwrap_or_default();
    let names = match names.as_slice() {
        [] => "no file".to_owned(),
        [one] => one.clone(),
        several => format!("{} files", several.len()),
    };
    plain(&format!("{names}{span}"))
}
