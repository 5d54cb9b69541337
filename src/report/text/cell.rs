//! Text cut to the cells of a table, by the columns it takes on a terminal (Unicode Standard Annex 11).

use unicode_width::UnicodeWidthChar;
use unicode_width::UnicodeWidthStr;

/// What stands for what was cut off.
const CUT: char = '…';

/// Characters a column may hold: marks that are put on top of one another are cut off beyond (chosen).
const STACKED: usize = 8;

/// Columns that text takes.
pub(in crate::report) fn columns(text: &str) -> usize {
    text.width()
}

/// The text without what ASCII lacks, as many columns wide: the signs of our own as what reads like them, of foreign text
/// question marks.
pub(super) fn in_ascii(text: &str) -> String {
    let text = text.replace("± ", "+-").replace(['±', '…'], "~");
    let mut plain = String::with_capacity(text.len());
    for c in text.chars() {
        if c.is_ascii() {
            plain.push(c);
        } else {
            plain.extend(std::iter::repeat_n('?', c.width().unwrap_or(0)));
        }
    }
    plain
}

/// The text with blanks behind it up to `width` columns.
pub(super) fn padded(text: &str, width: usize) -> String {
    format!("{text}{}", " ".repeat(width.saturating_sub(columns(text))))
}

/// The longest beginning of at most `width` columns.
pub(in crate::report) fn beginning(text: &str, width: usize) -> &str {
    let most = width.saturating_mul(STACKED);
    let mut end = 0;
    for (taken, (at, letter)) in text.char_indices().enumerate() {
        let next = at + letter.len_utf8();
        if taken >= most || text.get(..next).is_none_or(|part| columns(part) > width) {
            break;
        }
        end = next;
    }
    text.get(..end).unwrap_or_default()
}

/// The longest end of at most `width` columns; it begins with no mark that belongs to what was cut off.
fn end(text: &str, width: usize) -> &str {
    let most = width.saturating_mul(STACKED);
    let mut begin = text.len();
    for (taken, (at, letter)) in text.char_indices().rev().enumerate() {
        if taken >= most || text.get(at..).is_none_or(|part| columns(part) > width) {
            break;
        }
        if letter.width() != Some(0) {
            begin = at;
        }
    }
    text.get(begin..).unwrap_or_default()
}

/// Whether text goes into a cell as it is.
fn fits(text: &str, width: usize) -> bool {
    columns(text) <= width && text.chars().count() <= width.saturating_mul(STACKED)
}

/// At most `width` columns, cut off behind.
pub(super) fn cut_behind(text: &str, width: usize) -> String {
    if fits(text, width) {
        return text.to_owned();
    }
    format!("{}{CUT}", beginning(text, width.saturating_sub(1)))
}

/// At most `width` columns, cut off before: addresses differ at their ends.
pub(super) fn cut_before(text: &str, width: usize) -> String {
    if fits(text, width) {
        return text.to_owned();
    }
    format!("{CUT}{}", end(text, width.saturating_sub(1)))
}

/// The text in at most `lines` lines of at most `width` columns, parted at spaces; what does not fit is cut off.
pub(super) fn in_lines(text: &str, width: usize, lines: usize) -> Vec<String> {
    let mut done: Vec<String> = Vec::new();
    let mut line = String::new();
    let mut words = text.split(' ').filter(|word| !word.is_empty()).peekable();
    while let Some(word) = words.peek() {
        let gap = usize::from(!line.is_empty());
        if columns(&line) + gap + columns(word) <= width && fits(word, width) {
            line.push_str(if gap == 1 { " " } else { "" });
            line.push_str(word);
            words.next();
        } else if done.len() + 1 < lines {
            // A word that is wider than the cell is cut, so that the rest is still told.
            if line.is_empty() {
                line = cut_behind(word, width);
                words.next();
            }
            done.push(std::mem::take(&mut line));
        } else {
            let whole = format!("{line}{}{word}", if gap == 1 { " " } else { "" });
            line = cut_behind(&whole, width);
            break;
        }
    }
    done.push(line);
    done
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ascii_keeps_the_columns_of_what_it_lacks() {
        for (text, plain) in [
            ("offset 3.5 us ± 50 us", "offset 3.5 us +-50 us"),
            ("a long na…", "a long na~"),
            ("Bühne 舞台", "B?hne ????"),
            ("e\u{301}", "e"),
        ] {
            assert_eq!(in_ascii(text), plain);
            assert_eq!(columns(text), columns(plain), "{text}");
        }
    }

    #[test]
    fn cells_are_cut_at_the_end_that_tells_less() {
        assert_eq!(cut_behind("+123.456 us", 11), "+123.456 us");
        assert_eq!(cut_behind("+123.456 us", 10), "+123.456 …");
        assert_eq!(cut_before("02-00-5e-ff-fe-10-00-21", 9), "…10-00-21");
        assert_eq!(cut_before("10.20.0.21", 10), "10.20.0.21");
        assert_eq!(cut_behind("Bühne", 0), "…");
    }

    #[test]
    fn a_cell_takes_as_many_lines_as_it_may_and_no_more() {
        let text = "announced until 4.693 s and yielded";
        assert_eq!(in_lines(text, 40, 1), [text]);
        assert_eq!(in_lines(text, 20, 2), ["announced until", "4.693 s and yielded"]);
        assert_eq!(in_lines(text, 20, 1), ["announced until 4.6…"]);
        assert_eq!(in_lines(text, 12, 2), ["announced", "until 4.693…"]);
        assert_eq!(in_lines("02-00-5e-ff-fe-10-00-21 leads", 10, 2), ["02-00-5e-…", "leads"]);
        assert_eq!(in_lines("", 10, 2), [""]);
    }

    #[test]
    fn wide_letters_take_two_columns_and_marks_none() {
        assert_eq!(cut_behind("舞台左カメラ", 12), "舞台左カメラ");
        assert_eq!(cut_behind("舞台左カメラ", 11), "舞台左カメ…");
        assert_eq!(cut_behind("舞台左カメラ", 10), "舞台左カ…");
        assert_eq!(cut_before("舞台左カメラ", 10), "…左カメラ");
        assert_eq!(cut_behind("🎥🎥🎥", 5), "🎥🎥…");
        // e with acute of two characters, cut before the one after it and never between.
        assert_eq!(cut_behind("cafe\u{301} noir", 5), "cafe\u{301}…");
        assert_eq!(cut_before("cafe\u{301}", 3), "…fe\u{301}");
        assert_eq!(cut_before("aaae\u{301}\u{302}b", 2), "…b");
        assert_eq!(padded("舞台", 6), "舞台  ");
        assert_eq!(padded("cafe\u{301}", 6), "cafe\u{301}  ");
    }

    #[test]
    fn marks_are_not_stacked_without_end() {
        let tower = format!("a{}", "\u{301}".repeat(10_000));
        for cut in [cut_behind(&tower, 10), cut_before(&tower, 10), in_lines(&tower, 10, 2).concat()] {
            assert!(cut.chars().count() <= 100, "{}", cut.chars().count());
        }
    }

    #[test]
    fn no_line_is_wider_than_its_cell_whatever_the_text() {
        for width in 2..30 {
            for lines in 1..4 {
                let text =
                    "a bb ccc dddd eeeee ffffff  ggggggg Bühne_links_außen 舞台左カメラ 🎥 cafe\u{301}";
                let cell = in_lines(text, width, lines);
                assert!(cell.len() <= lines, "{cell:?}");
                assert!(cell.iter().all(|line| columns(line) <= width), "{width}: {cell:?}");
            }
        }
    }
}
