//! Plots of rows: who led, who asked for which group.

use std::collections::BTreeMap;

use super::Axis;
use super::Colour;
use super::Mark;
use super::Plot;
use super::Quantity;
use super::charts::number;
use super::charts::time_axis;
use super::charts::unwatched;
use super::name_of_clock;
use super::named;
use crate::report::document::Document;
use crate::report::document::DomainDocument;
use crate::report::document::MemberDocument;
use crate::report::format::plain_short;
use crate::report::series::RivalSpan;
use crate::report::series::Series;

/// Rows of a plot at the most (chosen: a page of paper).
const ROWS: usize = 24;
/// Rivals of a domain with a row of their own (chosen).
const RIVALS: usize = 4;

/// A row: its name and what is in it.
struct Row {
    name: String,
    spans: Vec<Span>,
}

/// A span of a row.
struct Span {
    x: (f64, f64),
    colour: Colour,
    /// Its letter, and what it is called.
    tag: Option<(String, String)>,
    text: String,
}

/// Clocks with their colours and letters, in the order of their first mark.
struct Clocks<'a> {
    document: &'a Document,
    known: BTreeMap<String, (Colour, String)>,
    legend: Vec<(Colour, String)>,
}

impl Clocks<'_> {
    fn of(&mut self, clock: &str) -> (Colour, String) {
        if let Some(known) = self.known.get(clock) {
            return known.clone();
        }
        let place = self.known.len();
        let colour = Colour::Voice(u8::try_from(place % 8).unwrap_or(0));
        let letter = letters(place);
        self.legend.push((colour, format!("{letter}  {}", named(self.document, clock))));
        self.known.insert(clock.to_owned(), (colour, letter.clone()));
        (colour, letter)
    }

    /// A letter and what a bar calls its clock.
    fn tag(&self, letter: String, clock: &str) -> (String, String) {
        (letter, name_of_clock(self.document, clock).unwrap_or_else(|| clock.to_owned()))
    }
}

/// A to Z, then AA and so on.
fn letters(place: usize) -> String {
    let letter = |index: usize| u8::try_from(index % 26).map_or('?', |index| char::from(b'A' + index));
    match place.checked_sub(26) {
        None => letter(place).to_string(),
        Some(rest) => format!("{}{}", letters(rest / 26), letter(rest)),
    }
}

/// Who led each domain, from when to when, and who offered itself beside it; `None` where nobody led. The domains are
/// in `order`.
pub(in crate::report) fn leaders(document: &Document, series: &Series, order: &[usize]) -> Option<Plot> {
    let mut clocks = Clocks { document, known: BTreeMap::new(), legend: Vec::new() };
    let led: Vec<(&DomainDocument, &[RivalSpan])> = order
        .iter()
        .filter_map(|index| {
            let rivals = series.domains.get(*index).map_or(&[][..], |time| time.rivals.as_slice());
            Some((document.domains.get(*index)?, rivals))
        })
        .filter(|(domain, _)| !domain.tenures.is_empty())
        .collect();
    let mut rows = Vec::new();
    let mut told = 0_usize;
    let mut not_told = 0_usize;
    for (domain, rivals) in &led {
        if rows.len() >= ROWS {
            break;
        }
        told += 1;
        rows.push(lead(&mut clocks, domain));
        let mut beside: Vec<Row> = Vec::new();
        let mut by_clock: BTreeMap<&str, Vec<&RivalSpan>> = BTreeMap::new();
        for rival in *rivals {
            by_clock.entry(&rival.clock).or_default().push(rival);
        }
        let room = ROWS.saturating_sub(rows.len()).min(RIVALS);
        not_told += by_clock.len().saturating_sub(room);
        beside.extend(by_clock.into_values().take(room).map(|spans| rival(&mut clocks, domain, &spans)));
        rows.append(&mut beside);
    }
    let mut notes = Vec::new();
    if led.len() > told {
        notes.push(format!("and {} more domains, which the table of domains has", led.len() - told));
    }
    if not_told > 0 {
        notes.push(format!("and {not_told} more clocks beside a leader"));
    }
    let legend = std::mem::take(&mut clocks.legend);
    (!rows.is_empty()).then(|| rows_plot("leaders", "Who leads", notes.join(", "), series, rows, legend))
}

fn lead(clocks: &mut Clocks<'_>, domain: &DomainDocument) -> Row {
    let span = |tenure: &crate::report::document::TenureDocument| {
        let (colour, letter) = clocks.of(&tenure.clock);
        let x = (tenure.from_at_s, tenure.until_at_s.max(tenure.from_at_s));
        let text = format!(
            "{letter} {} leads {} from {:.3} s to {:.3} s, {}",
            named(clocks.document, &tenure.clock),
            domain.key,
            x.0,
            x.1,
            ended(tenure.ended_by)
        );
        Span { x, colour, tag: Some(clocks.tag(letter, &tenure.clock)), text }
    };
    Row { name: plain_short(&domain.key), spans: domain.tenures.iter().map(span).collect() }
}

/// A clock that goes on offering itself: in a row below the leader's, so that both are seen at once.
fn rival(clocks: &mut Clocks<'_>, domain: &DomainDocument, spans: &[&RivalSpan]) -> Row {
    let span = |rival: &&RivalSpan| {
        let (colour, letter) = clocks.of(&rival.clock);
        let x = (rival.from_s, rival.until_s.max(rival.from_s));
        let text = format!(
            "{letter} {} offers itself beside the leader {} of {} from {:.3} s to {:.3} s",
            named(clocks.document, &rival.clock),
            named(clocks.document, &rival.leader),
            domain.key,
            x.0,
            x.1
        );
        Span { x, colour, tag: Some(clocks.tag(letter, &rival.clock)), text }
    };
    let name = format!("{}: offers itself beside the leader", plain_short(&domain.key));
    Row { name, spans: spans.iter().map(span).collect() }
}

fn ended(by: &str) -> &str {
    match by {
        "capture-end" => "to the end of the capture",
        "announce-timeout" => "ended: it fell silent",
        "better-clock" => "ended: a better clock took over",
        "quality-change" => "ended: its own quality changed",
        "sync-stopped" => "ended: its Sync stopped",
        other => other,
    }
}

fn rows_plot(
    id: &str,
    title: &str,
    note: String,
    series: &Series,
    rows: Vec<Row>,
    mut legend: Vec<(Colour, String)>,
) -> Plot {
    let high = number(rows.len());
    let height = u32::try_from(rows.len()).unwrap_or(u32::MAX).saturating_mul(42).saturating_add(40);
    let axis = time_axis(series);
    let (mut marks, hole) = unwatched(series);
    legend.extend(hole);
    for (index, row) in rows.into_iter().enumerate() {
        // Rows count from above.
        let below = high - number(index) - 1.0;
        marks.push(Mark::Label { x: axis.from, y: below + 0.96, text: row.name });
        for Span { x, colour, tag, text } in row.spans {
            marks.push(Mark::Block { x, y: (below + 0.08, below + 0.5), colour, text });
            if let Some((letter, name)) = tag {
                // A space that no drawing program leaves out keeps the letter off the bar's end.
                let (short, long) = (format!("\u{A0}{letter}"), format!("\u{A0}{letter} {name}"));
                marks.push(Mark::Tag { x, y: below + 0.42, short, long });
            }
        }
    }
    let y = Axis { from: 0.0, to: high, ticks: Vec::new(), between: Vec::new(), quantity: Quantity::Rows };
    Plot { id: id.to_owned(), title: title.to_owned(), note, x: axis, y, marks, legend, height }
}

/// Who asked for which groups, from when to when; `None` where nobody did.
pub(in crate::report) fn members(document: &Document, series: &Series) -> Option<Plot> {
    let groups = &document.multicast.memberships;
    let all: usize = groups.iter().map(|group| group.members.len()).sum();
    let members = groups.iter().flat_map(|group| group.members.iter().map(move |member| (group, member)));
    let row = |(group, member): (&crate::report::document::MembershipDocument, &MemberDocument)| {
        let span = |(x, end): ((f64, f64), &str)| Span {
            x,
            colour: Colour::Voice(if member.ended_at_s.is_some() { 1 } else { 0 }),
            tag: None,
            text: format!(
                "{} asks for {} from {:.3} s to {:.3} s, {end}",
                member.host, group.group, x.0, x.1
            ),
        };
        Row {
            name: plain_short(&format!("{} asks for {}", member.host, group.group)),
            spans: self::span(member, series).map(span).into_iter().collect(),
        }
    };
    let rows: Vec<Row> = members.take(ROWS).map(row).collect();
    let note = match all.saturating_sub(rows.len()) {
        0 => String::new(),
        more => format!("and {more} more, which the table has"),
    };
    let has = |colour: Colour| rows.iter().flat_map(|row| &row.spans).any(|span| span.colour == colour);
    let legend = [
        (Colour::Voice(0), "member to the end".to_owned()),
        (Colour::Voice(1), "left, or fell silent for too long".to_owned()),
    ];
    let legend = legend.into_iter().filter(|(colour, _)| has(*colour)).collect();
    (!rows.is_empty()).then(|| rows_plot("members", "Who asks for which group", note, series, rows, legend))
}

fn span(member: &MemberDocument, series: &Series) -> Option<((f64, f64), &'static str)> {
    let from = member.first_at_s?;
    let (until, end) = match (member.ended_at_s, member.ended_by) {
        (Some(until), Some("left")) => (until, "until it left"),
        (Some(until), _) => (until, "until its membership ran out"),
        (None, _) => (series.until_s, "member to the end"),
    };
    Some(((from, until.max(from)), end))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn letters_do_not_repeat() {
        let all: std::collections::BTreeSet<String> = (0..1000).map(letters).collect();
        assert_eq!(all.len(), 1000);
        assert_eq!([letters(0), letters(25), letters(26), letters(52)], ["A", "Z", "AA", "BA"]);
    }
}
