//! The verdict, what to do first, and every finding.

use maud::Markup;
use maud::html;

use super::safe::foreign;
use crate::report::document::Document;
use crate::report::document::EvidenceDocument;
use crate::report::document::FindingDocument;
use crate::report::document::SeverityName;
use crate::report::document::StrengthName;
use crate::report::document::VerdictName;
use crate::report::format::count;
use crate::report::format::partial;
use crate::report::format::things;
use crate::report::text::labels::Labels;

/// Pieces of evidence shown of one finding; the JSON report has all.
const EVIDENCE: usize = 40;

/// The verdict in a word.
pub(super) const fn word(document: &Document) -> &'static str {
    match document.verdict {
        VerdictName::Sound => "Sound",
        VerdictName::Watch => "Watch",
        VerdictName::Fault => "Fault",
        VerdictName::CannotTell => "Cannot tell",
    }
}

/// The verdict's class and sign: the sign differs in shape, so that colour is not needed.
const fn sign(document: &Document) -> (&'static str, &'static str) {
    match document.verdict {
        VerdictName::Sound => ("sound", "♩"),
        VerdictName::Watch => ("watch", "◇"),
        VerdictName::Fault => ("fault", "✕"),
        VerdictName::CannotTell => ("unknown", "?"),
    }
}

const fn severity(finding: &FindingDocument) -> (&'static str, &'static str) {
    match finding.severity {
        SeverityName::Critical => ("critical", "✕"),
        SeverityName::Major => ("major", "▲"),
        SeverityName::Minor => ("minor", "◇"),
        SeverityName::Info => ("info", "·"),
    }
}

/// How firmly something is said, in words.
pub(super) const fn strength(strength: StrengthName) -> &'static str {
    match strength {
        StrengthName::Shown => "shown",
        StrengthName::Inferred => "inferred",
        StrengthName::CannotTell => "cannot tell",
    }
}

/// The section.
pub(super) fn section(document: &Document) -> Markup {
    let (class, sign) = sign(document);
    let labels = Labels::of(document);
    html! {
        section id="verdict" {
            div class={ "verdict " (class) } {
                @if let Some(partial) = partial(&document.span) {
                    p.partial { strong { "Partial" } ": " (partial) }
                }
                h1 { span.sign aria-hidden="true" { (sign) } (word(document)) }
                p.because { (foreign(&labels.put_into(&document.verdict_because))) }
            }
            (first(document))
            @for (index, finding) in document.findings.iter().enumerate() {
                @if finding.follows_from.is_none() {
                    (self::finding(&labels, finding, document.captures.len() > 1, index == 0 && is_grave(finding)))
                    (effects(&labels, document, index))
                }
            }
        }
    }
}

/// What likely follows from a finding, closed until asked for.
fn effects(labels: &Labels<'_>, document: &Document, index: usize) -> Markup {
    let behind = document.findings.iter().skip(index.saturating_add(1));
    let effects: Vec<&FindingDocument> =
        behind.take_while(|finding| finding.follows_from == Some(index)).collect();
    let number = u64::try_from(effects.len()).unwrap_or(u64::MAX);
    html! {
        @if !effects.is_empty() {
            details.effects {
                summary {
                    (things(number, "finding"))
                    @if number == 1 { " likely follows" } @else { " likely follow" }
                    " from the one above"
                }
                @for effect in effects { (finding(labels, effect, document.captures.len() > 1, false)) }
            }
        }
    }
}

fn is_grave(finding: &FindingDocument) -> bool {
    finding.severity > SeverityName::Info
}

/// What to do first: the gravest finding's next steps.
fn first(document: &Document) -> Markup {
    let gravest = document.findings.first().filter(|finding| is_grave(finding));
    let steps: Vec<&str> = match gravest {
        Some(finding) => finding.next.clone(),
        None => document.verdict_next.clone(),
    };
    html! {
        @if !steps.is_empty() {
            div.first {
                h2 { "Do this first" }
                ol { @for step in steps { li { (step) } } }
            }
        }
    }
}

/// `is_first`: what to do stands above already.
fn finding(labels: &Labels<'_>, finding: &FindingDocument, several_files: bool, is_first: bool) -> Markup {
    let (class, sign) = severity(finding);
    let more = u64::try_from(finding.evidence.len().saturating_sub(EVIDENCE)).unwrap_or(u64::MAX);
    html! {
        article class={ "finding " (class) } {
            h3 { (foreign(&labels.put_into(&finding.title))) }
            p.tags {
                span.tag { span aria-hidden="true" { (sign) " " } (class) }
                span.tag { (strength(finding.strength)) }
                code { (finding.id) }
            }
            ul.evidence {
                @for evidence in finding.evidence.iter().take(EVIDENCE) {
                    li { (place(evidence, several_files)) (foreign(&labels.put_into(&evidence.text))) }
                }
                @if more > 0 { li { "and " (count(more)) " more, which the JSON report has" } }
            }
            @if !is_first && !finding.next.is_empty() {
                p.do { strong { "Next" } }
                ul { @for step in &finding.next { li { (step) } } }
            }
            p.source { "Source: " (finding.sources.join("; ")) }
        }
    }
}

fn place(evidence: &EvidenceDocument, several_files: bool) -> Markup {
    html! {
        @if let Some(frame) = evidence.frame {
            span.frame {
                @if let Some(file) = evidence.file.as_deref().filter(|_| several_files) { (foreign(file)) " " }
                "frame " (count(frame))
            }
            " "
        }
    }
}
