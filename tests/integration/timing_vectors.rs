//! The timing arithmetic against worked-out values (`tests/data/check-values/timing.json`), vector by vector.
//!
//! Integers are compared exactly and fractions to 1e-9, unless the vector names a tolerance or prints fewer digits.

use std::collections::BTreeMap;

use downbeat::statistics::Point;
use downbeat::statistics::least_squares;
use downbeat::statistics::theil_sen;
use downbeat::statistics::without_slope;
use downbeat::timing;
use downbeat::timing::InterarrivalJitter;
use downbeat::timing::LinkDelay;
use downbeat::timing::RateRatio;
use downbeat::timing::RtpUnwrapper;
use downbeat::timing::ScaledNanos;
use downbeat::timing::Timescales;
use downbeat::timing::Turnaround;
use downbeat::timing::TwoWay;
use downbeat::units::CaptureTime;
use downbeat::units::LogInterval;
use downbeat::units::Nanos;
use downbeat::units::TimeInterval;
use downbeat::units::Timestamp;
use serde_json::Value;

use crate::stability_vectors::assert_close;
use crate::stability_vectors::numbers;
use crate::support::vectors::from_hex;

const FILE: &str = include_str!("../data/check-values/timing.json");

/// A number that the file gives to the nanosecond, whole or with decimals in binary steps.
fn scaled(value: &Value) -> i128 {
    if let Some(whole) = value.as_i64() {
        return i128::from(whole) * 65536;
    }
    let scaled = value.as_f64().unwrap() * 65536.0;
    assert!(scaled.fract().abs() < f64::EPSILON, "{value} is no multiple of 2⁻¹⁶ ns");
    scaled as i128
}

/// A value in nanoseconds, or 0 where it is not given.
fn scaled_or_zero(values: &Value, name: &str) -> i128 {
    values.get(name).map_or(0, scaled)
}

fn correction(values: &Value, name: &str) -> TimeInterval {
    TimeInterval(i64::try_from(scaled_or_zero(values, name)).unwrap())
}

fn timestamp(ns: i128) -> Timestamp {
    let nanoseconds = u32::try_from(ns.rem_euclid(1_000_000_000)).unwrap();
    Timestamp { seconds: u64::try_from(ns.div_euclid(1_000_000_000)).unwrap(), nanoseconds }
}

fn whole_ns(values: &Value, name: &str) -> i128 {
    let scaled = scaled(&values[name]);
    assert_eq!(scaled % 65536, 0, "{name} is not whole");
    scaled / 65536
}

fn capture(values: &Value, name: &str) -> CaptureTime {
    CaptureTime(i64::try_from(whole_ns(values, name)).unwrap())
}

/// Each check compares every expected value of its vector and returns how many.
type Check = fn(&Value, &Value) -> usize;

fn two_way(inputs: &Value, expected: &Value) -> usize {
    let to_capture = timing::delay_to_capture(
        timestamp(whole_ns(inputs, "t1")),
        capture(inputs, "t2"),
        &[correction(inputs, "cs"), correction(inputs, "cf")],
    )
    .unwrap();
    let from_request = timing::delay_from_request(
        capture(inputs, "t3"),
        timestamp(whole_ns(inputs, "t4")),
        correction(inputs, "cr"),
        correction(inputs, "cd"),
    )
    .unwrap();
    let both = TwoWay { to_capture, from_request };
    let at = capture(inputs, "t2");
    let without_37_s = || match timing::timescales(both.offset(), at, timing::TIMESCALE_TOLERANCE) {
        Timescales::CaptureInUtc { residual } => residual,
        other => panic!("{other:?}"),
    };
    for (name, value) in expected.as_object().unwrap() {
        let ours = match name.as_str() {
            "t_ms_ns" => to_capture,
            "t_sm_ns" => from_request,
            "offset_ns" => both.offset(),
            "meanPathDelay_ns" => both.mean_path_delay(),
            "offset_plus_37s_ns" => without_37_s(),
            other => panic!("{other} is not compared"),
        };
        assert_eq!(ours.0, scaled(value), "{name}");
    }
    // Only the capture that was taken at the leader reads as taken there, with stamps of 1 µs.
    let is_short = scaled(&expected["meanPathDelay_ns"]) < 0;
    assert_eq!(both.is_at_leader(ScaledNanos(1000 << 16)), is_short);
    expected.as_object().unwrap().len()
}

fn peer_delay(inputs: &Value, expected: &Value) -> usize {
    let corrections = [correction(inputs, "corr")];
    let (t2, t3) = (timestamp(whole_ns(inputs, "t2")), timestamp(whole_ns(inputs, "t3")));
    let held = Turnaround::two_step(t2, t3, &corrections).unwrap();
    if t2.is_zero() && t3.is_zero() {
        assert_eq!(Turnaround::one_step(corrections[0]), Some(held));
    }
    let round_trip = ScaledNanos(scaled(&inputs["t4"]) - scaled(&inputs["t1"]));
    let ratio = match inputs.get("r").and_then(Value::as_f64) {
        // The file prints at most eight decimals.
        Some(ratio) => RateRatio::new((ratio * 1e8).round() as i128, 100_000_000).unwrap(),
        None => RateRatio::ONE,
    };
    let delay = LinkDelay::new(round_trip, held, ratio).unwrap();
    let theirs = expected["meanLinkDelay_ns"].as_f64().unwrap();
    assert_close(delay.as_ns_f64(), theirs, 1e-9, "meanLinkDelay");
    assert_eq!(delay.scaled().0, (theirs * 65536.0).floor() as i128);
    expected.as_object().unwrap().len()
}

fn neighbor_rate_ratio(inputs: &Value, expected: &Value) -> usize {
    let between = |first: &str, last: &str| {
        ScaledNanos::between_timestamps(timestamp(whole_ns(inputs, first)), timestamp(whole_ns(inputs, last)))
    };
    let ratio =
        RateRatio::of_intervals(between("t3_first", "t3_last"), between("t4_first", "t4_last")).unwrap();
    assert_close(ratio.offset_ppm(), expected["ppm"].as_f64().unwrap(), 1e-9, "ppm");
    let theirs = expected["neighborRateRatio"].as_f64().unwrap();
    assert_close(1.0 + ratio.offset_ppm() * 1e-6, theirs, 1e-15, "ratio");
    expected.as_object().unwrap().len()
}

/// Points of C − G over G, times against the first one.
fn frequency_points(inputs: &Value) -> Vec<Point> {
    if let Some(rows) = inputs.as_array() {
        let origin = |row: &Value| timestamp(whole_ns(row, "preciseOrigin_ns"));
        let first = origin(&rows[0]);
        let point = |row: &Value| Point {
            time_ns: origin(row).since(first).unwrap().0,
            value_scaled_ns: ScaledNanos::between(origin(row), capture(row, "capture_ns")).0,
        };
        return rows.iter().map(point).collect();
    }
    let times = numbers(&inputs["t_s"]).into_iter().map(|seconds| (seconds * 1e9) as i64);
    let values = inputs["offset_ns"].as_array().unwrap().iter().map(scaled);
    times.zip(values).map(|(time_ns, value_scaled_ns)| Point { time_ns, value_scaled_ns }).collect()
}

fn frequency(inputs: &Value, expected: &Value) -> usize {
    let points = frequency_points(inputs);
    let (robust, plain) = (theil_sen(&points).unwrap(), least_squares(&points).unwrap());
    for (name, value) in expected.as_object().unwrap() {
        let theirs = value.as_f64().unwrap();
        match name.as_str() {
            "n" => assert_eq!(robust.points_used as u64, value.as_u64().unwrap()),
            "theil_sen_ppm" => assert_close(robust.ppm, theirs, 1e-9, name),
            "ols_ppm" => assert_close(plain.ppm, theirs, 1e-9, name),
            "residual_peak_to_peak_ns" => assert_close(robust.residual_peak_to_peak_ns, theirs, 1e-9, name),
            other => panic!("{other} is not compared"),
        }
    }
    expected.as_object().unwrap().len()
}

fn time_step(inputs: &Value, expected: &Value) -> usize {
    let stamp = |side: &str| Timestamp {
        seconds: inputs[side]["seconds"].as_u64().unwrap(),
        nanoseconds: u32::try_from(inputs[side]["nanoseconds"].as_u64().unwrap()).unwrap(),
    };
    let (before, after) = (stamp("before"), stamp("after"));
    assert_eq!(after.since(before).unwrap().0, expected["delta_ns"].as_i64().unwrap());
    let step = timing::origin_step(before, after, Nanos::from_seconds(1));
    assert_eq!(step.0, scaled(&expected["step_vs_1s_ns"]));
    expected.as_object().unwrap().len()
}

fn correction_field(inputs: &Value, expected: &Value) -> usize {
    let octets: [u8; 8] = from_hex(inputs["hex"].as_str().unwrap()).try_into().unwrap();
    let field = TimeInterval(i64::from_be_bytes(octets));
    assert_eq!(field.0, expected["raw"].as_i64().unwrap());
    assert_close(ScaledNanos::from(field).as_ns_f64(), expected["ns"].as_f64().unwrap(), 1e-9, "ns");
    let is_saturated = expected["meaning"].as_str().is_some_and(|meaning| meaning.starts_with("saturated"));
    assert_eq!(is_saturated, expected["meaning"].is_string());
    let sum = ScaledNanos::total(&[field]);
    assert_eq!(sum, (!is_saturated).then(|| ScaledNanos(i128::from(field.0))));
    expected.as_object().unwrap().len()
}

fn announce_timeout(inputs: &Value, expected: &Value) -> usize {
    let interval = LogInterval(i8::try_from(inputs["logAnnounceInterval"].as_i64().unwrap()).unwrap());
    let factor = u8::try_from(inputs["announceReceiptTimeout"].as_u64().unwrap()).unwrap();
    let ours = BTreeMap::from([
        ("announceInterval_s", interval.nanos()),
        ("timeout_s", timing::announce_receipt_timeout(interval, factor)),
        ("foreignMasterTimeWindow_s", timing::foreign_master_time_window(interval)),
    ]);
    for (name, value) in expected.as_object().unwrap() {
        let theirs = ScaledNanos(scaled(value) * 1_000_000_000).nanos();
        assert_eq!(ours[name.as_str()], theirs, "{name}");
    }
    expected.as_object().unwrap().len()
}

fn jitter(inputs: &Value, expected: &Value) -> usize {
    const RATE_HZ: u32 = 48_000;
    let mut filter = InterarrivalJitter::default();
    let in_timestamp_units =
        |filter: &InterarrivalJitter| filter.sixteenths() as f64 / 16.0 / 65536.0 * f64::from(RATE_HZ) / 1e9;
    let arrivals = inputs["arrival_us"].as_array().unwrap().iter();
    let stamps = inputs["rtpTimestamp"].as_array().unwrap().iter();
    let theirs = numbers(&expected["J_timestamp_units"]);
    assert_eq!(theirs.len(), arrivals.len());
    for ((arrival, stamp), theirs) in arrivals.zip(stamps).zip(theirs) {
        let arrived = ScaledNanos::from(Nanos(arrival.as_i64().unwrap() * 1000));
        let sent = timing::media_time(stamp.as_i64().unwrap(), RATE_HZ).unwrap();
        filter.push(arrived.minus(sent).0);
        // Nine decimals are printed.
        let ours = in_timestamp_units(&filter);
        assert!((ours - theirs).abs() <= 1e-9, "{ours} is not {theirs}");
    }
    let final_us = filter.sixteenths() as f64 / 16.0 / 65536.0 / 1000.0;
    assert_close(final_us, expected["J_final_us"].as_f64().unwrap(), 1e-9, "J_final_us");
    expected.as_object().unwrap().len()
}

fn delay_variation(inputs: &Value, expected: &Value) -> usize {
    let microseconds = |value: &Value| ScaledNanos::from(Nanos(value.as_i64().unwrap() * 1000));
    let list = |value: &Value| value.as_array().unwrap().iter().map(microseconds).collect::<Vec<_>>();
    let delays = list(&inputs["oneWayDelay_us"]);
    assert_eq!(timing::inter_packet_delay_variation(&delays), list(&expected["ipdv_us"]));
    let variation = timing::delay_variation(&delays);
    assert_eq!(variation, list(&expected["pdv_us"]));
    assert_eq!(variation.into_iter().max().unwrap(), microseconds(&expected["pdv_max_us"]));
    expected.as_object().unwrap().len()
}

fn media_timestamp(inputs: &Value, expected: &Value) -> usize {
    let number = |name: &str| inputs[name].as_u64().unwrap();
    let small = |name: &str| u32::try_from(number(name)).unwrap();
    let time = Timestamp { seconds: number("ptp_seconds"), nanoseconds: small("ptp_nanoseconds") };
    let ours = timing::rtp_timestamp(time, small("rate_hz"), small("mediaclk_offset"));
    assert_eq!(u64::from(ours), expected["rtpTimestamp"].as_u64().unwrap());
    expected.as_object().unwrap().len()
}

fn media_rate(inputs: &Value, expected: &Value) -> usize {
    const LATE_NS: [i64; 5] = [0, 200, 1000, 50, 20_000];
    let formula = "round(k*1e9/(1+3e-6)) + [0,200,1000,50,20000][k mod 5]";
    assert_eq!(inputs["arrival_ns_formula"], formula);
    let number = |name: &str| inputs[name].as_i64().unwrap();
    let mut unwrapper = RtpUnwrapper::default();
    let mut wraps = Vec::new();
    let points: Vec<Point> = (0..number("n"))
        .map(|k| {
            let count = number("first_rtp_ts") + k * number("step");
            let stamp = u32::try_from(count.rem_euclid(1 << 32)).unwrap();
            if k > 0 && i64::from(stamp) < number("step") {
                wraps.push(k);
            }
            let ticks = unwrapper.unwrap(stamp);
            assert_eq!(ticks, count);
            let on_time = k * 1_000_000_000 - (k as f64 * 1e9 * (3e-6 / (1.0 + 3e-6))).round() as i64;
            let arrival = on_time + LATE_NS[usize::try_from(k).unwrap() % 5];
            let media = timing::media_time(ticks, 48_000).unwrap();
            let value = media.minus(ScaledNanos::from(Nanos(arrival)));
            Point { time_ns: arrival, value_scaled_ns: value.0 }
        })
        .collect();
    assert_eq!(wraps.len(), expected["rtp_ts_wraps"].as_array().unwrap().len());
    // Late packets lower this value, so of each five the one with the least delay is the highest; the slope must
    // go first, as 3 µs a second outweigh a delay of 0.2 µs.
    let level = without_slope(&points, theil_sen(&points).unwrap().ppm);
    let highest = level.chunks(5).map(|five| five.iter().max_by_key(|point| point.value_scaled_ns).unwrap());
    let least_delay: Vec<i64> = highest.map(|point| point.time_ns).collect();
    let kept: Vec<Point> = points.iter().copied().step_by(5).collect();
    assert!(kept.iter().map(|point| point.time_ns).eq(least_delay));
    let (theirs, tolerance) =
        (expected["ppm"].as_f64().unwrap(), expected["tolerance_ppm"].as_f64().unwrap());
    for slope in [theil_sen(&kept).unwrap(), least_squares(&kept).unwrap()] {
        assert!((slope.ppm - theirs).abs() <= tolerance, "{slope:?}");
    }
    expected.as_object().unwrap().len()
}

#[test]
fn all_forty_vectors_give_their_values() {
    let document: Value = serde_json::from_str(FILE).unwrap();
    let checks: BTreeMap<&str, Check> = BTreeMap::from([
        ("e2e", two_way as Check),
        ("peer-delay", peer_delay),
        ("neighborRateRatio", neighbor_rate_ratio),
        ("frequency-offset", frequency),
        ("time-step", time_step),
        ("correctionField", correction_field),
        ("announce-timeout", announce_timeout),
        ("rfc3550-jitter", jitter),
        ("pdv", delay_variation),
        ("media-clock-timestamp", media_timestamp),
        ("media-clock-rate", media_rate),
    ]);
    let vectors = document["vectors"].as_array().unwrap();
    let mut kinds = BTreeMap::new();
    let mut compared = 0;
    for vector in vectors {
        println!("{}", vector["id"]);
        let kind = vector["kind"].as_str().unwrap();
        let inputs = vector.get("inputs").or_else(|| vector.get("inputs_ns")).unwrap();
        compared += checks[kind](inputs, &vector["expected"]);
        *kinds.entry(kind).or_insert(0) += 1;
    }
    assert_eq!(vectors.len(), 40);
    assert!(checks.keys().eq(kinds.keys()), "a kind is without vector: {kinds:?}");
    // Each expected value of the file, `tolerance_ppm` among them.
    assert_eq!(compared, 99);
}
