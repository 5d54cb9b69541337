//! `downbeat explain`

use downbeat::findings;
use downbeat::report;

use super::arguments::Explain;
use super::arguments::Format;
use super::exit::Status;
use super::output;
use super::terminal;

/// Writes one rule's page, or the list of all.
pub(crate) fn run(explain: &Explain) -> Result<Status, String> {
    let id = explain.id.as_deref();
    let document = report::explain(id);
    if let (Some(slip), []) = (id, document.rules.as_slice()) {
        let hint = findings::nearest_id(slip).map_or_else(
            || "`downbeat explain` lists all".to_owned(),
            |nearest| format!("the nearest known one is {nearest}"),
        );
        return Err(format!("no finding is called {slip}; {hint}"));
    }
    let style = terminal::style(explain.lettering.ascii, explain.out.is_some());
    output::deliver(explain.out.as_deref(), |mut out| match explain.format {
        Format::Text => report::write_explanation(&document, style, &mut out),
        Format::Json => report::write_json(&document, &mut out),
    })?;
    Ok(Status::Clear)
}
