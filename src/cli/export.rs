//! `downbeat export`

use std::io;
use std::io::Write;

use downbeat::capture::Joined;
use downbeat::export::Export as Writing;
use downbeat::export::Formats;
use downbeat::export::Manifest;
use downbeat::findings;
use downbeat::report;

use super::arguments::Export;
use super::arguments::Format;
use super::arguments::Written;
use super::document;
use super::exit::Status;
use super::output;

/// Frames between two looks at what was kept (chosen: so many that looking costs nothing).
const FRAMES_BETWEEN: u16 = 1024;

/// Reads, and writes as it reads.
pub(crate) fn run(export: &Export) -> Result<Status, String> {
    let asked = |kind| export.write.contains(&kind);
    let formats = Formats {
        csv: asked(Written::Csv),
        parquet: asked(Written::Parquet),
        svg: asked(Written::Svg),
        png: asked(Written::Png),
    };
    let window = export.window.nanos();
    let begun = Writing::begin(&export.to, formats, window, export.reading.anonymity.pseudonyms())
        .map_err(|error| error.to_string())?;
    let making = output::Making::of(begun.beside());
    // Declared after what watches over it, so that it goes first.
    let mut writing = begun;
    let analysis = document::analyse_with(&export.reading, |reading, inputs| {
        reading.keep_journal(window);
        let mut joined = Joined::new(inputs);
        let mut since = 0_u16;
        while let Some((file, record)) = joined.next_record() {
            reading.push(file, &record);
            since += 1;
            if since >= FRAMES_BETWEEN {
                since = 0;
                let origin = reading.origin();
                writing.take(&reading.take_journal(), origin).map_err(|error| error.to_string())?;
            }
        }
        Ok(joined.finish())
    })?;
    document::refuse_partial(analysis.is_partial)?;
    let document = report::document(&analysis, &findings::judge(&analysis));
    let manifest = writing.finish(&analysis, &document).map_err(|error| error.to_string())?;
    drop(making);
    output::deliver(export.reading.out.as_deref(), |out| match export.format {
        Format::Text => list(export, &manifest, out),
        Format::Json => {
            serde_json::to_writer_pretty(&mut *out, &manifest)?;
            writeln!(out)
        }
    })?;
    Ok(Status::Clear)
}

fn list(export: &Export, manifest: &Manifest, out: &mut dyn Write) -> io::Result<()> {
    let place = if export.reading.anonymity.anonymise {
        "export".to_owned()
    } else {
        report::plain(&export.to.display().to_string())
    };
    writeln!(out, "{place}: {} files and export.json", manifest.files.len())?;
    let width = manifest.files.iter().map(|file| file.file.len()).max().unwrap_or_default();
    for file in &manifest.files {
        match file.rows {
            Some(rows) => writeln!(out, "  {:width$}  {rows:>9} rows", file.file)?,
            None => writeln!(out, "  {:width$}", file.file)?,
        }
    }
    writeln!(out, "README.md there says what every column is")
}
