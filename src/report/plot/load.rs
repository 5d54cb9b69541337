//! What the link carries over time.

use std::collections::BTreeSet;

use super::Colour;
use super::Mark;
use super::Plot;
use super::Quantity;
use super::charts::UPRIGHTS;
use super::charts::ends;
use super::charts::number;
use super::charts::time_axis;
use super::charts::unwatched;
use super::ticks;
use crate::report::format::count;
use crate::report::format::plain_short;
use crate::report::format::things;
use crate::report::series::LoadSeries;
use crate::report::series::LossMark;
use crate::report::series::PeakMark;
use crate::report::series::Series;

/// Sources with a colour of their own; the rest are one.
const SOURCES: usize = 7;
/// Below this part of its speed, a link would show nothing but its limit (chosen).
const NEAR_LIMIT: f64 = 0.15;
/// Part of the plot's height from which a layer has its number in it (chosen: a line of text).
const LABELLED: f64 = 0.09;
/// Part of the plot's width that a layer's number keeps off its right edge (chosen: a number's width).
const EDGE: f64 = 0.02;
/// A fullest second that is no fuller than the fullest bin by this is not marked (chosen).
const ABOVE_BINS: f64 = 1.1;

/// What each source sends, one upon the other, with the link's speed; `None` where no time passes.
pub(in crate::report) fn load(series: &Series, name_of: impl Fn(&str) -> String) -> Option<Plot> {
    let load = &series.load;
    if load.link_bps.len() < 2 || load.width_s <= 0.0 {
        return None;
    }
    let (mut marks, hole) = unwatched(series);
    let mut legend = Vec::new();
    let mut labels = Vec::new();
    let mut floor = vec![0.0; load.link_bps.len()];
    let layers = layers(load, name_of);
    let last = layers.len().saturating_sub(1);
    // One alone needs no number.
    let is_alone = load.sources.is_empty();
    for (index, (name, bps)) in layers.into_iter().enumerate() {
        let colour = Colour::Voice(if index == last { 7 } else { u8::try_from(index).unwrap_or(6) });
        let ceiling: Vec<f64> = floor.iter().zip(&bps).map(|(floor, bps)| floor + bps).collect();
        if bps.iter().any(|bps| *bps > 0.0) {
            let number = if is_alone { String::new() } else { format!("{}  ", index + 1) };
            legend.push((colour, format!("{number}{}", plain_short(&name))));
        }
        if !is_alone {
            labels.extend(layer_label(series, index + 1, &floor, &bps));
        }
        marks.push(Mark::Area {
            name,
            colour,
            lower: stairs(series, &floor),
            upper: stairs(series, &ceiling),
        });
        floor = ceiling;
    }
    let (_, most) = ends(floor.iter().copied());
    let rate = |bps: f64| ticks::value_label(bps, 0.0, Quantity::BitsPerSecond);
    let peak = load.peak_1s.filter(|peak| load.width_s > 1.0 && peak.bps > most * ABOVE_BINS);
    let highest = load.peak_1s.map_or(most, |peak| most.max(peak.bps));
    let with_limit = highest > load.speed_bps * NEAR_LIMIT;
    let mut note = format!(
        "On the wire, means of {} s, all directions together; the first and the last are cut by the ends of the capture.",
        load.width_s
    );
    if let Some(PeakMark { at_s, bps }) = peak {
        let told = format!("the fullest second, at {at_s:.3} s: {}", rate(bps));
        note.push_str(&format!(" Means hide {told}."));
        legend.push((Colour::Ink, format!("upright line from below: {told}")));
        marks.push(Mark::Stem { x: at_s + 0.5, y: bps, colour: Colour::Ink, text: told });
    }
    let limit = rate(load.speed_bps);
    if with_limit {
        marks.push(Mark::Level { y: load.speed_bps, colour: Colour::Alarm });
        legend.push((Colour::Alarm, format!("level line: the link’s {limit}")));
    } else {
        note.push_str(&format!(" The link’s {limit} lie far above."));
    }
    let y = ticks::from_zero(
        if with_limit { highest.max(load.speed_bps) } else { highest },
        4,
        Quantity::BitsPerSecond,
    );
    marks.extend(labels.into_iter().filter(|(thick, _)| *thick > y.to * LABELLED).map(|(_, label)| label));
    losses(series, &mut marks, &mut legend, &mut note);
    legend.extend(hole);
    Some(Plot {
        id: "load".to_owned(),
        title: "What the link carries, by source".to_owned(),
        note,
        x: time_axis(series),
        y,
        marks,
        legend,
        height: 260,
    })
}

/// A layer's number in its thickest bin, with how thick that is.
fn layer_label(series: &Series, layer: usize, floor: &[f64], bps: &[f64]) -> Option<(f64, Mark)> {
    let (bin, thick) = bps.iter().copied().enumerate().max_by(|one, other| one.1.total_cmp(&other.1))?;
    let load = &series.load;
    // Within the plot also where the last bin is cut short.
    let edge = series.until_s - (series.until_s - series.from_s) * EDGE;
    let at = (load.first_s + number(bin) * load.width_s).min(edge).max(series.from_s);
    let top = floor.get(bin).copied().unwrap_or(0.0) + thick;
    Some((thick, Mark::Label { x: at, y: top, text: format!(" {layer}") }))
}

/// The fullest sources, and all else; the last one is that.
fn layers(load: &LoadSeries, name_of: impl Fn(&str) -> String) -> Vec<(String, Vec<f64>)> {
    let name = |device: Option<&str>, source: &str| match device.map(&name_of) {
        Some(name) if name != source => format!("{name} {source}"),
        _ => source.to_owned(),
    };
    let mut layers: Vec<(String, Vec<f64>)> = load
        .sources
        .iter()
        .take(SOURCES)
        .map(|source| (name(source.device.as_deref(), &source.source), source.bps.clone()))
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
    let others = u64::try_from(load.sources.len().saturating_sub(SOURCES)).unwrap_or(u64::MAX);
    let rest_name = match others {
        0 if load.sources.is_empty() => "all frames".to_owned(),
        0 => "all other frames".to_owned(),
        _ => format!("{} and all other frames", things(others, "more source")),
    };
    layers.push((rest_name, rest));
    layers
}

/// Marks of losses wherever some are, and how many there are.
fn losses(series: &Series, marks: &mut Vec<Mark>, legend: &mut Vec<(Colour, String)>, note: &mut String) {
    let packets = things(series.lost, "packet");
    let marked = series.losses.iter().fold(0_u64, |sum, loss| sum.saturating_add(loss.bursts));
    let bursts = series.loss_bursts.max(marked);
    if bursts == 0 {
        if series.lost > 0 {
            note.push_str(&format!(
                " {packets} were lost, none of them in a row of three or more, which would be marked."
            ));
        }
        return;
    }
    let columns = columns(series);
    marks.extend(columns.iter().map(|losses| {
        let at_s = losses.first().map_or(0.0, |loss| loss.at_s);
        Mark::Upright { x: at_s, colour: Colour::Alarm, text: told(losses) }
    }));
    note.push_str(&format!(
        " {} of three packets in a row or more",
        if bursts == 1 { "One loss".to_owned() } else { format!("{} losses", count(bursts)) }
    ));
    match marked {
        0 => note.push_str(", of which it is not known when"),
        _ if marked < bursts => note.push_str(&format!(", of {} of which it is known when", count(marked))),
        _ => {}
    }
    if !columns.is_empty() {
        let several =
            columns.iter().any(|losses| losses.len() > 1 || losses.iter().any(|loss| loss.bursts > 1));
        let name = if several { "packets lost in a row, once or more" } else { "packets lost in a row" };
        legend.push((Colour::Alarm, format!("upright line: {name}")));
    }
    note.push_str(&format!("; {packets} were lost in all, those in shorter rows without a mark."));
}

/// Losses that are marked by one line each: near ones together where they are many, so that some line stands wherever
/// losses are.
fn columns(series: &Series) -> Vec<Vec<&LossMark>> {
    let most = number(UPRIGHTS);
    let span = (series.until_s - series.from_s).max(f64::MIN_POSITIVE);
    let column = |loss: &LossMark| ((loss.at_s - series.from_s) / span * most).floor().clamp(0.0, most - 1.0);
    let mut all: Vec<&LossMark> = series.losses.iter().collect();
    all.sort_by(|one, other| one.at_s.total_cmp(&other.at_s));
    if all.len() <= UPRIGHTS {
        return all.into_iter().map(|loss| vec![loss]).collect();
    }
    let same = |one: &&LossMark, other: &&LossMark| column(one).total_cmp(&column(other)).is_eq();
    all.chunk_by(same).map(<[&LossMark]>::to_vec).collect()
}

/// What one line stands for.
fn told(losses: &[&LossMark]) -> String {
    let sum = |of: fn(&LossMark) -> u64| losses.iter().fold(0_u64, |sum, loss| sum.saturating_add(of(loss)));
    let (bursts, missing) = (sum(|loss| loss.bursts), things(sum(|loss| loss.missing), "packet"));
    let streams: BTreeSet<&str> = losses.iter().map(|loss| loss.stream.as_str()).collect();
    let of = match streams.first() {
        Some(one) if streams.len() == 1 => (*one).to_owned(),
        _ => things(u64::try_from(streams.len()).unwrap_or(u64::MAX), "stream"),
    };
    if bursts == 1 {
        return format!("{of}: {missing} missing in a row");
    }
    let (from, until) = losses.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(from, until), loss| {
        (from.min(loss.at_s), until.max(loss.until_s))
    });
    format!("{of}: {missing} missing in {} losses from {from:.3} s to {until:.3} s", count(bursts))
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::series::HoleMark;
    use crate::report::series::SourceSeries;

    /// A link of 1 Gb/s in bins of 64 s.
    fn quiet(peak_bps: f64) -> Series {
        Series {
            from_s: 0.0,
            until_s: 640.0,
            load: LoadSeries {
                width_s: 64.0,
                speed_bps: 1e9,
                link_bps: vec![1e6, 1e6, 1e6, 30e6, 1e6, 1e6, 1e6, 1e6, 1e6, 1e6],
                peak_1s: Some(PeakMark { at_s: 200.0, bps: peak_bps }),
                ..LoadSeries::default()
            },
            ..Series::default()
        }
    }

    fn drawn(series: &Series) -> Plot {
        load(series, str::to_owned).unwrap()
    }

    #[test]
    fn a_second_that_fills_the_link_is_seen_however_wide_the_bins_are() {
        let plot = drawn(&quiet(950e6));
        assert!(!plot.note.contains("far above"), "{}", plot.note);
        assert!(plot.note.contains("the fullest second, at 200.000 s: 950 Mb/s"), "{}", plot.note);
        let is_stem =
            |mark: &Mark| matches!(mark, Mark::Stem { x, y, .. } if (*x - 200.5).abs() < 1e-9 && *y > 940e6);
        assert!(plot.marks.iter().any(is_stem) && plot.y.to >= 1e9, "{:?}", plot.y);
        assert!(plot.marks.iter().any(|mark| matches!(mark, Mark::Level { .. })));
        // One no fuller than its bin is in the bin.
        let even = drawn(&quiet(30e6));
        assert!(
            even.note.contains("far above")
                && !even.marks.iter().any(|mark| matches!(mark, Mark::Stem { .. }))
        );
    }

    fn loss(at_s: f64, bursts: u64) -> LossMark {
        let until_s = if bursts > 1 { at_s + 1.5 } else { at_s };
        LossMark { at_s, until_s, stream: "a stream".to_owned(), bursts, missing: 3 * bursts }
    }

    fn uprights(plot: &Plot) -> Vec<(f64, &str)> {
        let mut told = Vec::new();
        for mark in &plot.marks {
            if let Mark::Upright { x, text, .. } = mark {
                told.push((*x, text.as_str()));
            }
        }
        told
    }

    #[test]
    fn losses_without_a_mark_are_counted() {
        let mut series = quiet(30e6);
        assert!(!drawn(&series).note.contains("lost"));
        series.lost = 7;
        assert!(
            drawn(&series).note.contains("7 packets were lost, none of them in a row"),
            "{}",
            drawn(&series).note
        );
        series.lost = 900;
        series.loss_bursts = 300;
        let plot = drawn(&series);
        assert!(
            plot.note
                .contains("300 losses of three packets in a row or more, of which it is not known when; 900")
        );
        assert!(
            !plot.legend.iter().any(|(_, name)| name.contains("lost")),
            "no mark, no swatch: {:?}",
            plot.legend
        );
        series.losses = (0..16_u32).map(|n| loss(f64::from(n), 10)).collect();
        let note = drawn(&series).note;
        assert!(
            note.contains(
                "300 losses of three packets in a row or more, of 160 of which it is known when; 900"
            ),
            "{note}"
        );
        series.loss_bursts = 160;
        assert!(
            drawn(&series).note.contains("160 losses of three packets in a row or more; 900"),
            "{}",
            drawn(&series).note
        );
    }

    #[test]
    fn a_mark_tells_what_it_stands_for() {
        let mut series = quiet(30e6);
        series.losses = vec![loss(100.0, 1), loss(600.0, 20)];
        series.loss_bursts = 21;
        let plot = drawn(&series);
        assert_eq!(
            uprights(&plot),
            [
                (100.0, "a stream: 3 packets missing in a row"),
                (600.0, "a stream: 60 packets missing in 20 losses from 600.000 s to 601.500 s")
            ]
        );
        assert!(plot.legend.iter().any(|(_, name)| name.ends_with("lost in a row, once or more")));
        series.losses.pop();
        assert!(drawn(&series).legend.iter().any(|(_, name)| name.ends_with("lost in a row")));
    }

    #[test]
    fn marks_of_many_losses_stand_wherever_some_are() {
        let mut series = quiet(30e6);
        // Ten thousand in the first ten seconds, and one much later.
        series.losses = (0..10_000_u32).map(|n| loss(f64::from(n) / 1000.0, 1)).collect();
        series.losses.push(loss(620.0, 1));
        let plot = drawn(&series);
        let marks = uprights(&plot);
        assert!((3..=5).contains(&marks.len()), "{marks:?}");
        assert_eq!(marks.last().map(|mark| mark.0), Some(620.0));
        let first = marks.first().unwrap();
        assert!(first.1.contains("9 600 packets missing in 3 200 losses"), "{first:?}");
    }

    #[test]
    fn one_layer_alone_has_no_number_and_numbers_stay_within_the_plot() {
        let mut series = quiet(30e6);
        series.load.link_bps.push(90e6);
        let alone = drawn(&series);
        assert!(!alone.marks.iter().any(|mark| matches!(mark, Mark::Label { .. })), "{:?}", alone.marks);
        assert_eq!(alone.legend.first().map(|(_, name)| name.as_str()), Some("all frames"));
        let bps = series.load.link_bps.iter().map(|bps| bps / 2.0).collect();
        series.load.sources = vec![SourceSeries { source: "10.0.0.1".to_owned(), device: None, bps }];
        let both = drawn(&series);
        let numbers: Vec<f64> = both
            .marks
            .iter()
            .filter_map(|mark| if let Mark::Label { x, .. } = mark { Some(*x) } else { None })
            .collect();
        // The last bin begins where the capture ends.
        assert!(numbers.len() == 2 && numbers.iter().all(|at| (at - 627.2).abs() < 1e-9), "{numbers:?}");
        assert!(both.legend.iter().any(|(_, name)| name == "2  all other frames"), "{:?}", both.legend);
    }

    #[test]
    fn a_hole_of_the_capture_is_no_idle_link() {
        let mut series = quiet(30e6);
        series.holes = vec![HoleMark { from_s: 100.0, until_s: 300.0 }];
        let plot = drawn(&series);
        let is_hole = |mark: &Mark| matches!(mark, Mark::Unwatched { x, .. } if *x == (100.0, 300.0));
        assert!(plot.marks.iter().any(is_hole), "{:?}", plot.marks);
        assert!(
            plot.legend.iter().any(|(_, name)| name.contains("nothing was captured")),
            "{:?}",
            plot.legend
        );
    }
}
