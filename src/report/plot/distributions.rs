//! Plots of how often and how steady.

use super::Colour;
use super::Mark;
use super::Plot;
use super::Quantity;
use super::charts::ends;
use super::ticks;
use crate::report::document::DomainDocument;
use crate::report::format::count;
use crate::report::format::signed_float;
use crate::report::series::DomainSeries;
use crate::report::series::IntervalClass;

/// Bars of a distribution (chosen).
const BARS: u32 = 40;
/// Thousandths of the values at each end that may lie beyond the bars, so that one stray value leaves the rest visible.
const BEYOND: f64 = 0.005;
/// Classes that a bar has to hold; of wider ones each is a bar of its own, as none can be divided (chosen: bars that hold one
/// more or fewer than their neighbours do not differ by it).
const CLASSES_IN_A_BAR: u32 = 8;

/// Values that are not told apart, and how often one of them occurs.
#[derive(Clone, Copy)]
struct Class {
    low: f64,
    high: f64,
    times: u64,
}

impl Class {
    fn middle(&self) -> f64 {
        f64::midpoint(self.low, self.high)
    }

    /// Wide enough to be seen.
    fn at_least(&self, width: f64) -> Self {
        let more = ((width - (self.high - self.low)) / 2.0).max(0.0);
        Self { low: self.low - more, high: self.high + more, ..*self }
    }
}

/// Times between the leader's Syncs; `None` below two.
pub(in crate::report) fn sync_intervals(index: usize, domain: &DomainSeries) -> Option<Plot> {
    let class = |class: &IntervalClass| Class {
        low: signed_float(class.from_ns),
        high: signed_float(class.to_ns),
        times: class.times,
    };
    let classes: Vec<Class> = domain.sync_intervals.iter().map(class).collect();
    let ends = (classes.first()?.low, classes.last()?.high);
    let mut plot = distribution(
        &format!("sync-{index}"),
        &format!("{}: time from Sync to Sync", domain.domain),
        &classes,
        (0.0, ends),
    )?;
    if classes.iter().any(|class| class.high > class.low) {
        plot.note.push_str("; so many are kept in classes up to a thousandth of the value wide, within which they are not told apart");
    }
    Some(plot)
}

/// The path's delays; `None` below two.
pub(in crate::report) fn delays(index: usize, domain: &DomainSeries) -> Option<Plot> {
    let delay = domain.path_delay.as_ref()?;
    let base = signed_float(delay.base_ns);
    let mut values: Vec<f64> =
        delay.samples.iter().filter(|sample| sample.is_drawn).map(|sample| sample.value_ns).collect();
    values.sort_by(f64::total_cmp);
    let classes: Vec<Class> =
        values.into_iter().map(|value| Class { low: value, high: value, times: 1 }).collect();
    let title = format!("{}: how often which delay", domain.domain);
    // The ends of all samples, of which the draw may have missed some.
    let ends = ends(delay.samples.iter().map(|sample| sample.value_ns));
    let mut plot = distribution(&format!("delays-{index}"), &title, &classes, (base, ends))?;
    let drawn = u64::try_from(classes.len()).unwrap_or(u64::MAX);
    if drawn < delay.taken {
        plot.note = format!("An even draw of {} samples: {}", count(delay.taken), plot.note);
    }
    Some(plot)
}

/// `classes` in order, told from `base`, as are the `ends` of all values there are.
fn distribution(id: &str, title: &str, classes: &[Class], (base, ends): (f64, (f64, f64))) -> Option<Plot> {
    let all: u64 = classes.iter().map(|class| class.times).sum();
    if all < 2 {
        return None;
    }
    let low = at_share(classes, all, BEYOND)?.low;
    let high = at_share(classes, all, 1.0 - BEYOND)?.high;
    // Values that are all alike get bars on either side.
    let room = if high > low { (high - low) * 0.05 } else { (base + high).abs().max(100.0) * 0.01 };
    let (from, to) = (low - room, high + room);
    let width = (to - from) / f64::from(BARS);
    let label = |value: f64| ticks::value_label(value, width / 10.0, Quantity::Nanoseconds);
    let inside = |class: &&Class| class.high >= from && class.low <= to;
    let beyond: u64 = classes.iter().filter(|class| !inside(class)).map(|class| class.times).sum();
    let widest = classes.iter().filter(inside).map(|class| class.high - class.low).fold(0.0, f64::max);
    // What each bar is of, and how wide it is drawn.
    let bars: Vec<(Class, Class)> = if widest > width / f64::from(CLASSES_IN_A_BAR) || high <= low {
        classes.iter().filter(inside).map(|class| (*class, class.at_least(width / 4.0))).collect()
    } else {
        binned(classes.iter().filter(inside), from, width).into_iter().map(|bar| (bar, bar)).collect()
    };
    let mut marks = Vec::new();
    let mut most = 0.0_f64;
    for (of, drawn) in bars.iter().filter(|(of, _)| of.times > 0) {
        let share = per_cent(of.times, all);
        most = most.max(share);
        let (low, high) = (label(base + of.low), label(base + of.high));
        let text = if low == high {
            format!("{share:.1} % at {low}")
        } else {
            format!("{share:.1} % from {low} to {high}")
        };
        let x = (base + drawn.low, base + drawn.high);
        marks.push(Mark::Block { x, y: (0.0, share), colour: Colour::Voice(0), text });
    }
    let outside = match beyond {
        0 if ends.0 < from || ends.1 > to => ", the ends beyond the picture".to_owned(),
        0 => String::new(),
        _ => format!(", {} of them beyond the picture", count(beyond)),
    };
    let mut x = ticks::values(base + from, base + to, 7, Quantity::Nanoseconds);
    (x.from, x.to) = (base + from, base + to);
    x.ticks.retain(|(at, _)| (x.from..=x.to).contains(at));
    Some(Plot {
        id: id.to_owned(),
        title: title.to_owned(),
        note: format!(
            "{} values{outside}; from {} to {}",
            count(all),
            label(base + ends.0),
            label(base + ends.1)
        ),
        x,
        y: ticks::from_zero(most, 4, Quantity::PerCent),
        marks,
        legend: Vec::new(),
        height: 200,
    })
}

/// Classes as bars of a width from `from` on, each in that of its middle.
fn binned<'a>(classes: impl Iterator<Item = &'a Class>, from: f64, width: f64) -> Vec<Class> {
    let bar = |bar: u32| Class {
        low: from + width * f64::from(bar),
        high: from + width * f64::from(bar + 1),
        times: 0,
    };
    let mut bars: Vec<Class> = (0..BARS).map(bar).collect();
    let last = bars.len().saturating_sub(1);
    for class in classes {
        let place = bars.partition_point(|bar| bar.high <= class.middle()).min(last);
        if let Some(bar) = bars.get_mut(place) {
            bar.times += class.times;
        }
    }
    bars
}

/// The class in which a share of all is reached.
fn at_share(classes: &[Class], all: u64, share: f64) -> Option<Class> {
    let mut so_far = 0_u64;
    for class in classes {
        so_far += class.times;
        if per_cent(so_far, all) >= share * 100.0 {
            return Some(*class);
        }
    }
    classes.last().copied()
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
        note:
            "Across the observation interval τ, upwards MTIE and TDEV (ITU-T G.810, from memory), both axes \
               logarithmic. The capture’s own clock and stamps are in it."
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
fn per_cent(part: u64, all: u64) -> f64 {
    part as f64 / (all.max(1)) as f64 * 100.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::series::Sample;
    use crate::report::series::SampleSeries;
    use crate::statistics::Distribution;
    use crate::units::Nanos;

    fn syncs(intervals: impl Iterator<Item = i64>) -> Plot {
        let mut kept = Distribution::default();
        intervals.for_each(|interval| kept.record(Nanos(interval)));
        let class =
            |(from, to, times): (Nanos, Nanos, u64)| IntervalClass { from_ns: from.0, to_ns: to.0, times };
        let domain = DomainSeries {
            sync_intervals: kept.classes().into_iter().map(class).collect(),
            ..DomainSeries::default()
        };
        sync_intervals(0, &domain).unwrap()
    }

    fn blocks(plot: &Plot) -> Vec<((f64, f64), f64)> {
        let block = |mark: &Mark| match mark {
            Mark::Block { x, y, .. } => Some((*x, y.1)),
            _ => None,
        };
        plot.marks.iter().filter_map(block).collect()
    }

    #[test]
    fn bars_are_as_wide_as_what_is_known_of_many_intervals() {
        // 125 ms and up to 60 µs either side, evenly: classes of them are 65.5 µs wide.
        let many = || (0..20_000_i64).map(|n| 125_000_000 + (n * 7919) % 120_000 - 60_000);
        let plot = syncs(many());
        let bars = blocks(&plot);
        assert!((2..=4).contains(&bars.len()), "{bars:?}");
        for ((low, high), share) in &bars {
            let inside = many().filter(|value| (*low..=*high).contains(&signed_float(*value))).count();
            let share_known = signed_float(i64::try_from(inside).unwrap()) / 200.0;
            assert!((share - share_known).abs() < 0.1, "{low} to {high}: {share} and {share_known}");
        }
        assert!(plot.note.contains("from 124.94 ms to 125.06 ms"), "{}", plot.note);
        assert!(plot.note.contains("not told apart"), "{}", plot.note);
        // A thousand are kept one by one, and drawn so.
        let few = syncs(many().take(1000));
        assert!(blocks(&few).len() > 30 && !few.note.contains("not told apart"), "{}", few.note);
    }

    #[test]
    fn intervals_that_are_all_alike_are_told_exactly_however_many() {
        let plot = syncs(std::iter::repeat_n(8_000_000_000, 3000));
        assert!(plot.note.starts_with("3 000 values; from 8 s to 8 s"), "{}", plot.note);
        let bars = blocks(&plot);
        assert!(bars.len() == 1 && bars[0].0.0 < 8e9 && bars[0].0.1 > 8e9, "{bars:?}");
        assert!(
            matches!(&plot.marks[0], Mark::Block { text, .. } if text == "100.0 % at 8 s"),
            "{:?}",
            plot.marks
        );
    }

    #[test]
    fn many_intervals_far_apart_are_put_into_bars() {
        let plot = syncs((0..20_000).map(|n| 100_000_000 + (n * 7919) % 50_000_000));
        assert_eq!(blocks(&plot).len(), 38, "40 less those at the ends: {:?}", blocks(&plot));
        assert!(blocks(&plot).iter().all(|(_, share)| *share < 4.0), "{:?}", blocks(&plot));
    }

    #[test]
    fn a_draw_says_so_and_names_the_ends_of_all() {
        let sample =
            |n: u32, value_ns: f64, is_drawn: bool| Sample { at_s: f64::from(n), value_ns, is_drawn };
        let mut samples: Vec<Sample> = (0..1000).map(|n| sample(n, f64::from(n % 10) * 10.0, true)).collect();
        samples.push(sample(1000, 447_000.0, false));
        let delay = SampleSeries { taken: 70_000, base_ns: 4000, p5_ns: 0.0, p95_ns: 90.0, samples };
        let domain = DomainSeries { path_delay: Some(delay), ..DomainSeries::default() };
        let plot = delays(0, &domain).unwrap();
        assert!(plot.note.starts_with("An even draw of 70 000 samples: 1 000 values, "), "{}", plot.note);
        assert!(plot.note.contains("the ends beyond the picture; from 4 µs to 451 µs"), "{}", plot.note);
    }
}
