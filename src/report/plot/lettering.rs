//! A plot for a font that lacks some letters.

use unicode_width::UnicodeWidthChar;

use super::Mark;
use super::Plot;

/// What is said of letters that are not there. What they stand for is found by the address beside them.
const LACKING: &str = "? stands for letters that this picture’s font lacks: the SVG has them, and the table of devices by address.";

/// The plot with question marks for what `has` not, which its note then says.
pub(super) fn with(plot: &Plot, has: impl Fn(char) -> bool) -> Plot {
    let mut plot = plot.clone();
    let mut is_lacking = false;
    let mut shown = |text: &mut String| {
        if text.chars().all(|c| is_there(c, &has)) {
            return;
        }
        is_lacking = true;
        let sign =
            |c: char| if is_there(c, &has) { c.to_string() } else { "?".repeat(c.width().unwrap_or(0)) };
        *text = text.chars().map(sign).collect();
    };
    shown(&mut plot.title);
    shown(&mut plot.note);
    for (_, name) in &mut plot.legend {
        shown(name);
    }
    for mark in &mut plot.marks {
        match mark {
            Mark::Label { text, .. } => shown(text),
            Mark::Tag { short, long, .. } => {
                shown(short);
                shown(long);
            }
            _ => {}
        }
    }
    if is_lacking {
        plot.note = format!("{} {LACKING}", plot.note).trim_start().to_owned();
    }
    plot
}

/// Control characters are escaped where text is drawn.
fn is_there(c: char, has: impl Fn(char) -> bool) -> bool {
    c.is_control() || c == ' ' || has(c)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::plot::Colour;
    use crate::report::plot::Quantity;
    use crate::report::plot::ticks;

    #[test]
    fn letters_that_are_not_there_are_question_marks_as_wide_and_the_note_says_so() {
        let ascii = |c: char| c.is_ascii() || c == '’';
        let named = |name: &str| {
            let label = Mark::Label { x: 0.0, y: 0.0, text: name.to_owned() };
            let (short, long) = (" A".to_owned(), format!(" A  {name}"));
            let tag = Mark::Tag { x: (0.0, 1.0), y: 0.0, short, long };
            let plot = Plot {
                id: "test".to_owned(),
                title: format!("{name}: a test"),
                note: String::new(),
                x: ticks::time(0.0, 60.0, 5),
                y: ticks::values(-10.0, 10.0, 5, Quantity::Nanoseconds),
                marks: vec![label, tag],
                legend: vec![(Colour::Voice(0), format!("A  {name} (02-00)"))],
                height: 200,
            };
            (with(&plot, ascii), plot)
        };
        let (shown, _) = named("cam\u{e9}ra 舞台\u{301}");
        assert_eq!(shown.title, "cam?ra ????: a test");
        assert_eq!(shown.legend[0].1, "A  cam?ra ???? (02-00)");
        let texts: Vec<&str> = shown
            .marks
            .iter()
            .map(|mark| match mark {
                Mark::Label { text, .. } => text.as_str(),
                Mark::Tag { long, .. } => long.as_str(),
                _ => "",
            })
            .collect();
        assert_eq!(texts, ["cam?ra ????", " A  cam?ra ????"]);
        assert_eq!(shown.note, LACKING);
        let (shown, plain) = named("camera");
        assert_eq!(shown, plain);
    }
}
