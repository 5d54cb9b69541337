//! A series as one line of characters, high where its values are.

/// Eighths of a line, lowest first (Unicode Block Elements).
const BLOCKS: [char; 8] = ['▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];

/// The same where a terminal shows ASCII alone: the more ink, the higher (chosen).
const ASCII: [char; 8] = ['_', '.', '-', '~', '=', '+', '*', '#'];

/// One character for each of `width` equal stretches between `from` and `until`: the mean of the values in it, between the
/// ends `low` and `high`; a blank where there is none.
pub(super) fn line(
    points: impl Iterator<Item = (f64, f64)>,
    (from, until): (f64, f64),
    (low, high): (f64, f64),
    (width, ascii): (u16, bool),
) -> String {
    let mut sums = vec![(0.0_f64, 0_u32); usize::from(width)];
    for (at, value) in points {
        let place = if until > from { (at - from) / (until - from) * f64::from(width) } else { 0.0 };
        if let Some(sum) = sums.get_mut(step(place, width)) {
            *sum = (sum.0 + value, sum.1.saturating_add(1));
        }
    }
    let levels = if ascii { ASCII } else { BLOCKS };
    let level = |(sum, count): &(f64, u32)| {
        if *count == 0 {
            return ' ';
        }
        let part = if high > low { (sum / f64::from(*count) - low) / (high - low) } else { 0.0 };
        levels.get(step(part * 8.0, 8)).copied().unwrap_or(' ')
    };
    sums.iter().map(level).collect()
}

/// The whole part of a number, from 0 to below `steps`.
#[allow(
    clippy::as_conversions,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "within 0 and 65535 by then; what is no number becomes 0"
)]
fn step(value: f64, steps: u16) -> usize {
    usize::from(value.clamp(0.0, f64::from(steps.saturating_sub(1))) as u16)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ramp() -> impl Iterator<Item = (f64, f64)> {
        (0..80_u32).map(|at| (f64::from(at), f64::from(at)))
    }

    #[test]
    fn a_ramp_rises_through_every_level() {
        assert_eq!(line(ramp(), (0.0, 80.0), (0.0, 79.0), (8, false)), "▁▂▃▄▅▆▇█");
        assert_eq!(line(ramp(), (0.0, 80.0), (0.0, 79.0), (8, true)), "_.-~=+*#");
    }

    #[test]
    fn stretches_without_values_are_blank_and_ends_belong_to_it() {
        let ends = [(0.0, 1.0), (10.0, 2.0)];
        assert_eq!(line(ends.into_iter(), (0.0, 10.0), (1.0, 2.0), (5, false)), "▁   █");
        assert_eq!(line(std::iter::empty(), (0.0, 10.0), (0.0, 1.0), (3, false)), "   ");
    }

    #[test]
    fn what_does_not_change_lies_low_and_odd_numbers_do_no_harm() {
        assert_eq!(line([(0.0, 5.0)].into_iter(), (0.0, 0.0), (5.0, 5.0), (2, false)), "▁ ");
        let odd = [(f64::NAN, f64::NAN), (f64::INFINITY, f64::INFINITY), (-1e300, f64::NEG_INFINITY)];
        assert_eq!(line(odd.into_iter(), (0.0, 1.0), (0.0, 1.0), (3, true)).chars().count(), 3);
        assert_eq!(line(odd.into_iter(), (0.0, 1.0), (0.0, 1.0), (0, true)), "");
    }
}
