//! A finding: something wrong, with what shows it and what to do.

use super::rule::Rule;
use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::ClockId;
use crate::domains::DomainKey;
use crate::observations::Place;
use crate::streams::FlowKey;
use crate::streams::Stream;
use crate::units::CaptureTime;

/// How much it matters.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// Context.
    Info,
    /// Untidy, worth a note.
    Minor,
    /// Works now, will fail at the next event, or quality is harmed.
    Major,
    /// Media stops or will stop.
    Critical,
}

impl Severity {
    /// The name in the JSON report.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Info => "info",
            Self::Minor => "minor",
            Self::Major => "major",
            Self::Critical => "critical",
        }
    }
}

/// One thing that shows it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Evidence {
    /// The frame, where there is one.
    pub place: Option<Place>,
    /// What it shows, with the values compared.
    pub text: String,
}

/// Something wrong.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Finding {
    /// The rule's id.
    pub id: &'static str,
    /// How much it matters.
    pub severity: Severity,
    /// How firmly it is said.
    pub strength: Strength,
    /// The domain it is about.
    pub domain: Option<DomainKey>,
    /// Key of the device it is about.
    pub device: Option<String>,
    /// The stream it is about.
    pub stream: Option<FlowKey>,
    /// Who, what, how much.
    pub title: String,
    /// What shows it.
    pub evidence: Vec<Evidence>,
    /// What to do, in plain words, first things first.
    pub next: Vec<&'static str>,
    /// Where the rule and its limits come from.
    pub sources: Vec<&'static str>,
    /// Place among all findings of the one that this one likely follows from.
    pub follows_from: Option<usize>,
    /// Keys of the devices that suffer from it, where it is one device's fault and others have the trouble.
    pub affected: Vec<String>,
}

impl Evidence {
    /// What a frame shows.
    #[must_use]
    pub fn at(place: Option<Place>, text: impl Into<String>) -> Self {
        Self { place, text: text.into() }
    }
}

impl Finding {
    /// A finding of `rule` about nothing yet, with the words that go with the rule.
    #[must_use]
    pub fn of(
        rule: &dyn Rule,
        (severity, strength): (Severity, Strength),
        title: String,
        evidence: Vec<Evidence>,
    ) -> Self {
        let next = rule.next().to_vec();
        let sources = rule.sources().to_vec();
        Self {
            id: rule.id(),
            severity,
            strength,
            domain: None,
            device: None,
            stream: None,
            title,
            evidence,
            next,
            sources,
            follows_from: None,
            affected: Vec::new(),
        }
    }

    /// The same, about a domain.
    #[must_use]
    pub const fn in_domain(mut self, domain: DomainKey) -> Self {
        self.domain = Some(domain);
        self
    }

    /// The same, about the device that owns a clock, where there is one.
    #[must_use]
    pub fn about_clock(mut self, analysis: &Analysis, clock: ClockId) -> Self {
        self.device = analysis.device_of(clock).map(|device| device.key.clone());
        self
    }

    /// The same, about a stream and the device that sends it, where that is one.
    #[must_use]
    pub fn about_stream(mut self, analysis: &Analysis, stream: &Stream) -> Self {
        self.stream = Some(stream.key);
        self.device = analysis.sender_of(stream).map(|device| device.key.clone());
        self
    }
}

/// Seconds from the capture's first frame, rounded to three decimals.
pub(in crate::findings) fn at(analysis: &Analysis, time: CaptureTime) -> String {
    analysis.since_origin(time).as_seconds_text()
}
