//! What a report for people is written on: how wide it may be, and whether it shows ASCII alone.

use std::io;
use std::io::Write;

use super::cell::beginning;
use super::cell::columns;
use super::cell::in_ascii;

/// Columns that the text keeps to where there may be no more.
const WIDTH: usize = 80;

/// The widest that text grows where there is room (chosen: beyond that an eye loses the line).
const WIDEST: usize = 160;

/// What a terminal can show.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Style {
    /// Its columns; text keeps to 80 at the least and does not grow beyond 160.
    pub width: usize,
    /// Whether it shows ASCII alone.
    pub ascii: bool,
}

impl Default for Style {
    fn default() -> Self {
        Self { width: WIDTH, ascii: false }
    }
}

/// Where text is written.
pub(crate) struct Paper<'a> {
    out: &'a mut dyn Write,
    style: Style,
}

impl Paper<'_> {
    /// Writes with `write` in a style to `out`.
    pub(crate) fn of(
        style: Style,
        out: &mut impl Write,
        write: impl FnOnce(&mut Paper<'_>) -> io::Result<()>,
    ) -> io::Result<()> {
        let style = Style { width: style.width.clamp(WIDTH, WIDEST), ..style };
        if !style.ascii {
            return write(&mut Paper { out, style });
        }
        let mut text = Vec::new();
        write(&mut Paper { out: &mut text, style })?;
        out.write_all(in_ascii(&String::from_utf8_lossy(&text)).as_bytes())
    }

    /// Its style; the width is within its bounds.
    pub(crate) const fn style(&self) -> Style {
        self.style
    }

    /// Columns of a line.
    pub(crate) const fn width(&self) -> usize {
        self.style.width
    }
}

impl Write for Paper<'_> {
    fn write(&mut self, octets: &[u8]) -> io::Result<usize> {
        self.out.write(octets)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.out.flush()
    }
}

/// Units that stay with their value.
const UNITS: [&str; 12] = ["%", "s", "ms", "us", "µs", "ns", "b/s", "kb/s", "Mb/s", "Gb/s", "Hz", "ppm"];

/// Without a break within a number, or between a value and its unit.
pub(in crate::report) fn kept_together(text: &str) -> String {
    let mut kept = String::with_capacity(text.len());
    for (index, word) in text.split(' ').enumerate() {
        let bare = word.trim_end_matches(|c: char| c.is_ascii_punctuation() && c != '%');
        let is_group = bare.len() == 3 && bare.bytes().all(|digit| digit.is_ascii_digit());
        let follows_digit = kept.ends_with(|c: char| c.is_ascii_digit());
        let stays = follows_digit && (is_group || UNITS.contains(&bare));
        if index > 0 {
            kept.push(if stays { '\u{a0}' } else { ' ' });
        }
        kept.push_str(word);
    }
    kept
}

/// Writes `text` behind `label`, wrapped at spaces to the paper's width; further lines stand under the text's first.
pub(crate) fn paragraph(out: &mut Paper<'_>, indent: usize, label: &str, text: &str) -> io::Result<()> {
    let width = out.width();
    let hang = (indent + columns(label)).min(WIDTH / 3);
    let mut line = format!("{:indent$}{label}", "");
    let mut empty = true;
    let text = kept_together(text);
    for word in text.split(' ') {
        if !empty && columns(&line) + 1 + columns(word) > width {
            writeln!(out, "{}", line.trim_end().replace('\u{a0}', " "))?;
            line = format!("{:hang$}", "");
            empty = true;
        }
        if !empty {
            line.push(' ');
        }
        let mut rest = word;
        // Writing without blanks goes on in the next line at any letter (Unicode Standard Annex 14, from memory); other long
        // words stay whole, to be copied.
        while columns(&line) + columns(rest) > width && columns(rest) > rest.chars().count() {
            let part = beginning(rest, width.saturating_sub(columns(&line)));
            if part.is_empty() {
                break;
            }
            writeln!(out, "{line}{part}")?;
            line = format!("{:hang$}", "");
            rest = rest.get(part.len()..).unwrap_or_default();
        }
        line.push_str(rest);
        empty = false;
    }
    writeln!(out, "{}", line.trim_end().replace('\u{a0}', " "))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_and_their_units_do_not_break_over_lines_and_words_do() {
        for (text, kept) in [
            ("24 000 packets", "24\u{a0}000 packets"),
            ("1 234 567, more", "1\u{a0}234\u{a0}567, more"),
            ("jitter 0 s, then", "jitter 0\u{a0}s, then"),
            ("12 Mb/s (1.2 %)", "12\u{a0}Mb/s (1.2\u{a0}%)"),
            ("group 239 and 2 ports", "group 239 and 2 ports"),
            ("it is s", "it is s"),
        ] {
            assert_eq!(kept_together(text), kept, "{text}");
        }
    }

    fn on(width: usize, ascii: bool, text: &str) -> String {
        let mut out = Vec::new();
        Paper::of(Style { width, ascii }, &mut out, |paper| paragraph(paper, 2, "label  ", text)).unwrap();
        String::from_utf8(out).unwrap()
    }

    #[test]
    fn a_paragraph_takes_the_room_there_is_from_80_columns_to_160() {
        let text = "nine more ".repeat(40);
        for (asked, least, most) in
            [(0, 70, 80), (80, 70, 80), (120, 110, 120), (160, 150, 160), (9000, 150, 160)]
        {
            let told = on(asked, false, &text);
            let longest = told.lines().map(columns).max().unwrap();
            assert!((least..=most).contains(&longest), "{asked}: {longest}");
        }
    }

    #[test]
    fn writing_without_blanks_breaks_at_a_letter_and_other_long_words_stay_whole() {
        let wide = "舞台".repeat(60);
        let told = on(100, false, &wide);
        assert!(told.lines().all(|line| columns(line) <= 100) && told.lines().count() == 3, "{told}");
        let word = "x".repeat(130);
        assert!(on(100, false, &word).contains(&word));
        assert!(on(100, true, "± 3 … 舞台").contains("+-3 ~ ????"), "{}", on(100, true, "± 3 … 舞台"));
    }
}
