//! The stability measures against the figures of NIST SP 1065 (`tests/data/check-values/stability.json`).
//!
//! `published` are the printed figures, read through the test files of the allantools repository, which cite
//! pages 107 and 108; they hold to their printed digits. `allantools` (2024.06) and a brute-force computation
//! hold to 1e-9.

use downbeat::statistics;
use downbeat::statistics::EvenSeries;
use downbeat::statistics::FrequencyDeviation;
use serde_json::Value;

const FILE: &str = include_str!("../data/check-values/stability.json");

/// 1 s, the τ₀ of every set.
const SECOND_NS: i64 = 1_000_000_000;

/// Phases are whole multiples of a unit of this many 2⁻¹⁶ ns.
const UNIT_SCALED_NS: i128 = 65536;

/// Both data sets hold fewer than ten terms at their longest τ.
const ANY_TERMS: usize = 1;

fn document() -> Value {
    serde_json::from_str(FILE).unwrap()
}

pub(crate) fn assert_close(ours: f64, theirs: f64, relative: f64, what: &str) {
    let difference = (ours - theirs).abs();
    assert!(difference <= relative * theirs.abs(), "{what}: {ours} is not {theirs}");
}

/// A series whose phase is given in whole units, one unit = 1 ns, τ₀ = 1 s.
fn series(phase: &[i128]) -> EvenSeries {
    let scaled: Vec<i128> = phase.iter().map(|value| value * UNIT_SCALED_NS).collect();
    EvenSeries::new(SECOND_NS, &scaled).unwrap()
}

/// The phase of fractional frequencies: x₀ = 0, x_{i+1} = x_i + y_i.
fn phase_of(frequency: &[i128]) -> Vec<i128> {
    let mut phase = vec![0];
    for step in frequency {
        phase.push(phase.last().unwrap() + step);
    }
    phase
}

/// The measure `name` at factor `m` in the set's units: the phase counts ns and the set's phase counts seconds.
pub(crate) fn measured(name: &str, series: &EvenSeries, m: usize) -> f64 {
    let fractional = |deviation: Option<FrequencyDeviation>| deviation.unwrap().fractional * 1e9;
    match name {
        "ADEV" => fractional(statistics::adev(series, m, ANY_TERMS)),
        "OADEV" => fractional(statistics::oadev(series, m, ANY_TERMS)),
        "MDEV" => fractional(statistics::mdev(series, m, ANY_TERMS)),
        "HDEV" => fractional(statistics::hdev(series, m, ANY_TERMS)),
        "OHDEV" => fractional(statistics::ohdev(series, m, ANY_TERMS)),
        "TOTDEV" => fractional(statistics::totdev(series, m, ANY_TERMS)),
        "TDEV" => statistics::tdev(series, m, ANY_TERMS).unwrap().deviation_ns,
        other => panic!("measure {other} is not known here"),
    }
}

pub(crate) fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(|number| number.as_f64().unwrap()).collect()
}

/// Compares every figure of a set, whose values are our values divided by `scale`; returns how many.
fn compare(set: &Value, series: &EvenSeries, scale: f64) -> usize {
    let mut compared = 0;
    for (name, figures) in set["deviations"].as_object().unwrap() {
        let factors = numbers(&figures["tau"]);
        for (at, tau) in factors.iter().enumerate() {
            let ours = measured(name, series, *tau as usize) / scale;
            let what = format!("{name} at {tau} s");
            assert_close(ours, numbers(&figures["published"])[at], 5e-7, &what);
            assert_close(ours, numbers(&figures["allantools"])[at], 1e-9, &what);
            compared += 2;
            if figures["own_bruteforce"].is_array() {
                assert_close(ours, numbers(&figures["own_bruteforce"])[at], 1e-9, &what);
                compared += 1;
            }
        }
    }
    compared
}

#[test]
fn nbs14_gives_the_published_figures() {
    let document = document();
    let set = &document["stability"]["NBS14"];
    let frequency: Vec<i128> = numbers(&set["frequency"]).iter().map(|value| *value as i128).collect();
    let phase = phase_of(&frequency);
    let expected: Vec<i128> = numbers(&set["phase"]).iter().map(|value| *value as i128).collect();
    assert_eq!(phase, expected);
    // Seven measures at two τ with two sources each, six of them with a third.
    assert_eq!(compare(set, &series(&phase), 1.0), 7 * 2 * 2 + 6 * 2);
}

#[test]
fn the_thousand_point_set_gives_the_published_figures() {
    const MODULUS: i128 = 2_147_483_647;
    let document = document();
    let set = &document["stability"]["LCG1000"];
    let integers: Vec<i128> =
        std::iter::successors(Some(1_234_567_890_i128), |n| Some(16807 * n % MODULUS)).take(1000).collect();
    let first: Vec<i128> = numbers(&set["first_integers"]).iter().map(|value| *value as i128).collect();
    assert_eq!(integers[..first.len()], first[..]);
    assert_eq!(integers[999], i128::from(set["last_integer"].as_i64().unwrap()));
    let mean = integers.iter().sum::<i128>() as f64 / 1000.0 / MODULUS as f64;
    assert_close(mean, set["y_mean"].as_f64().unwrap(), 1e-12, "mean of the set");
    let scaled: Vec<i128> = integers.iter().map(|value| value * UNIT_SCALED_NS).collect();
    let deviation = statistics::time_error(&scaled).unwrap().standard_deviation_ns.unwrap();
    assert_close(deviation / MODULUS as f64, set["y_std_sample"].as_f64().unwrap(), 1e-9, "sample σ");
    let phase = phase_of(&integers);
    let last = phase[1000] as f64 / MODULUS as f64;
    assert_close(last, set["x_last"].as_f64().unwrap(), 1e-12, "last phase");
    let series = series(&phase);
    assert_eq!(compare(set, &series, MODULUS as f64), 7 * 3 * 2 + 6 * 3);
    let mut octaves = 0;
    for (name, figures) in set["octave"].as_object().unwrap() {
        for (tau, expected) in numbers(&figures["tau"]).into_iter().zip(numbers(&figures["dev"])) {
            let ours = measured(name, &series, tau as usize) / MODULUS as f64;
            assert_close(ours, expected, 1e-9, &format!("{name} at {tau} s"));
            octaves += 1;
        }
    }
    assert_eq!(octaves, 4 * 9);
}

#[test]
fn the_small_series_gives_its_time_errors() {
    let document = document();
    let small = &document["small_series"];
    let values: Vec<i128> = numbers(&small["te_ns"]).iter().map(|value| *value as i128).collect();
    let series = series(&values);
    let mut compared = 0;
    for row in small["mtie_ns"].as_array().unwrap() {
        let ours = statistics::mtie(&series, row["n"].as_u64().unwrap() as usize).unwrap();
        assert_eq!(ours.scaled_ns, i128::from(row["mtie"].as_i64().unwrap()) * UNIT_SCALED_NS, "{row}");
        assert_close(ours.tau_ns as f64, row["tau_s"].as_f64().unwrap() * 1e9, 1e-15, "τ");
        compared += 1;
    }
    for row in small["tdev_ns"].as_array().unwrap() {
        let ours = measured("TDEV", &series, row["m"].as_u64().unwrap() as usize);
        assert_close(ours, row["tdev"].as_f64().unwrap(), 1e-9, &row.to_string());
        assert_close(ours, row["own"].as_f64().unwrap(), 1e-9, &row.to_string());
        compared += 1;
    }
    for row in small["oadev"].as_array().unwrap() {
        let ours = measured("OADEV", &series, row["m"].as_u64().unwrap() as usize) / 1e9;
        assert_close(ours, row["oadev"].as_f64().unwrap(), 1e-9, &row.to_string());
        assert_close(ours, row["own"].as_f64().unwrap(), 1e-9, &row.to_string());
        compared += 1;
    }
    assert_eq!(compared, 9 + 3 + 3);
    let scaled: Vec<i128> = series.values_scaled_ns().collect();
    let error = statistics::time_error(&scaled).unwrap();
    assert_eq!(error.max_abs_scaled_ns, 10 * 65536);
    assert_eq!(error.peak_to_peak_scaled_ns, 10 * 65536);
    assert_close(error.mean_ns, small["cTE_mean"].as_f64().unwrap(), 1e-12, "cTE");
    assert_close(error.rms_ns, small["TE_rms"].as_f64().unwrap(), 1e-9, "RMS");
    let deviation = error.standard_deviation_ns.unwrap();
    assert_close(deviation, small["std_sample"].as_f64().unwrap(), 1e-9, "sample σ");
}
