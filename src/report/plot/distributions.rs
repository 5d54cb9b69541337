//! Plots of how often and how steady.

use super::Colour;
use super::Mark;
use super::Plot;
use super::Quantity;
use super::charts::ends;
use super::ticks;
use crate::report::document::DomainDocument;
use crate::report::format::count;
use crate::report::series::DomainSeries;

/// Bars of a distribution (chosen).
const BARS: u32 = 40;
/// Thousandths of the values at each end that may lie beyond the bars, so that one stray value leaves the rest visible.
const BEYOND: f64 = 0.005;

/// Times between the leader's Syncs; `None` below two.
pub(in crate::report) fn sync_intervals(index: usize, domain: &DomainSeries) -> Option<Plot> {
    let values: Vec<(f64, u64)> =
        domain.sync_intervals.iter().map(|(gap, times)| (float(*gap), *times)).collect();
    distribution(
        &format!("sync-{index}"),
        &format!("{}: time from Sync to Sync", domain.domain),
        &values,
        0.0,
    )
}

/// The path's delays; `None` below two.
pub(in crate::report) fn delays(index: usize, domain: &DomainSeries) -> Option<Plot> {
    let delay = domain.path_delay.as_ref()?;
    let base = float(delay.base_ns);
    let mut values: Vec<f64> =
        delay.samples.iter().filter(|sample| sample.is_drawn).map(|sample| sample.value_ns).collect();
    values.sort_by(f64::total_cmp);
    let values: Vec<(f64, u64)> = values.into_iter().map(|value| (value, 1)).collect();
    let title = format!("{}: how often which delay", domain.domain);
    distribution(&format!("delays-{index}"), &title, &values, base)
}

/// `values` in order, each with how often it occurs, told from `base`.
fn distribution(id: &str, title: &str, values: &[(f64, u64)], base: f64) -> Option<Plot> {
    let all: u64 = values.iter().map(|(_, times)| times).sum();
    if all < 2 {
        return None;
    }
    let low = at_share(values, all, BEYOND)?;
    let high = at_share(values, all, 1.0 - BEYOND)?;
    // Values that are all alike get bars on either side.
    let room = if high > low { (high - low) * 0.05 } else { (base + high).abs().max(100.0) * 0.01 };
    let (from, to) = (low - room, high + room);
    let width = (to - from) / f64::from(BARS);
    let mut marks = Vec::new();
    let mut most = 0.0_f64;
    let mut beyond = 0_u64;
    let mut shares = vec![0_u64; usize::try_from(BARS).unwrap_or_default()];
    for (value, times) in values {
        let place = (0..BARS).take_while(|bar| from + width * f64::from(bar + 1) <= *value).count();
        match shares.get_mut(place) {
            Some(share) if *value >= from => *share += times,
            _ => beyond += times,
        }
    }
    for (bar, times) in (0..BARS).zip(shares.iter().copied()).filter(|(_, times)| *times > 0) {
        let x = (base + from + width * f64::from(bar), base + from + width * f64::from(bar + 1));
        let share = per_cent(times, all);
        most = most.max(share);
        let text = format!(
            "{share:.1} % from {} to {}",
            ticks::value_label(x.0, 0.0, Quantity::Nanoseconds),
            ticks::value_label(x.1, 0.0, Quantity::Nanoseconds)
        );
        marks.push(Mark::Block { x, y: (0.0, share), colour: Colour::Voice(0), text });
    }
    let (least, largest) = ends(values.iter().map(|(value, _)| base + value));
    let outside =
        if beyond > 0 { format!(", {} of them beyond the picture", count(beyond)) } else { String::new() };
    let mut x = ticks::values(base + from, base + to, 7, Quantity::Nanoseconds);
    (x.from, x.to) = (base + from, base + to);
    x.ticks.retain(|(at, _)| (x.from..=x.to).contains(at));
    Some(Plot {
        id: id.to_owned(),
        title: title.to_owned(),
        note: format!(
            "{} values{outside}; from {} to {}",
            count(all),
            ticks::value_label(least, 0.0, Quantity::Nanoseconds),
            ticks::value_label(largest, 0.0, Quantity::Nanoseconds)
        ),
        x,
        y: ticks::from_zero(most, 4, Quantity::PerCent),
        marks,
        legend: Vec::new(),
        height: 200,
    })
}

/// The value below which a share of all lies.
fn at_share(values: &[(f64, u64)], all: u64, share: f64) -> Option<f64> {
    let mut so_far = 0_u64;
    for (value, times) in values {
        so_far += times;
        if per_cent(so_far, all) >= share * 100.0 {
            return Some(*value);
        }
    }
    values.last().map(|(value, _)| *value)
}

/// MTIE and TDEV by averaging time, both axes logarithmic as ITU-T G.810 and its kin draw them (from memory); `None`
/// where the record is too short.
pub(in crate::report) fn stability(index: usize, domain: &DomainDocument) -> Option<Plot> {
    let rows = &domain.path.as_ref()?.stability;
    let line = |value: fn(&crate::report::document::StabilityDocument) -> Option<f64>| {
        let point = |row: &crate::report::document::StabilityDocument| {
            let value = value(row).filter(|value| *value > 0.0)?;
            (row.tau_s > 0.0).then(|| (row.tau_s.log10(), value.log10()))
        };
        rows.iter().filter_map(point).collect::<Vec<(f64, f64)>>()
    };
    let (mtie, tdev) = (line(|row| row.mtie_ns), line(|row| row.tdev_ns));
    let all = || mtie.iter().chain(&tdev);
    all().next()?;
    let (left, right) = ends(all().map(|point| point.0));
    let (low, high) = ends(all().map(|point| point.1));
    let power = |exponent: f64| 10_f64.powf(exponent);
    let seconds = |value: f64| ticks::value_label(value * 1e9, 0.0, Quantity::Nanoseconds);
    let nanos = |value: f64| ticks::value_label(value, 0.0, Quantity::Nanoseconds);
    let lines = [("MTIE", mtie, Colour::Voice(0)), ("TDEV", tdev, Colour::Voice(1))];
    let legend = lines.iter().filter(|(_, points, _)| !points.is_empty());
    let across = ticks::decades(power(left), power(right), seconds);
    // A name at the very end would be cut off.
    let edge = across.from + (across.to - across.from) * 0.88;
    let end = |points: &[(f64, f64)], name: &str| {
        points.iter().rfind(|(x, _)| *x <= edge).or(points.last()).map(|(x, y)| Mark::Label {
            x: *x,
            y: *y,
            text: format!(" {name}"),
        })
    };
    Some(Plot {
        id: format!("stability-{index}"),
        title: format!("{}: MTIE and TDEV of the leader’s Sync at the capture point", domain.key),
        note: "By averaging time; both axes logarithmic. The capture’s own clock and stamps are in it."
            .to_owned(),
        legend: legend.map(|(name, _, colour)| (*colour, (*name).to_owned())).collect(),
        x: across,
        y: ticks::decades(power(low), power(high), nanos),
        marks: lines
            .into_iter()
            .flat_map(|(name, points, colour)| {
                [end(&points, name), Some(Mark::Line { name: name.to_owned(), colour, points })]
            })
            .flatten()
            .collect(),
        height: 260,
    })
}

#[allow(
    clippy::as_conversions,
    clippy::cast_precision_loss,
    reason = "the report is where floating point begins"
)]
fn float(value: i64) -> f64 {
    value as f64
}

#[allow(
    clippy::as_conversions,
    clippy::cast_precision_loss,
    reason = "the report is where floating point begins"
)]
fn per_cent(part: u64, all: u64) -> f64 {
    part as f64 / (all.max(1)) as f64 * 100.0
}
