//! Plots over time, from the document and its series.

use super::Axis;
use super::Colour;
use super::Mark;
use super::Plot;
use super::Quantity;
use super::named_port;
use super::thin::thin;
use super::ticks;
use crate::report::document::Document;
use crate::report::document::DomainDocument;
use crate::report::format::count;
use crate::report::format::duration;
use crate::report::format::duration_ns_exact;
use crate::report::format::duration_ns_typeset;
use crate::report::format::signed_float;
use crate::report::series::DomainSeries;
use crate::report::series::PortSeries;
use crate::report::series::SampleSeries;
use crate::report::series::Series;
use crate::report::series::StepMark;

/// Columns that points are thinned for (chosen: a wide screen).
const COLUMNS: u32 = 2000;
/// Median intervals without a sample that are a hole (chosen).
const HOLE: f64 = 8.0;
/// Marks of loss or jumps in a plot (chosen).
pub(super) const UPRIGHTS: usize = 200;
/// Pieces that a line is drawn in at the most (chosen: a series made of holes would be a thousand dots).
const PIECES: usize = 200;
/// Lines of a time axis.
const TIMES: u32 = 5;
/// How far from the leader's own another clock's offset may lie to be drawn with it, ns (chosen: a second; beyond it is
/// another timescale, and next to it nothing else would be seen).
const TOGETHER_NS: f64 = 1e9;
/// Clocks or ports that a note lists (chosen).
const NAMES_TOLD: usize = 3;
/// Part of a plot's width from which a hole is named within it (chosen).
const NAMED: f64 = 0.12;

/// The axis that all plots over time share.
pub(in crate::report) fn time_axis(series: &Series) -> Axis {
    ticks::time(series.from_s, series.until_s, TIMES)
}

pub(super) fn number(count: usize) -> f64 {
    u32::try_from(count).map_or(f64::from(u32::MAX), f64::from)
}

/// Times in which nothing was captured, to be drawn below all else, and what tells of them.
pub(super) fn unwatched(series: &Series) -> (Vec<Mark>, Option<(Colour, String)>) {
    let mut marks = Vec::new();
    for hole in series.holes.iter().take(UPRIGHTS) {
        let text = format!("nothing was captured for {}", duration(hole.until_s - hole.from_s));
        marks.push(Mark::Unwatched { x: (hole.from_s, hole.until_s), text });
    }
    let legend = (!marks.is_empty()).then(|| {
        (Colour::Grid, "grey over the whole height: nothing was captured, so nothing is known".to_owned())
    });
    (marks, legend)
}

/// Names of the times in which nothing was captured, for a plot of values from `from` to `to`.
pub(super) fn unwatched_names(series: &Series, y: f64) -> impl Iterator<Item = Mark> {
    let all = series.until_s - series.from_s;
    let is_wide = move |hole: &&crate::report::series::HoleMark| hole.until_s - hole.from_s >= all * NAMED;
    series.holes.iter().take(UPRIGHTS).filter(is_wide).map(move |hole| Mark::Label {
        x: hole.from_s,
        y,
        text: " not watched".to_owned(),
    })
}

/// The capture's clock against the leader's over time; `None` without samples.
pub(in crate::report) fn offset(index: usize, at: &At<'_>) -> Option<Plot> {
    let domain = at.time;
    let offset = domain.offset.as_ref()?;
    let title = format!("{}: the capture’s clock less the leader’s", domain.domain);
    let mut plot = samples(&format!("offset-{index}"), &title, offset, at, |port| port.offset.as_ref());
    let basis = if domain.is_one_way {
        "from Syncs alone: the way from the leader is in it"
    } else {
        "from exchanges"
    };
    let stretch = at.domain.path.as_ref().and_then(|path| path.stretch.as_ref());
    let stretch = stretch.map(|stretch| {
        format!(
            " of the whole capture, while figures in words are of the longest stretch without a jump, {} to {}",
            duration(stretch.from_at_s),
            duration(stretch.until_at_s)
        )
    });
    plot.note = format!(
        "0 is the median{}, {}; {basis}. {}",
        stretch.unwrap_or_default(),
        duration_ns_exact(offset.base_ns),
        plot.note
    );
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
pub(in crate::report) fn path_delay(index: usize, at: &At<'_>) -> Option<Plot> {
    let delay = at.time.path_delay.as_ref()?;
    let title = format!("{}: delay between leader and capture point", at.time.domain);
    let mut plot = samples(&format!("delay-{index}"), &title, delay, at, |port| port.path_delay.as_ref());
    plot.note = format!("0 is the median, {}. {}", duration_ns_exact(delay.base_ns), plot.note);
    Some(plot)
}

/// A domain in the document and over time.
pub(in crate::report) struct At<'a> {
    pub(in crate::report) document: &'a Document,
    pub(in crate::report) domain: &'a DomainDocument,
    pub(in crate::report) time: &'a DomainSeries,
    pub(in crate::report) series: &'a Series,
}

/// Samples of the leader's port, and those of others that led or were rivals, each told from the median of the first.
fn samples(
    id: &str,
    title: &str,
    own: &SampleSeries,
    at: &At<'_>,
    of: impl Fn(&PortSeries) -> Option<&SampleSeries>,
) -> Plot {
    let name = |port: &str| named_port(at.document, port);
    let own_name = at.time.port.as_deref().map(name).unwrap_or_default();
    let mut lines = vec![(own_name.clone(), points(own, 0.0))];
    let mut notes =
        vec![format!("Against {own_name}."), format!("{} samples.", count(own.taken).replace(' ', "\u{a0}"))];
    for other in &at.time.others {
        let Some(samples) = of(other) else { continue };
        let apart = samples.base_ns.saturating_sub(own.base_ns);
        let from_own = signed_float(apart);
        if from_own.abs() > TOGETHER_NS {
            notes.push(format!(
                "Not drawn: {}, whose median lies {} from it.",
                name(&other.port),
                duration_ns_typeset(apart)
            ));
        } else {
            lines.push((name(&other.port), points(samples, from_own)));
        }
    }
    let drawn: Vec<&str> = std::iter::once(at.time.port.as_deref())
        .flatten()
        .chain(at.time.others.iter().filter(|other| of(other).is_some()).map(|other| other.port.as_str()))
        .collect();
    let left_out = &at.time.others_left_out;
    if !left_out.is_empty() {
        notes.push(format!(
            "Not drawn, as more lines could not be told apart: {}.",
            told(left_out.iter().map(|port| name(port)))
        ));
    }
    let has_samples = |clock: &str| {
        drawn
            .iter()
            .copied()
            .chain(left_out.iter().map(String::as_str))
            .any(|port| port.rsplit_once('/').is_some_and(|(of, _)| of == clock))
    };
    let is_relayed = at.domain.path.as_ref().is_some_and(|path| path.is_relayed);
    let mut missing: Vec<&str> = at.domain.tenures.iter().map(|tenure| tenure.clock.as_str()).collect();
    missing.retain(|clock| !is_relayed && !has_samples(clock));
    missing.sort_unstable();
    missing.dedup();
    if !missing.is_empty() {
        let names = told(missing.iter().map(|clock| super::named(at.document, clock)));
        notes.push(format!("No samples of {names}, which led for a time."));
    }
    let (low, high) = ends(lines.iter().flat_map(|(_, points)| points.iter().map(|point| point.1)));
    let (mut marks, hole) = unwatched(at.series);
    marks.push(Mark::Band { from: own.p5_ns, to: own.p95_ns });
    let mut legend = Vec::new();
    let several = lines.len() > 1;
    for (place, (name, points)) in (0_u8..).zip(&lines) {
        let colour = Colour::Voice(place);
        legend.push((colour, if several { format!("line: {name}") } else { "line: samples".to_owned() }));
        marks.extend(unbroken(points, &at.time.steps).into_iter().map(|piece| Mark::Line {
            name: name.clone(),
            colour,
            points: thin(piece, COLUMNS),
        }));
    }
    legend.push((
        Colour::Band,
        if several {
            format!("band: 5th to 95th percentile of {own_name}")
        } else {
            "band: 5th to 95th percentile".to_owned()
        },
    ));
    legend.extend(hole);
    let y = ticks::values(low, high, 6, Quantity::Nanoseconds);
    marks.extend(unwatched_names(at.series, y.to));
    Plot {
        id: id.to_owned(),
        title: title.to_owned(),
        note: notes.join(" "),
        x: time_axis(at.series),
        y,
        marks,
        legend,
        height: 210,
    }
}

/// The first few of a list, and how many more there are.
fn told(mut names: impl Iterator<Item = String>) -> String {
    let first: Vec<String> = names.by_ref().take(NAMES_TOLD).collect();
    match names.count() {
        0 => first.join(", "),
        more => format!("{} and {more} more", first.join(", ")),
    }
}

fn points(samples: &SampleSeries, more: f64) -> Vec<(f64, f64)> {
    samples.samples.iter().map(|sample| (sample.at_s, sample.value_ns + more)).collect()
}

/// Pieces without a hole or a jump of time: nobody knows what a line across one would say.
fn unbroken<'a>(points: &'a [(f64, f64)], steps: &[StepMark]) -> Vec<&'a [(f64, f64)]> {
    let mut gaps: Vec<f64> = points.windows(2).filter_map(gap).collect();
    gaps.sort_by(f64::total_cmp);
    let median = gaps.get(gaps.len() / 2).copied().unwrap_or(0.0);
    let length = points.first().zip(points.last()).map_or(0.0, |(first, last)| last.0 - first.0);
    let hole = (median * HOLE).max(length / 50.0);
    let jumps = |before: f64, after: f64| steps.iter().any(|step| before < step.at_s && step.at_s <= after);
    let mut pieces: Vec<&[(f64, f64)]> =
        points.chunk_by(|before, after| after.0 - before.0 <= hole && !jumps(before.0, after.0)).collect();
    if pieces.len() > PIECES {
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
