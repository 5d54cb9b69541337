//! A name and where it comes from.

/// Where a name comes from, what is believed first in front.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum NamedBy {
    /// The site file.
    SiteFile,
}

impl NamedBy {
    /// The name in the JSON report.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::SiteFile => "site-file",
        }
    }
}

/// A name, as it came.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Name {
    /// The text, untrusted.
    pub text: String,
    /// Where it comes from.
    pub by: NamedBy,
}
