//! How firmly a thing is said: the one scale for places, states and findings.

/// How firmly something is said.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Strength {
    /// The octets say it.
    Shown,
    /// The octets fit it and the alternatives were looked at.
    Inferred,
    /// This capture cannot say.
    CannotTell,
}

impl Strength {
    /// The name in the JSON report.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Shown => "shown",
            Self::Inferred => "inferred",
            Self::CannotTell => "cannot-tell",
        }
    }
}
