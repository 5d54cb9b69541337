//! What is wrong with a site file, and where.

use std::fmt;

/// One thing wrong with a site file.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Problem {
    /// The line, from 1.
    pub line: usize,
    /// The key with its section, such as `clock.leader`; `None` where the text is no TOML.
    pub key: Option<String>,
    /// What is wrong with it, and what to write instead.
    pub text: String,
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.key {
            Some(key) => write!(f, "line {}: {key}: {}", self.line, self.text),
            None => write!(f, "line {}: {}", self.line, self.text),
        }
    }
}
