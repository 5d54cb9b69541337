//! Fewer points that look the same: what a column of pixels shows is its first, lowest, highest and last value.

/// Thins points in order of x to at most four for each of `columns` equal columns; the lowest and highest of each stay.
pub(super) fn thin(points: &[(f64, f64)], columns: u32) -> Vec<(f64, f64)> {
    let (Some(first), Some(last)) = (points.first(), points.last()) else { return Vec::new() };
    let columns = columns.max(1);
    let width = (last.0 - first.0) / f64::from(columns);
    let few = usize::try_from(columns).unwrap_or(usize::MAX).saturating_mul(4);
    if points.len() <= few || width <= 0.0 || !width.is_finite() {
        return if points.len() <= few { points.to_vec() } else { extremes(points) };
    }
    let column = |point: &(f64, f64)| ((point.0 - first.0) / width).floor();
    let same = |one: &(f64, f64), other: &(f64, f64)| column(one).total_cmp(&column(other)).is_eq();
    points.chunk_by(same).flat_map(extremes).collect()
}

/// First, lowest, highest and last, in order of x, none twice.
fn extremes(points: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let by_value = |one: &(usize, &(f64, f64)), other: &(usize, &(f64, f64))| one.1.1.total_cmp(&other.1.1);
    let all = || points.iter().enumerate();
    let mut kept: Vec<(usize, &(f64, f64))> =
        [all().next(), all().min_by(by_value), all().max_by(by_value), all().next_back()]
            .into_iter()
            .flatten()
            .collect();
    kept.sort_by_key(|(index, _)| *index);
    kept.dedup_by_key(|(index, _)| *index);
    kept.into_iter().map(|(_, point)| *point).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn highest(points: &[(f64, f64)]) -> f64 {
        points.iter().map(|point| point.1).fold(f64::MIN, f64::max)
    }

    #[test]
    fn a_million_points_keep_one_spike() {
        let points: Vec<(f64, f64)> = (0..1_000_000)
            .map(|at| (f64::from(at), if at == 654_321 { 1e6 } else { f64::from(at % 10) }))
            .collect();
        let thinned = thin(&points, 800);
        assert!(thinned.len() <= 4 * 801, "{}", thinned.len());
        assert!((highest(&thinned) - 1e6).abs() < 1e-9);
        assert!(thinned.contains(&(654_321.0, 1e6)));
    }

    #[test]
    fn nothing_one_point_and_one_instant_stay_sensible() {
        assert_eq!(thin(&[], 10), []);
        assert_eq!(thin(&[(1.0, 2.0)], 10), [(1.0, 2.0)]);
        let one_instant: Vec<(f64, f64)> = (0..1000).map(|value| (5.0, f64::from(value))).collect();
        assert_eq!(thin(&one_instant, 10), [(5.0, 0.0), (5.0, 999.0)]);
    }

    proptest! {
        #[test]
        fn extremes_and_order_stay(values in prop::collection::vec(-1e9_f64..1e9, 1..900), columns in 1_u32..60) {
            let points: Vec<(f64, f64)> = (0_u32..).map(f64::from).zip(values).collect();
            let thinned = thin(&points, columns);
            prop_assert!((highest(&thinned) - highest(&points)).abs() < 1e-9);
            prop_assert!(thinned.windows(2).all(|pair| pair[0].0 < pair[1].0));
            prop_assert_eq!(thinned.first(), points.first());
            prop_assert_eq!(thinned.last(), points.last());
        }
    }
}
