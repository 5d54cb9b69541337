//! The answer of `downbeat fit` for a terminal.

use std::io;
use std::io::Write;

use super::super::document::FitDocument;
use super::super::format::per_cent;
use super::super::format::plain;
use super::paragraph;

/// Writes the answer first, then how it was worked out, then what it does not know.
///
/// # Errors
/// Where `out` cannot be written.
pub fn write_fit(document: &FitDocument, out: &mut impl Write) -> io::Result<()> {
    let (word, because) = match document.answer {
        "fits" => ("YES", "it fits also where it meets the fullest second of now"),
        "only-if-peaks-do-not-meet" => {
            ("ONLY IF PEAKS DO NOT MEET", "it fits on average, and not in the fullest second of now")
        }
        _ => ("NO", "it does not fit"),
    };
    let text = format!(
        "{because}; then {} of the link on average and {} in the fullest second, {} are to stay free",
        per_cent(document.load_then_mean),
        per_cent(document.load_then_peak_1s),
        per_cent(document.keep_free)
    );
    paragraph(out, 0, &format!("{word}: "), &text)?;
    let files: Vec<String> = document.files.iter().map(|file| plain(file)).collect();
    paragraph(out, 0, "", &files.join(", "))?;
    writeln!(out)?;
    for line in &document.arithmetic {
        paragraph(out, 2, "", &plain(line))?;
    }
    writeln!(out)?;
    for caveat in &document.caveats {
        paragraph(out, 2, "note: ", &plain(caveat))?;
    }
    Ok(())
}
