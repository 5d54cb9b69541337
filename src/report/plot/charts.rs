//! Plots over time, from the document and its series.

use std::collections::BTreeMap;

use super::Axis;
use super::Colour;
use super::Mark;
use super::Plot;
use super::Quantity;
use super::thin::thin;
use super::ticks;
use crate::report::document::Document;
use crate::report::document::MemberDocument;
use crate::report::format::count;
use crate::report::format::duration_ns_exact;
use crate::report::format::plain_short;
use crate::report::format::things;
use crate::report::series::DomainSeries;
use crate::report::series::SampleSeries;
use crate::report::series::Series;

pub(in crate::report) use super::distributions::delays;
pub(in crate::report) use super::distributions::stability;
pub(in crate::report) use super::distributions::sync_intervals;

/// Rows of a plot at the most (chosen: a page of paper).
const ROWS: usize = 24;
/// Sources with a colour of their own; the rest are one.
const SOURCES: usize = 7;
/// Columns that points are thinned for (chosen: a wide screen).
const COLUMNS: u32 = 2000;
/// Median intervals without a sample that are a hole (chosen).
const HOLE: f64 = 8.0;
/// Marks of loss or jumps in a plot (chosen).
const UPRIGHTS: usize = 200;
/// Lines of a time axis.
const TIMES: u32 = 5;

/// The axis that all plots over time share.
pub(in crate::report) fn time_axis(series: &Series) -> Axis {
    ticks::time(series.from_s, series.until_s, TIMES)
}

/// Who led each domain, from when to when; `None` where nobody did.
pub(in crate::report) fn leaders(document: &Document, series: &Series) -> Option<Plot> {
    let domains: Vec<_> = document.domains.iter().filter(|domain| !domain.tenures.is_empty()).collect();
    let mut legend: Vec<(Colour, String)> = Vec::new();
    let mut colours: BTreeMap<&str, (Colour, char)> = BTreeMap::new();
    let mut marks = Vec::new();
    let rows = domains.len().min(ROWS);
    for (row, domain) in domains.iter().take(ROWS).enumerate() {
        let below = row_below(row, rows);
        marks.push(row_name(series, below, &domain.key));
        for tenure in &domain.tenures {
            let next = u8::try_from(colours.len()).unwrap_or(u8::MAX);
            let (colour, letter) = *colours.entry(&tenure.clock).or_insert_with(|| {
                let colour = Colour::Voice(next);
                let letter = char::from(b'A'.saturating_add(next % 26));
                legend.push((colour, format!("{letter}  {}", tenure.clock)));
                (colour, letter)
            });
            let x = (tenure.from_at_s, tenure.until_at_s.max(tenure.from_at_s));
            let text = format!(
                "{letter} {} leads {} from {:.3} s to {:.3} s, {}",
                tenure.clock,
                domain.key,
                x.0,
                x.1,
                ended(tenure.ended_by)
            );
            marks.push(Mark::Block { x, y: (below + 0.08, below + 0.5), colour, text });
            marks.push(Mark::Label { x: x.0, y: below + 0.48, text: format!(" {letter}") });
        }
    }
    let note = match domains.len().checked_sub(rows).filter(|more| *more > 0) {
        Some(more) => format!("and {more} more domains, which the table of domains has"),
        None => String::new(),
    };
    (rows > 0).then(|| rows_plot("leaders", "Who leads", note, series, rows, marks, legend))
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

/// Rows count from above.
fn row_below(row: usize, rows: usize) -> f64 {
    number(rows.saturating_sub(row).saturating_sub(1))
}

fn number(count: usize) -> f64 {
    u32::try_from(count).map_or(f64::from(u32::MAX), f64::from)
}

fn row_name(series: &Series, below: f64, name: &str) -> Mark {
    Mark::Label { x: time_axis(series).from, y: below + 0.96, text: plain_short(name) }
}

fn rows_plot(
    id: &str,
    title: &str,
    note: String,
    series: &Series,
    rows: usize,
    marks: Vec<Mark>,
    legend: Vec<(Colour, String)>,
) -> Plot {
    let high = u32::try_from(rows).unwrap_or(u32::MAX);
    let y = Axis {
        from: 0.0,
        to: number(rows),
        ticks: Vec::new(),
        between: Vec::new(),
        quantity: Quantity::Rows,
    };
    Plot {
        id: id.to_owned(),
        title: title.to_owned(),
        note,
        x: time_axis(series),
        y,
        marks,
        legend,
        height: high.saturating_mul(42).saturating_add(40),
    }
}

/// The capture's clock against the leader's over time; `None` without samples.
pub(in crate::report) fn offset(index: usize, domain: &DomainSeries, series: &Series) -> Option<Plot> {
    let offset = domain.offset.as_ref()?;
    let basis = if domain.is_one_way {
        "from Syncs alone: the way from the leader is in it"
    } else {
        "from exchanges"
    };
    let title = format!("{}: the capture’s clock less the leader’s", domain.domain);
    let mut plot = samples(&format!("offset-{index}"), &title, offset, series, &domain.domain);
    plot.note = format!("0 is the median, {}; {basis}. {}", duration_ns_exact(offset.base_ns), plot.note);
    for step in domain.steps.iter().take(UPRIGHTS) {
        let whose = match step.whose {
            "leader" => "the leader’s time jumps",
            "capture" => "the capture’s clock jumps",
            _ => "the leader’s time or the capture’s clock jumps",
        };
        let text = format!("{whose} by {}", ticks::value_label(step.size_ns, 0.0, Quantity::Nanoseconds));
        plot.marks.push(Mark::Upright { x: step.at_s, colour: Colour::Alarm, text });
    }
    if !domain.steps.is_empty() {
        plot.legend.push((Colour::Alarm, "upright line: time jumps".to_owned()));
    }
    Some(plot)
}

/// The path's delay over time; `None` without samples.
pub(in crate::report) fn path_delay(index: usize, domain: &DomainSeries, series: &Series) -> Option<Plot> {
    let delay = domain.path_delay.as_ref()?;
    let title = format!("{}: delay between leader and capture point", domain.domain);
    let mut plot = samples(&format!("delay-{index}"), &title, delay, series, &domain.domain);
    plot.note = format!("0 is the median, {}. {}", duration_ns_exact(delay.base_ns), plot.note);
    Some(plot)
}

fn samples(id: &str, title: &str, samples: &SampleSeries, series: &Series, name: &str) -> Plot {
    let points: Vec<(f64, f64)> =
        samples.samples.iter().map(|sample| (sample.at_s, sample.value_ns)).collect();
    let (low, high) = ends(points.iter().map(|point| point.1));
    let colour = Colour::Voice(0);
    Plot {
        id: id.to_owned(),
        title: title.to_owned(),
        note: format!("{} samples.", count(samples.taken).replace(' ', "\u{a0}")),
        x: time_axis(series),
        y: ticks::values(low, high, 6, Quantity::Nanoseconds),
        marks: std::iter::once(Mark::Band { from: samples.p5_ns, to: samples.p95_ns })
            .chain(unbroken(&points).into_iter().map(|piece| Mark::Line {
                name: name.to_owned(),
                colour,
                points: thin(piece, COLUMNS),
            }))
            .collect(),
        legend: vec![
            (colour, "line: samples".to_owned()),
            (Colour::Band, "band: 5th to 95th percentile".to_owned()),
        ],
        height: 210,
    }
}

/// Pieces without a hole: nobody knows what a line across one would say.
fn unbroken(points: &[(f64, f64)]) -> Vec<&[(f64, f64)]> {
    let mut gaps: Vec<f64> = points.windows(2).filter_map(gap).collect();
    gaps.sort_by(f64::total_cmp);
    let median = gaps.get(gaps.len() / 2).copied().unwrap_or(0.0);
    let length = points.first().zip(points.last()).map_or(0.0, |(first, last)| last.0 - first.0);
    let hole = (median * HOLE).max(length / 50.0);
    let mut pieces: Vec<&[(f64, f64)]> =
        points.chunk_by(|before, after| after.0 - before.0 <= hole).collect();
    // A series made of holes would be a thousand dots.
    if pieces.len() > UPRIGHTS {
        pieces = vec![points];
    }
    pieces
}

fn gap(pair: &[(f64, f64)]) -> Option<f64> {
    let [before, after] = pair else { return None };
    Some(after.0 - before.0)
}

/// Smallest and largest; 0 twice without any.
pub(super) fn ends(values: impl Iterator<Item = f64>) -> (f64, f64) {
    values
        .filter(|value| value.is_finite())
        .fold(None, |ends: Option<(f64, f64)>, value| {
            Some(ends.map_or((value, value), |(low, high)| (low.min(value), high.max(value))))
        })
        .unwrap_or((0.0, 0.0))
}

/// What each source sends, one upon the other, with the link's speed; `None` where no time passes.
pub(in crate::report) fn load(series: &Series) -> Option<Plot> {
    let load = &series.load;
    if load.link_bps.len() < 2 || load.width_s <= 0.0 {
        return None;
    }
    let mut layers: Vec<(String, Vec<f64>)> = load
        .sources
        .iter()
        .take(SOURCES)
        .map(|source| (source.device.clone().unwrap_or_else(|| source.source.clone()), source.bps.clone()))
        .collect();
    let rest: Vec<f64> = load
        .link_bps
        .iter()
        .enumerate()
        .map(|(bin, link)| {
            let told = layers.iter().filter_map(|(_, bps)| bps.get(bin)).sum::<f64>();
            (link - told).max(0.0)
        })
        .collect();
    layers.push(("all other frames".to_owned(), rest));
    let mut marks = Vec::new();
    let mut legend = Vec::new();
    let mut floor = vec![0.0; load.link_bps.len()];
    let last = layers.len().saturating_sub(1);
    for (index, (name, bps)) in layers.into_iter().enumerate() {
        let colour = Colour::Voice(if index == last { 7 } else { u8::try_from(index).unwrap_or(6) });
        let ceiling: Vec<f64> = floor.iter().zip(&bps).map(|(floor, bps)| floor + bps).collect();
        legend.push((colour, format!("{}  {}", index + 1, plain_short(&name))));
        marks.push(Mark::Area {
            name,
            colour,
            lower: stairs(series, &floor),
            upper: stairs(series, &ceiling),
        });
        floor = ceiling;
    }
    let (_, most) = ends(floor.iter().copied());
    // A link that is nearly empty would show nothing but its limit.
    let with_limit = most > load.speed_bps * 0.15;
    if with_limit {
        marks.push(Mark::Level { y: load.speed_bps, colour: Colour::Alarm });
    }
    for loss in series.losses.iter().take(UPRIGHTS) {
        let text = format!("{}: {} missing in a row", loss.stream, things(loss.missing, "packet"));
        marks.push(Mark::Upright { x: loss.at_s, colour: Colour::Alarm, text });
    }
    let limit = ticks::value_label(load.speed_bps, 0.0, Quantity::BitsPerSecond);
    let limit = if with_limit {
        legend.push((Colour::Alarm, format!("level line: the link’s {limit}")));
        String::new()
    } else {
        format!(" The link’s {limit} lie far above.")
    };
    if !series.losses.is_empty() {
        legend.push((Colour::Alarm, "upright line: packets lost in a row".to_owned()));
    }
    Some(Plot {
        id: "load".to_owned(),
        title: "What the link carries, by source".to_owned(),
        note: format!(
            "On the wire, means of {} s, all directions together; the first and the last are cut by the ends of the capture.{limit}",
            load.width_s
        ),
        x: time_axis(series),
        y: ticks::from_zero(
            if with_limit { most.max(load.speed_bps) } else { most },
            4,
            Quantity::BitsPerSecond,
        ),
        marks,
        legend,
        height: 260,
    })
}

/// Bins as steps, within the capture.
fn stairs(series: &Series, values: &[f64]) -> Vec<(f64, f64)> {
    let load = &series.load;
    let within = |at: f64| at.clamp(series.from_s, series.until_s.max(series.from_s));
    let mut points = Vec::with_capacity(values.len().saturating_mul(2));
    for (index, value) in values.iter().enumerate() {
        let from = load.first_s + number(index) * load.width_s;
        points.push((within(from), *value));
        points.push((within(from + load.width_s), *value));
    }
    points
}

/// Who asked for which groups, from when to when; `None` where nobody did.
pub(in crate::report) fn members(document: &Document, series: &Series) -> Option<Plot> {
    let groups = &document.multicast.memberships;
    let spans: usize = groups.iter().map(|group| group.members.len()).sum();
    let rows = spans.min(ROWS);
    let mut marks = Vec::new();
    let all = groups.iter().flat_map(|group| group.members.iter().map(move |member| (group, member)));
    for (row, (group, member)) in all.take(ROWS).enumerate() {
        let below = row_below(row, rows);
        marks.push(row_name(series, below, &format!("{} asks for {}", member.host, group.group)));
        let Some((x, end)) = span(member, series) else { continue };
        let text =
            format!("{} asks for {} from {:.3} s to {:.3} s, {end}", member.host, group.group, x.0, x.1);
        let colour = Colour::Voice(if member.ended_at_s.is_some() { 1 } else { 0 });
        marks.push(Mark::Block { x, y: (below + 0.08, below + 0.5), colour, text });
    }
    let note = match spans.checked_sub(rows).filter(|more| *more > 0) {
        Some(more) => format!("and {more} more, which the table has"),
        None => String::new(),
    };
    let legend = vec![
        (Colour::Voice(0), "member to the end".to_owned()),
        (Colour::Voice(1), "left, or fell silent for too long".to_owned()),
    ];
    (rows > 0).then(|| rows_plot("members", "Who asks for which group", note, series, rows, marks, legend))
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
