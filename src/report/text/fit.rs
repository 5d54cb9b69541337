//! The answer of `downbeat fit` for a terminal.

use std::io;
use std::io::Write;

use super::super::document::FitDocument;
use super::super::format::duration;
use super::super::format::per_cent;
use super::super::format::per_cent_up;
use super::super::format::plain;
use super::Paper;
use super::paragraph;

/// Writes the answer first, then how it was worked out, then what it does not know.
///
/// # Errors
/// Where `out` cannot be written.
pub(super) fn write(document: &FitDocument, out: &mut Paper<'_>) -> io::Result<()> {
    let length = duration(document.duration_s);
    let (word, because) = match document.answer {
        "fits" if document.is_short => (
            "YES SO FAR",
            format!(
                "it fits also in the fullest second of {length}, and a minute shows more of them (chosen)"
            ),
        ),
        "fits" => ("YES", "it fits also where it meets the fullest second of now".to_owned()),
        "only-if-peaks-do-not-meet" => (
            "ONLY IF PEAKS DO NOT MEET",
            "it fits on average, and not in the fullest second of now".to_owned(),
        ),
        "cannot-tell" => {
            ("CANNOT TELL", format!("{length} of capture do not say what the link carries in a second"))
        }
        _ => ("NO", "it does not fit".to_owned()),
    };
    let speed = document.link.speed_bps;
    let text = format!(
        "{because}; then {} of the link on average and {} in the fullest second, {} are to stay free",
        per_cent_up(document.mean_then_bps, speed),
        per_cent_up(document.peak_1s_then_bps, speed),
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
