//! `downbeat fit`: captures whose load is chosen, against plans whose sums are worked out by hand.

use std::fs;
use std::path::PathBuf;

use assert_cmd::Command;
use downbeat::report;
use serde_json::Value;
use tempfile::TempDir;

use crate::support::judged::in_project;
use crate::support::media::Scene;
use crate::support::media::sender;
use crate::support::stage::actor;

const SCHEMA: &str = "docs/fit.schema.json";
/// Octets of RTP payload whose frames take 1518 octets on the wire.
const PAYLOAD: usize = 1440;

/// A second of one stream of RTP.
fn stream(packets_a_second: u32) -> Scene {
    let mut scene = Scene::default();
    scene.audio(&sender(1), packets_a_second + 1, (1, packets_a_second), PAYLOAD, 0);
    scene
}

struct Written {
    _folder: TempDir,
    path: PathBuf,
}

fn written(scene: Scene) -> Written {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("scene.pcap");
    fs::write(&path, scene.file(128)).unwrap();
    Written { _folder: folder, path }
}

fn fit(capture: &Written, arguments: &[&str]) -> (i32, Value) {
    let mut command = Command::cargo_bin("downbeat").unwrap();
    let output =
        command.args(["fit", "--format", "json"]).arg(&capture.path).args(arguments).output().unwrap();
    let document = serde_json::from_slice(&output.stdout)
        .unwrap_or_else(|error| panic!("{error}: {}", String::from_utf8_lossy(&output.stderr)));
    (output.status.code().unwrap(), document)
}

fn near(value: &Value, wanted: f64) {
    let value = value.as_f64().unwrap();
    assert!((value - wanted).abs() < 1e-3, "{value} is not {wanted}");
}

/// A hardware encoder's stream near 670 Mb/s on 1 Gb/s of which a quarter stays free; cameras of 8 Mb/s (common practice,
/// no source). 55 171 packets a second of 1518 octets are 670.0 Mb/s.
#[test]
fn a_second_heavy_stream_does_not_fit_and_ten_light_ones_do() {
    let idle = written(stream(100));
    let busy = written(stream(55_171));
    let (status, document) = fit(&idle, &["--add", "encoder=670M", "--link-speed", "1G"]);
    assert_eq!((status, &document["answer"]), (0, &Value::from("fits")));
    near(&document["load_then_mean"], 0.6712);
    near(&document["free_then"], 0.3288);
    assert_eq!(document["keep_free"], 0.25);
    let (status, document) = fit(&idle, &["--add", "encoder=670Mx2", "--link-speed", "1G"]);
    assert_eq!((status, &document["answer"]), (1, &Value::from("does-not-fit")));
    let (status, document) = fit(&busy, &["--add", "encoder=670M", "--link-speed", "1G"]);
    assert_eq!((status, &document["answer"]), (1, &Value::from("does-not-fit")));
    near(&document["load_now_mean"], 0.670);
    near(&document["load_then_mean"], 1.340);
    near(&document["free_then"], -0.340);
    let (status, document) = fit(&busy, &["--add", "camera=8Mx10", "--link-speed", "1G"]);
    assert_eq!((status, &document["answer"]), (0, &Value::from("fits")));
    near(&document["load_then_peak_1s"], 0.750);
    let (status, _) = fit(&busy, &["--add", "camera=8Mx10", "--link-speed", "1G", "--keep-free", "26%"]);
    assert_eq!(status, 1);
    let (status, _) = fit(&busy, &["--add", "encoder=670M", "--link-speed", "10G"]);
    assert_eq!(status, 0);
}

/// 3 s, of which one carries 8 packets a millisecond and two carry one.
#[test]
fn where_only_the_fullest_second_is_in_the_way_the_answer_says_so() {
    let mut scene = Scene::default();
    scene.audio(&sender(1), 3001, (1, 1000), PAYLOAD, 0);
    let mut burst = Scene::default();
    burst.audio(&sender(2), 7000, (1, 7000), PAYLOAD, 0);
    for mut frame in burst.frames {
        frame.stamp_ns += 1_000_000_000;
        scene.frames.push(frame);
    }
    let capture = written(scene);
    // 12.144 Mb/s and in one second 97.152 Mb/s; 40.48 Mb/s on average.
    let (status, document) =
        fit(&capture, &["--add", "more=50M", "--link-speed", "100M", "--keep-free", "0"]);
    assert_eq!((status, &document["answer"]), (1, &Value::from("only-if-peaks-do-not-meet")));
    near(&document["load_now_mean"], 0.4048);
    near(&document["load_now_peak_1s"], 0.97152);
    near(&document["load_then_peak_1s"], 1.47152);
    let (_, document) = fit(&capture, &["--add", "more=60M", "--link-speed", "100M", "--keep-free", "0"]);
    assert_eq!(document["answer"], "does-not-fit");
    let (status, document) = fit(&capture, &["--add", "more=2M", "--link-speed", "100M", "--keep-free", "0"]);
    assert_eq!((status, &document["answer"]), (0, &Value::from("fits")));
    let lines: Vec<&str> =
        document["arithmetic"].as_array().unwrap().iter().map(|line| line.as_str().unwrap()).collect();
    assert!(lines.contains(&"planned: 1 x 2 Mb/s = 2 Mb/s (more)"), "{lines:?}");
    assert!(
        lines[lines.len() - 2].contains("97.152 Mb/s + 2 Mb/s = 99.152 Mb/s (99.2 %), at most 100 Mb/s"),
        "{lines:?}"
    );
}

/// One follower asks once a second: with the answer 86 + 24 and 96 + 24 octets on the wire, 1840 b/s.
#[test]
fn planned_streams_bring_followers_whose_messages_count() {
    let mut scene = Scene::default();
    scene.clock(&actor(1).class(6), &actor(2), 40);
    let capture = written(scene);
    let (_, one) = fit(&capture, &["--add", "camera=1Mx1", "--link-speed", "100M"]);
    let (_, hundred) = fit(&capture, &["--add", "camera=10kx100", "--link-speed", "100M"]);
    let then = |document: &Value| document["load_then_mean"].as_f64().unwrap() * 1e8;
    let each = (then(&hundred) - then(&one)) / 99.0;
    // The 40 requests lie within 39.9 s.
    assert!((1840.0..1860.0).contains(&each), "{each}");
    let told = one["arithmetic"].to_string();
    assert!(told.contains("PTP: 1 follower asks 1.0 times a second together; with 1 more 2.0"), "{told}");
    let caveats = |document: &Value| document["caveats"].to_string().contains("not counted");
    assert!(!caveats(&one));
    assert!(caveats(&fit(&written(stream(100)), &["--add", "camera=1M"]).1));
}

fn told(capture: &Written, arguments: &[&str]) -> (i32, String) {
    let mut command = Command::cargo_bin("downbeat").unwrap();
    let output = command.arg("fit").arg(&capture.path).args(arguments).output().unwrap();
    // Without the line breaks of a terminal's width.
    let words = String::from_utf8(output.stdout).unwrap();
    (output.status.code().unwrap(), words.split_whitespace().collect::<Vec<_>>().join(" "))
}

/// 1000 packets of 1518 octets a second are 12 144 000 b/s, of which nothing is rounded.
#[test]
fn exactly_what_may_be_used_fits_and_reads_so_and_a_bit_more_does_neither() {
    let capture = written(stream(1000));
    let limit = ["--link-speed", "100M", "--keep-free", "25%"];
    let with = |rate: &str| {
        let add = format!("more={rate}");
        let arguments = [&["--add", &add][..], &limit].concat();
        (fit(&capture, &arguments), told(&capture, &arguments).1)
    };
    let ((status, document), text) = with("62856000");
    assert_eq!((status, &document["answer"]), (0, &Value::from("fits")));
    assert_eq!(document["peak_1s_then_bps"], 75_000_000);
    assert_eq!(document["usable_bps"], 75_000_000);
    assert_eq!(document["load_then_peak_1s"], 0.75);
    assert_eq!(document["free_then"], 0.25);
    assert!(text.contains("75.0 % in the fullest second"), "{text}");
    assert!(text.contains("exactly 75 Mb/s, which fits"), "{text}");
    let ((status, document), text) = with("62856001");
    assert_eq!((status, &document["answer"]), (1, &Value::from("does-not-fit")));
    assert!(text.contains("75.1 % in the fullest second"), "{text}");
    assert!(text.contains("above 75 Mb/s by 1 b/s"), "{text}");
}

/// 1 less 1.34 is no fraction of two.
#[test]
fn what_is_free_shows_no_slip_of_floating_point() {
    let capture = written(stream(1000));
    let (_, document) = fit(&capture, &["--add", "more=121856000", "--link-speed", "100M"]);
    assert_eq!(document["mean_then_bps"], 134_000_000);
    assert_eq!(document["free_then"].to_string(), "-0.34");
}

#[test]
fn a_short_capture_gives_no_plain_yes() {
    let shortened = |milliseconds: i64| {
        let mut scene = stream(1000);
        let first = scene.frames[0].stamp_ns;
        scene.frames.retain(|frame| frame.stamp_ns - first <= milliseconds * 1_000_000);
        written(scene)
    };
    let add = ["--add", "camera=8M"];
    let (status, document) = fit(&shortened(10), &add);
    assert_eq!((status, &document["answer"]), (3, &Value::from("cannot-tell")));
    assert!(document["caveats"].to_string().contains("holds no whole second"));
    let (_, text) = told(&shortened(10), &add);
    assert!(text.starts_with("CANNOT TELL: 10 ms of capture do not say"), "{text}");
    assert!(text.contains("(chosen)"), "{text}");
    // More than the link has is too much whatever it carries.
    assert_eq!(fit(&shortened(10), &["--add", "camera=800M"]).1["answer"], "does-not-fit");
    assert_eq!(fit(&shortened(999), &add).0, 3);
    let (status, text) = told(&shortened(1000), &add);
    assert_eq!(status, 0);
    assert!(text.starts_with("YES SO FAR: it fits"), "{text}");
    let mut minute = stream(1000);
    // A frame every half second: a longer silence of all would be a time that nobody watched.
    for halves in 3..=120 {
        let mut later = minute.frames[0].clone();
        later.stamp_ns += halves * 500_000_000;
        minute.frames.push(later);
    }
    assert!(told(&written(minute), &add).1.starts_with("YES: it fits"));
}

/// 100 followers' messages, 184 kb/s, take the fullest millisecond beyond the link.
#[test]
fn the_fullest_millisecond_counts_the_messages_of_new_followers() {
    let mut scene = Scene::default();
    scene.clock(&actor(1).class(6), &actor(2), 40);
    let capture = written(scene);
    let (_, document) = fit(&capture, &["--add", "camera=10kx100", "--link-speed", "100M"]);
    let load = |key: &str| document[key].as_f64().unwrap() * 1e8;
    let added = load("load_then_mean") - load("load_now_mean");
    assert!(added > 1_184_000.0, "{added}");
    let burst = document["link"]["peak_1ms_bps"].as_f64().unwrap();
    assert!((load("load_then_peak_1ms") - burst - added).abs() < 2.0, "{document}");
}

#[test]
fn the_answer_fits_its_schema_and_says_where_it_stops() {
    let path = in_project(SCHEMA);
    if std::env::var_os("DOWNBEAT_WRITE_SCHEMA").is_some() {
        fs::write(&path, report::fit_schema()).unwrap();
    }
    let committed = fs::read_to_string(&path).unwrap_or_else(|error| panic!("{SCHEMA}: {error}"));
    assert_eq!(committed, report::fit_schema(), "write it anew: DOWNBEAT_WRITE_SCHEMA=1 cargo test schema");
    let validator = jsonschema::validator_for(&serde_json::from_str(&committed).unwrap()).unwrap();
    let (_, document) = fit(&written(stream(100)), &["--add", "a=1M", "--add", "b=2Mx3"]);
    assert!(validator.is_valid(&document), "{document}");
    assert_eq!(document["schema"], "downbeat.fit/1");
    assert_eq!(document["planned"][1]["count"], 3);
    assert_eq!(document["planned"][1]["rate_bps"], 2_000_000);
    let caveats = document["caveats"].to_string();
    for words in ["one capture shows one link", "1 Gb/s is assumed", "watched: there may be fuller seconds"] {
        assert!(caveats.contains(words), "{words}: {caveats}");
    }
}

#[test]
fn what_makes_no_sense_gives_no_answer() {
    let capture = written(stream(100));
    for arguments in [&["--add", "x"][..], &["--add", "x=0"], &["--add", "x=1M", "--keep-free", "2"], &[]] {
        let mut command = Command::cargo_bin("downbeat").unwrap();
        let output = command.arg("fit").arg(&capture.path).args(arguments).output().unwrap();
        assert_eq!(output.status.code(), Some(2), "{arguments:?}");
        assert!(output.stdout.is_empty());
    }
    // One frame: no time passes.
    let mut one = Scene::default();
    one.audio(&sender(1), 1, (48, 48_000), 288, 0);
    let output = Command::cargo_bin("downbeat")
        .unwrap()
        .arg("fit")
        .arg(written(one).path.as_path())
        .args(["--add", "x=1M"])
        .output();
    assert_eq!(output.unwrap().status.code(), Some(2));
}

/// 10 s of 12.144 Mb/s, with a hole of 50 s in the midst: nobody watched there.
#[test]
fn a_hole_of_the_capture_counts_for_no_mean() {
    let ten_seconds = |hole_ns: i64| {
        let mut scene = Scene::default();
        scene.audio(&sender(1), 10_001, (1, 1000), PAYLOAD, 0);
        let begin = scene.frames.first().unwrap().stamp_ns;
        let late = scene.frames.iter_mut().filter(|frame| frame.stamp_ns - begin > 5_000_000_000);
        late.for_each(|frame| frame.stamp_ns += hole_ns);
        written(scene)
    };
    let add = ["--add", "camera=10M", "--link-speed", "20M", "--keep-free", "0"];
    let (_, whole) = fit(&ten_seconds(0), &add);
    let (status, broken) = fit(&ten_seconds(50_000_000_000), &add);
    assert_eq!(
        (status, &broken["answer"], &whole["answer"]),
        (1, &whole["answer"], &Value::from("does-not-fit"))
    );
    near(&broken["load_now_mean"], 0.6072);
    near(&broken["duration_s"], 10.0);
    near(&broken["link"]["holes"][0]["length_s"], 50.001);
    assert!(broken["caveats"].to_string().contains("nothing at all was captured for 50.001 s"), "{broken}");
    assert!(!whole["caveats"].to_string().contains("nothing at all"), "{whole}");
}

#[test]
fn a_stream_that_was_captured_twice_is_said_to_count_twice() {
    let once = stream(100);
    let mut twice = stream(100);
    for mut frame in stream(100).frames {
        frame.stamp_ns += 2000;
        twice.frames.push(frame);
    }
    let caveats = |scene| fit(&written(scene), &["--add", "camera=1M"]).1["caveats"].to_string();
    assert!(caveats(twice).contains("1 stream was captured twice"));
    assert!(!caveats(once).contains("captured twice"));
}
