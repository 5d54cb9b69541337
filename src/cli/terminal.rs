//! What the terminal that shows the report can show.

use std::env;
use std::io::IsTerminal;
use std::io::stdout;

use downbeat::report::Style;

/// The style for standard output, or for a file where `to_file`.
pub(crate) fn style(ascii: bool, to_file: bool) -> Style {
    let plain = Style::default();
    let is_terminal = !to_file && stdout().is_terminal();
    let width = terminal_size::terminal_size().filter(|_| is_terminal);
    let width = width.map_or(plain.width, |(width, _)| usize::from(width.0));
    Style { width, ascii: ascii || (is_terminal && !shows_unicode(|name| env::var(name).ok())) }
}

/// Whether the locale is one of UTF-8: the first that is set of these holds (POSIX.1-2017 base definitions 8.2). Where none is,
/// it is C and no UTF-8; a Windows console takes Unicode whatever they are.
fn shows_unicode(variable: impl Fn(&str) -> Option<String>) -> bool {
    let set = ["LC_ALL", "LC_CTYPE", "LANG"].into_iter().filter_map(variable).find(|value| !value.is_empty());
    let is_utf8 = |locale: String| {
        let locale = locale.to_ascii_lowercase();
        locale.contains("utf-8") || locale.contains("utf8")
    };
    cfg!(windows) || set.is_some_and(is_utf8)
}

#[cfg(all(test, not(windows)))]
mod tests {
    use super::*;

    fn shows(set: &[(&str, &str)]) -> bool {
        shows_unicode(|name| {
            set.iter().find(|(known, _)| *known == name).map(|(_, value)| (*value).to_owned())
        })
    }

    #[test]
    fn the_first_variable_that_is_set_says_what_the_terminal_shows() {
        assert!(shows(&[("LANG", "de_DE.UTF-8")]));
        assert!(shows(&[("LC_ALL", ""), ("LC_CTYPE", "C.utf8"), ("LANG", "C")]));
        assert!(!shows(&[("LC_ALL", "C"), ("LANG", "en_GB.UTF-8")]));
        assert!(!shows(&[("LANG", "de_DE.ISO-8859-1")]));
        assert!(!shows(&[]));
    }
}
