//! A seeded series as allantools 2024.06 measures it, against our measures (`tests/peers/allantools_stability.py`).
//!
//! Factors, values (to 1e-9) and numbers of terms are compared. allantools counts the terms of ADEV, HDEV and MTIE
//! as we do.

use downbeat::statistics;
use downbeat::statistics::EvenSeries;
use downbeat::statistics::FrequencyDeviation;
use serde_json::Value;

use crate::stability_vectors::assert_close;
use crate::stability_vectors::numbers;

const FILE: &str = include_str!("../data/allantools-stability.json");

/// Value and terms in seconds or as a fraction, as allantools gives them.
fn measured(name: &str, series: &EvenSeries, m: usize) -> (f64, usize) {
    let plain = |deviation: Option<FrequencyDeviation>| {
        let deviation = deviation.unwrap();
        (deviation.fractional, deviation.terms)
    };
    match name {
        "ADEV" => plain(statistics::adev(series, m, 1)),
        "OADEV" => plain(statistics::oadev(series, m, 1)),
        "MDEV" => plain(statistics::mdev(series, m, 1)),
        "HDEV" => plain(statistics::hdev(series, m, 1)),
        "OHDEV" => plain(statistics::ohdev(series, m, 1)),
        "TOTDEV" => plain(statistics::totdev(series, m, 1)),
        "TDEV" => {
            let deviation = statistics::tdev(series, m, 1).unwrap();
            (deviation.deviation_ns / 1e9, deviation.terms)
        }
        "MTIE" => {
            let widest = statistics::mtie(series, m).unwrap();
            (widest.scaled_ns as f64 / 65536.0 / 1e9, widest.windows)
        }
        other => panic!("measure {other} is not known here"),
    }
}

#[test]
fn every_measure_agrees_with_allantools() {
    let document: Value = serde_json::from_str(FILE).unwrap();
    assert_eq!(document["allantools"], "2024.06");
    let values: Vec<i128> =
        numbers(&document["time_error_ns"]).iter().map(|value| *value as i128 * 65536).collect();
    assert_eq!(values.len(), 1200);
    let interval_ns = 1_000_000_000 / document["rate_hz"].as_i64().unwrap();
    let series = EvenSeries::new(interval_ns, &values).unwrap();
    let mut compared = 0;
    for (name, rows) in document["measures"].as_object().unwrap() {
        for row in rows.as_array().unwrap() {
            let m = row[0].as_u64().unwrap() as usize;
            let (value, terms) = measured(name, &series, m);
            assert_close(value, row[1].as_f64().unwrap(), 1e-9, &format!("{name} at factor {m}"));
            assert_eq!(terms as u64, row[2].as_u64().unwrap(), "terms of {name} at factor {m}");
            compared += 1;
        }
    }
    assert_eq!(compared, 8 * 12);
}
