//! Stability of a clock's phase over averaging times τ = m·τ₀: the Allan family.
//!
//! With x the phase, N its values and τ₀ their distance (NIST SP 1065, from memory; figures of its test sets are
//! matched in the tests):
//!
//! | measure | formula |
//! |---|---|
//! | ADEV | √(½⟨(x_{k+2} − 2x_{k+1} + x_k)²⟩) / τ, x at every m-th place |
//! | OADEV | the same at all N − 2m places |
//! | MDEV | √(Σ_j [Σ_{i=j}^{j+m−1} (x_{i+2m} − 2x_{i+m} + x_i)]² / (2 m⁴ τ₀² (N − 3m + 1))) |
//! | TDEV | τ / √3 · MDEV (ITU-T G.810) |
//! | HDEV, OHDEV | √(⟨third difference²⟩ / 6) / τ, at every m-th place or all |
//! | TOTDEV | as OADEV over the series mirrored at both ends, N − 2 terms |
//!
//! Differences and their sums are exact integers; only their squares are floating point. Each function takes the
//! least number of terms it may stand on and gives `None` below it.
#![allow(clippy::as_conversions, reason = "exact integers of at most 2^100 become f64 to be squared")]

use super::even::EvenSeries;

/// Terms below which no deviation is printed (reference).
pub const LEAST_TERMS: usize = 10;

/// Longest averaging time as a part of the record: for ADEV and OADEV a half (reference).
pub const ALLAN_RECORD_PARTS: usize = 2;

/// Longest averaging time as a part of the record: for MDEV, TDEV and the Hadamard pair a third (reference for
/// the first two; the third difference needs as much).
pub const MODIFIED_RECORD_PARTS: usize = 3;

/// 2⁻¹⁶ ns in a nanosecond.
const SCALE: f64 = 65536.0;

/// A deviation of fractional frequency.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FrequencyDeviation {
    /// Averaging time, ns.
    pub tau_ns: i64,
    /// The deviation, dimensionless (10⁻⁹ is 1 ns a second).
    pub fractional: f64,
    /// Terms it stands on.
    pub terms: usize,
}

/// A deviation of time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TimeDeviation {
    /// Averaging time, ns.
    pub tau_ns: i64,
    /// The deviation, ns.
    pub deviation_ns: f64,
    /// Terms it stands on.
    pub terms: usize,
}

/// Allan deviation of places m apart.
#[must_use]
pub fn adev(series: &EvenSeries, m: usize, least_terms: usize) -> Option<FrequencyDeviation> {
    let strided: Vec<i64> = series.phase_scaled_ns().iter().copied().step_by(positive(m)?).collect();
    frequency(series, m, least_terms, 2.0, second_differences(&strided, 1)?)
}

/// Overlapping Allan deviation.
#[must_use]
pub fn oadev(series: &EvenSeries, m: usize, least_terms: usize) -> Option<FrequencyDeviation> {
    frequency(series, m, least_terms, 2.0, second_differences(series.phase_scaled_ns(), positive(m)?)?)
}

/// Modified Allan deviation.
#[must_use]
pub fn mdev(series: &EvenSeries, m: usize, least_terms: usize) -> Option<FrequencyDeviation> {
    let differences: Vec<i128> = second_differences(series.phase_scaled_ns(), positive(m)?)?.collect();
    let head = differences.get(..m)?;
    let mut sum: i128 = head.iter().sum();
    let mut sums = vec![sum];
    for (leaves, enters) in differences.iter().zip(differences.iter().skip(m)) {
        sum += enters - leaves;
        sums.push(sum);
    }
    let mut deviation = frequency(series, m, least_terms, 2.0, sums.into_iter())?;
    deviation.fractional /= m as f64;
    Some(deviation)
}

/// Time deviation.
#[must_use]
pub fn tdev(series: &EvenSeries, m: usize, least_terms: usize) -> Option<TimeDeviation> {
    let modified = mdev(series, m, least_terms)?;
    let deviation_ns = modified.tau_ns as f64 / 3_f64.sqrt() * modified.fractional;
    Some(TimeDeviation { tau_ns: modified.tau_ns, deviation_ns, terms: modified.terms })
}

/// Hadamard deviation of places m apart.
#[must_use]
pub fn hdev(series: &EvenSeries, m: usize, least_terms: usize) -> Option<FrequencyDeviation> {
    let strided: Vec<i64> = series.phase_scaled_ns().iter().copied().step_by(positive(m)?).collect();
    frequency(series, m, least_terms, 6.0, third_differences(&strided, 1)?)
}

/// Overlapping Hadamard deviation.
#[must_use]
pub fn ohdev(series: &EvenSeries, m: usize, least_terms: usize) -> Option<FrequencyDeviation> {
    frequency(series, m, least_terms, 6.0, third_differences(series.phase_scaled_ns(), positive(m)?)?)
}

/// Total deviation: the series is mirrored about its first and its last value, so that every inner place gives a
/// term for any m below the record's length.
#[must_use]
pub fn totdev(series: &EvenSeries, m: usize, least_terms: usize) -> Option<FrequencyDeviation> {
    let phase = series.phase_scaled_ns();
    let (first, last) = (i128::from(*phase.first()?), i128::from(*phase.last()?));
    if positive(m)? >= phase.len() {
        return None;
    }
    let inner = phase.get(1..phase.len().checked_sub(1)?)?;
    let mirrored = |about: i128| move |value: &i64| 2 * about - i128::from(*value);
    let mut whole: Vec<i128> = inner.iter().rev().map(mirrored(first)).collect();
    whole.extend(phase.iter().copied().map(i128::from));
    whole.extend(inner.iter().rev().map(mirrored(last)));
    // Place 0 of the series stands at inner.len(); the terms are centred on places 1 to N − 2.
    let centre = inner.len() + 1;
    let terms = whole
        .get(centre.checked_sub(m)?..)?
        .iter()
        .zip(whole.get(centre..)?)
        .zip(whole.get(centre.checked_add(m)?..)?)
        .take(inner.len())
        .map(|((before, at), after)| after - 2 * at + before);
    frequency(series, m, least_terms, 2.0, terms)
}

/// A measure over averaging factors 1, 2, 4 … up to the record's length divided by `record_parts`; factors with
/// too few terms are left out.
pub fn octaves<T>(
    series: &EvenSeries,
    record_parts: usize,
    measure: impl Fn(&EvenSeries, usize) -> Option<T>,
) -> Vec<T> {
    let intervals = series.len().saturating_sub(1);
    let longest = intervals.checked_div(record_parts).unwrap_or(0);
    let factors = std::iter::successors(Some(1_usize), |m| m.checked_mul(2));
    factors.take_while(|m| *m <= longest).filter_map(|m| measure(series, m)).collect()
}

fn positive(m: usize) -> Option<usize> {
    Some(m).filter(|m| *m > 0)
}

fn second_differences(phase: &[i64], m: usize) -> Option<impl Iterator<Item = i128>> {
    let (one, two) = (phase.get(m..)?, phase.get(m.checked_mul(2)?..)?);
    let at = |value: &i64| i128::from(*value);
    Some(phase.iter().zip(one).zip(two).map(move |((x0, x1), x2)| at(x2) - 2 * at(x1) + at(x0)))
}

fn third_differences(phase: &[i64], m: usize) -> Option<impl Iterator<Item = i128>> {
    let shifted = phase.get(m..)?;
    let second = second_differences(phase, m)?;
    Some(second.zip(second_differences(shifted, m)?).map(|(earlier, later)| later - earlier))
}

/// √(mean of squares / divisor) / τ.
fn frequency(
    series: &EvenSeries,
    m: usize,
    least_terms: usize,
    divisor: f64,
    differences_scaled_ns: impl Iterator<Item = i128>,
) -> Option<FrequencyDeviation> {
    let tau_ns = series.interval_ns().checked_mul(i64::try_from(m).ok()?)?;
    let (mut squares, mut terms) = (0.0_f64, 0_usize);
    for difference in differences_scaled_ns {
        squares += (difference as f64 / SCALE).powi(2);
        terms += 1;
    }
    if terms < least_terms.max(1) {
        return None;
    }
    let fractional = (squares / terms as f64 / divisor).sqrt() / tau_ns as f64;
    Some(FrequencyDeviation { tau_ns, fractional, terms })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    type Measure = fn(&EvenSeries, usize, usize) -> Option<FrequencyDeviation>;

    const ALL: [Measure; 6] = [adev, oadev, mdev, hdev, ohdev, totdev];

    fn series(values: &[i128]) -> EvenSeries {
        EvenSeries::new(1_000_000_000, values).unwrap()
    }

    #[test]
    fn too_few_terms_give_nothing() {
        let short = series(&(0..21).map(|at| at * at).collect::<Vec<_>>());
        assert_eq!(oadev(&short, 5, LEAST_TERMS).unwrap().terms, 11);
        assert_eq!(oadev(&short, 6, LEAST_TERMS), None);
        assert_eq!(adev(&short, 2, LEAST_TERMS), None);
        assert_eq!(adev(&short, 2, 9).unwrap().terms, 9);
        for measure in ALL {
            assert_eq!(measure(&short, 0, 1), None);
            assert_eq!(measure(&short, usize::MAX, 1), None);
            assert_eq!(measure(&short, 21, 1), None);
        }
    }

    #[test]
    fn octaves_end_where_the_record_is_a_third() {
        let long = series(&vec![0; 100]);
        let taus: Vec<i64> = octaves(&long, MODIFIED_RECORD_PARTS, |series, m| tdev(series, m, 10))
            .iter()
            .map(|deviation| deviation.tau_ns / 1_000_000_000)
            .collect();
        // 99 s of record: a third is 33 s, and 32 s still has 100 − 96 + 1 = 5 terms, which is too few.
        assert_eq!(taus, [1, 2, 4, 8, 16]);
    }

    fn equal(one: Option<FrequencyDeviation>, other: Option<FrequencyDeviation>) -> bool {
        match (one, other) {
            (Some(one), Some(other)) => {
                one.terms == other.terms
                    && (one.fractional - other.fractional).abs() <= 1e-12 * one.fractional
            }
            (one, other) => one.is_none() && other.is_none(),
        }
    }

    proptest! {
        #[test]
        fn neither_a_constant_nor_a_rate_changes_a_deviation(
            values in prop::collection::vec(-1_000_000_i128..1_000_000, 3..80),
            constant in -1_000_000_000_i128..1_000_000_000, rate in -1_000_000_i128..1_000_000, m in 1_usize..20
        ) {
            let moved: Vec<i128> =
                (0..).zip(&values).map(|(place, value)| value + constant + rate * place).collect();
            for measure in ALL {
                prop_assert!(equal(measure(&series(&values), m, 1), measure(&series(&moved), m, 1)));
            }
        }

        #[test]
        fn a_steady_change_of_rate_is_seen_by_allan_and_not_by_hadamard(
            change in 1_i128..1_000_000, count in 20_i128..60, m in 1_usize..6
        ) {
            let drifting = series(&(0..count).map(|at| change * at * at).collect::<Vec<_>>());
            let hadamard = ohdev(&drifting, m, 1).unwrap();
            prop_assert_eq!(hadamard.fractional, 0.0);
            // Each second difference is 2 · change · m², so the deviation is √2 · change · m / τ₀.
            let theory = 2_f64.sqrt() * change as f64 / 65536.0 * m as f64 / 1e9;
            let allan = oadev(&drifting, m, 1).unwrap().fractional;
            prop_assert!((allan / theory - 1.0).abs() < 1e-12, "{} {}", allan, theory);
        }

        #[test]
        fn nothing_makes_them_panic(
            values in prop::collection::vec(prop_oneof![any::<i64>(), Just(i64::MIN), Just(i64::MAX)], 3..30),
            interval in 1_i64..=i64::MAX, m in 0_usize..40
        ) {
            let wide: Vec<i128> = values.iter().map(|value| i128::from(*value)).collect();
            let Ok(series) = EvenSeries::new(interval, &wide) else { return Ok(()) };
            for measure in ALL {
                prop_assert!(measure(&series, m, 1).is_none_or(|deviation| deviation.fractional.is_finite()));
            }
        }
    }
}
