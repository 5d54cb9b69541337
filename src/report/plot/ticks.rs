//! Where axes have their lines, and what stands there.

use super::Axis;
use super::Quantity;

/// Steps of a time axis, s: those that clocks and calendars have.
const TIME_STEPS: [f64; 27] = [
    0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 15.0, 30.0, 60.0, 120.0,
    300.0, 600.0, 900.0, 1800.0, 3600.0, 7200.0, 10_800.0, 21_600.0, 43_200.0, 86_400.0,
];
/// A day.
const DAY: f64 = 86_400.0;
/// Lines of an axis at the most, whatever is asked for.
const MOST: u32 = 40;

/// A time axis with about `wanted` lines at the most; one instant gets a second on either side.
pub(in crate::report) fn time(from: f64, to: f64, wanted: u32) -> Axis {
    let (from, to) = if to - from > 0.0 { (from, to) } else { (from - 1.0, from + 1.0) };
    let step = time_step((to - from) / f64::from(wanted.max(1)));
    let ticks = multiples(from, to, step).into_iter().map(|at| (at, time_label(at, step))).collect();
    Axis { from, to, ticks, between: Vec::new(), quantity: Quantity::Time }
}

/// The least step that is no smaller.
fn time_step(least: f64) -> f64 {
    TIME_STEPS.iter().copied().find(|step| *step >= least).unwrap_or_else(|| (least / DAY).ceil() * DAY)
}

/// `1 d 2 h`, `1 h 30 min`, `2 min 5 s`, `0.25 s`: the units that the step needs.
pub(in crate::report) fn time_label(at: f64, step: f64) -> String {
    let sign = if at < 0.0 { "−" } else { "" };
    let at = at.abs();
    if at < 60.0 || step < 1.0 {
        let decimals = if step >= 1.0 {
            0
        } else if step >= 0.1 {
            1
        } else if step >= 0.01 {
            2
        } else {
            3
        };
        return format!("{sign}{at:.decimals$} s");
    }
    let mut rest = at.round();
    let mut parts = Vec::new();
    for (length, unit) in [(DAY, "d"), (3600.0, "h"), (60.0, "min"), (1.0, "s")] {
        let whole = (rest / length).floor();
        rest -= whole * length;
        if whole > 0.0 {
            parts.push(format!("{whole:.0} {unit}"));
        }
    }
    format!("{sign}{}", parts.join(" "))
}

/// An axis of values around `low` to `high`, with some room; one value gets room on either side.
pub(in crate::report) fn values(low: f64, high: f64, wanted: u32, quantity: Quantity) -> Axis {
    let span = high - low;
    let room = if span > 0.0 { span * 0.06 } else { (high.abs() * 0.1).max(1.0) };
    let (from, to) = (low - room, high + room);
    of(from, to, wanted, quantity)
}

/// An axis of values from 0 to `high`, with some room above.
pub(in crate::report) fn from_zero(high: f64, wanted: u32, quantity: Quantity) -> Axis {
    of(0.0, if high > 0.0 { high * 1.06 } else { 1.0 }, wanted, quantity)
}

fn of(from: f64, to: f64, wanted: u32, quantity: Quantity) -> Axis {
    let step = round_step((to - from) / f64::from(wanted.max(1)));
    let ticks =
        multiples(from, to, step).into_iter().map(|at| (at, value_label(at, step, quantity))).collect();
    Axis { from, to, ticks, between: Vec::new(), quantity }
}

/// 1, 2 or 5 times a power of ten, no smaller than `least`.
fn round_step(least: f64) -> f64 {
    if !(least.is_finite() && least > 0.0) {
        return 1.0;
    }
    let power = 10_f64.powf(least.log10().floor());
    [1.0, 2.0, 5.0, 10.0]
        .iter()
        .map(|times| times * power)
        .find(|step| *step >= least * 0.999)
        .unwrap_or(least)
}

fn multiples(from: f64, to: f64, step: f64) -> Vec<f64> {
    let first = (from / step).ceil();
    (0..MOST)
        .map(|index| (first + f64::from(index)) * step)
        .take_while(|at| *at <= to + step * 1e-9)
        .collect()
}

/// A value with the unit that suits it, with as many decimals as tell it from one a `step` away: three without one.
pub(in crate::report) fn value_label(value: f64, step: f64, quantity: Quantity) -> String {
    let value = if value.abs() < step * 1e-6 { 0.0 } else { value };
    let told = |unit: f64| decimal(value / unit, step / unit);
    match quantity {
        Quantity::Nanoseconds => {
            let (unit, name) = match value.abs() {
                v if v >= 1e9 || v == 0.0 => (1e9, "s"),
                v if v >= 1e6 => (1e6, "ms"),
                v if v >= 1e3 => (1e3, "µs"),
                _ => (1.0, "ns"),
            };
            format!("{} {name}", told(unit))
        }
        Quantity::BitsPerSecond => {
            let (unit, name) = match value.abs() {
                v if v >= 1e9 => (1e9, "Gb/s"),
                v if v >= 1e6 => (1e6, "Mb/s"),
                v if v >= 1e3 => (1e3, "kb/s"),
                _ => (1.0, "b/s"),
            };
            format!("{} {name}", told(unit))
        }
        Quantity::PerCent => format!("{} %", told(1.0)),
        Quantity::Time => time_label(value, step),
        Quantity::Rows | Quantity::Exponent => told(1.0),
    }
}

/// Decimals that a number is told with at the most: of a second they are its nanoseconds.
const DECIMALS: u32 = 9;

/// Three decimals, or as many as a step needs; none at the end that are 0.
fn decimal(value: f64, step: f64) -> String {
    let needed = (0..=DECIMALS).find(|decimals| step * 10_f64.powi(decimals.cast_signed()) >= 0.999);
    let decimals = if step > 0.0 { needed.unwrap_or(DECIMALS) } else { 3 };
    let decimals = usize::try_from(decimals.max(3)).unwrap_or(3);
    let text = format!("{value:.decimals$}").replace('-', "−");
    if !text.contains('.') {
        return text;
    }
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// A logarithmic axis over whole decades; a line at each, thin ones at 2 to 9 between. `label` has the value in the
/// axis's unit.
pub(in crate::report) fn decades(low: f64, high: f64, label: impl Fn(f64) -> String) -> Axis {
    let exponent = |value: f64| value.max(1e-12).log10();
    let from = (exponent(low) + 1e-9).floor();
    let mut to = (exponent(high) - 1e-9).ceil();
    if to - from < 1.0 {
        to = from + 1.0;
    }
    let all = multiples(from, to, 1.0);
    let between = all
        .iter()
        .flat_map(|decade| (2..10).map(move |times| decade + f64::from(times).log10()))
        .filter(|at| *at < to)
        .collect();
    let ticks = all.iter().map(|decade| (*decade, label(10_f64.powf(*decade)))).collect();
    Axis { from, to, ticks, between, quantity: Quantity::Exponent }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn labels(axis: &Axis) -> Vec<&str> {
        axis.ticks.iter().map(|(_, label)| label.as_str()).collect()
    }

    #[test]
    fn time_axes_read_well_from_milliseconds_to_weeks() {
        assert_eq!(labels(&time(0.0, 59.9, 6)), ["0 s", "10 s", "20 s", "30 s", "40 s", "50 s"]);
        assert_eq!(labels(&time(0.0, 0.25, 5)), ["0.00 s", "0.05 s", "0.10 s", "0.15 s", "0.20 s", "0.25 s"]);
        assert_eq!(labels(&time(3.0, 400.0, 7)), ["1 min", "2 min", "3 min", "4 min", "5 min", "6 min"]);
        let hours = time(0.0, 5.0 * 3600.0, 6);
        assert_eq!(labels(&hours), ["0 s", "1 h", "2 h", "3 h", "4 h", "5 h"]);
        assert_eq!(
            labels(&time(0.0, 2.5 * 86_400.0, 5)),
            ["0 s", "12 h", "1 d", "1 d 12 h", "2 d", "2 d 12 h"]
        );
        assert_eq!(labels(&time(0.0, 21.0 * 86_400.0, 4)), ["0 s", "6 d", "12 d", "18 d"]);
    }

    #[test]
    fn one_instant_and_nonsense_give_an_axis_all_the_same() {
        let axis = time(5.0, 5.0, 6);
        assert!((axis.from - 4.0).abs() < 1e-9 && (axis.to - 6.0).abs() < 1e-9);
        let flat = values(7.0, 7.0, 5, Quantity::Nanoseconds);
        assert!(flat.from < 7.0 && flat.to > 7.0 && !flat.ticks.is_empty());
        assert!(time(0.0, f64::MAX, 6).ticks.len() <= 40);
    }

    #[test]
    fn values_carry_their_unit() {
        let axis = values(-10_000.0, 10_000.0, 5, Quantity::Nanoseconds);
        assert_eq!(labels(&axis), ["−10 µs", "−5 µs", "0 s", "5 µs", "10 µs"]);
        assert_eq!(labels(&from_zero(1e9, 4, Quantity::BitsPerSecond)), ["0 b/s", "500 Mb/s", "1 Gb/s"]);
    }

    #[test]
    fn lines_close_together_carry_different_values() {
        let second = values(1e9 - 20_000.0, 1e9 + 20_000.0, 6, Quantity::Nanoseconds);
        assert_eq!(labels(&second)[1..4], ["999.99 ms", "1 s", "1.00001 s"]);
        for middle in [125e6, 8e9, 1e9, 3e6, 1e12] {
            for half in [15.0, 400.0, 20_000.0, 3e6] {
                let axis = values(middle - half, middle + half, 6, Quantity::Nanoseconds);
                let labels = labels(&axis);
                let different: std::collections::BTreeSet<&str> = labels.iter().copied().collect();
                assert_eq!(different.len(), labels.len(), "{labels:?}");
            }
        }
        // Far finer than anything is stamped, it ends.
        assert_eq!(value_label(1e9 + 1.0, 1e-9, Quantity::Nanoseconds), "1.000000001 s");
        assert_eq!(value_label(1e9 + 1.0, 0.0, Quantity::Nanoseconds), "1 s");
    }

    #[test]
    fn decades_are_whole_and_divided_in_nine() {
        let axis = decades(3.0, 450.0, |value| format!("{value:.0}"));
        assert_eq!(labels(&axis), ["1", "10", "100", "1000"]);
        assert_eq!(axis.between.len(), 24);
        assert_eq!(decades(0.0, 0.0, |_| String::new()).ticks.len(), 2);
    }
}
