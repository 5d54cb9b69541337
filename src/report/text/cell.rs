//! Text cut to the cells of a table.

/// What stands for the letters that were cut off.
const CUT: char = '…';

/// At most `width` letters, cut off behind.
pub(super) fn cut_behind(text: &str, width: usize) -> String {
    if text.chars().count() <= width {
        return text.to_owned();
    }
    text.chars().take(width.saturating_sub(1)).chain([CUT]).collect()
}

/// At most `width` letters, cut off before: addresses differ at their ends.
pub(super) fn cut_before(text: &str, width: usize) -> String {
    let length = text.chars().count();
    if length <= width {
        return text.to_owned();
    }
    let skipped = length.saturating_sub(width.saturating_sub(1));
    [CUT].into_iter().chain(text.chars().skip(skipped)).collect()
}

/// The text in at most `lines` lines of at most `width` letters, parted at spaces; what does not fit is cut off.
pub(super) fn in_lines(text: &str, width: usize, lines: usize) -> Vec<String> {
    let mut done: Vec<String> = Vec::new();
    let mut line = String::new();
    let mut words = text.split(' ').filter(|word| !word.is_empty()).peekable();
    while let Some(word) = words.peek() {
        let gap = usize::from(!line.is_empty());
        if line.chars().count() + gap + word.chars().count() <= width {
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
    fn no_line_is_wider_than_its_cell_whatever_the_text() {
        for width in 1..30 {
            for lines in 1..4 {
                let text = "a bb ccc dddd eeeee ffffff  ggggggg Bühne_links_außen";
                let cell = in_lines(text, width, lines);
                assert!(cell.len() <= lines, "{cell:?}");
                assert!(cell.iter().all(|line| line.chars().count() <= width), "{width}: {cell:?}");
            }
        }
    }
}
