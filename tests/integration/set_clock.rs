//! A capture whose clock is set back, or whose interfaces have clocks that differ: loads, lengths and events are those of the
//! network all the same, and the capture's clock is told once as what it is.

use serde_json::Value;

use crate::streams::WITH_PTP;
use crate::streams::in_pieces;
use crate::streams::number;
use crate::streams::streams;
use crate::support::craft::capture_file;
use crate::support::craft::capture_file::CapturedFrame;
use crate::support::craft::capture_file::Interface;
use crate::support::judged;
use crate::support::media::BEGINNING_NS;
use crate::support::media::Scene;
use crate::support::media::sender;
use crate::support::script::said;
use crate::support::stage::actor;

const MS: i64 = 1_000_000;
const SECOND: i64 = 1000 * MS;

/// Three streams of a packet a millisecond, and a leader where asked for, over 40 s, in order.
fn network(with_ptp: bool) -> Vec<CapturedFrame> {
    let mut scene = Scene::default();
    if with_ptp {
        scene.clock(&actor(1).class(6), &actor(2), 40);
    }
    for (late, last) in [(20_000, 7), (300_000, 8), (700_000, 9)] {
        let mut one = Scene::default();
        one.audio(&sender(last), 40_000, (48, 48_000), 288, 0);
        for mut frame in one.frames {
            frame.stamp_ns += late;
            scene.frames.push(frame);
        }
    }
    scene.frames.sort_by_key(|frame| frame.stamp_ns);
    scene.frames
}

/// The clock is set back by each time at each: ms of the network's own time.
fn set_back(frames: &[CapturedFrame], settings: &[(i64, i64)]) -> Vec<CapturedFrame> {
    let moved = |frame: &CapturedFrame| {
        let at = frame.stamp_ns - BEGINNING_NS;
        let back: i64 = settings.iter().filter(|(when, _)| at >= when * MS).map(|(_, by)| by * MS).sum();
        CapturedFrame { stamp_ns: frame.stamp_ns - back, ..frame.clone() }
    };
    frames.iter().map(moved).collect()
}

/// A file whose clock is set back by 5 s after 20 of 40 s.
pub(crate) fn file_of_a_set_clock() -> Vec<u8> {
    capture_file::pcap(WITH_PTP, &set_back(&network(true), &[(20_000, 5000)]))
}

fn report(frames: &[CapturedFrame]) -> Value {
    judged::files(&[("made.pcap", capture_file::pcap(WITH_PTP, frames))]).value()
}

fn of_kind<'a>(report: &'a Value, kind: &str) -> Vec<&'a Value> {
    report["events"].as_array().unwrap().iter().filter(|event| event["kind"] == kind).collect()
}

fn assert_near(value: &Value, wanted: f64, within: f64, what: &str) {
    let value = value.as_f64().unwrap();
    assert!((value - wanted).abs() <= within, "{what}: {value} is not {wanted}");
}

/// Kinds of events that a clock alone must not make.
const NOT_OF_A_CLOCK: [&str; 8] = [
    "media-step",
    "capture-hole",
    "rate-changed",
    "stream-paused",
    "stream-started",
    "stream-stopped",
    "packets-lost",
    "sync-gap",
];

fn assert_no_events_of_streams(report: &Value, what: &str) {
    for kind in NOT_OF_A_CLOCK {
        assert_eq!(of_kind(report, kind), Vec::<&Value>::new(), "{what}");
    }
}

#[test]
fn a_clock_that_is_set_back_is_told_once_and_counts_no_load_twice() {
    for with_ptp in [true, false] {
        let frames = network(with_ptp);
        let whole = report(&frames);
        assert_eq!(said(&whole, "capture-clock-step"), Vec::<String>::new());
        assert_eq!(of_kind(&whole, "time-step"), Vec::<&Value>::new());
        let mean = whole["link"]["mean_bps"].as_f64().unwrap();
        let peak = whole["link"]["peak_1s_bps"].as_f64().unwrap();
        for settings in [
            &[(20_000, 50)][..],
            &[(20_000, 300)],
            &[(20_000, 900)],
            &[(20_000, 5000)],
            &[(20_000, 60_000)],
            &[(13_000, 60_000), (26_000, 60_000)],
            &[(10_000, 2000), (30_000, 5000)],
        ] {
            let what = format!("{with_ptp} {settings:?}");
            let report = report(&set_back(&frames, settings));
            assert_near(&report["link"]["mean_bps"], mean, mean / 1000.0, &what);
            assert_near(&report["link"]["peak_1s_bps"], peak, peak / 200.0, &what);
            for stream in streams(&report) {
                assert_near(&stream["mean_bps"], 2_928_000.0, 3000.0, &what);
                assert_near(&stream["peak_1s_bps"], 2_928_000.0, 6000.0, &what);
                assert_eq!(number(&stream["rtp"], "restarts") + number(&stream["rtp"], "lost"), 0, "{what}");
            }
            for length in [&report["span"]["duration_s"], &report["captures"][0]["duration_s"]] {
                assert_near(length, 39.999, 0.01, &what);
            }
            let told = of_kind(&report, "time-step");
            assert_eq!(told.len(), settings.len(), "{what} {told:?}");
            for event in told {
                assert!(
                    event["text"].as_str().unwrap().contains("the capture's clock is set back by"),
                    "{what}"
                );
                assert_eq!(event["frames"].as_array().unwrap().len(), 1, "{what}");
            }
            assert_no_events_of_streams(&report, &what);
            assert_eq!(said(&report, "capture-clock-step"), ["info"], "{what}");
            assert_eq!(said(&report, "master-time-jump"), Vec::<String>::new(), "{what}");
        }
    }
}

#[test]
fn a_chart_shows_what_the_clock_ran_through_twice_once() {
    let frames = network(false);
    for back_ms in [900, 5000, 60_000] {
        let file = capture_file::pcap(WITH_PTP, &set_back(&frames, &[(20_000, back_ms)]));
        let series = downbeat::report::series(&judged::analysis(&[("made.pcap", file)]));
        let most = series.load.link_bps.iter().copied().fold(0.0, f64::max);
        assert!((8.7e6..8.9e6).contains(&most), "{back_ms} {most}");
        assert_eq!(series.load.sources.len(), 3);
        for source in &series.load.sources {
            let most = source.bps.iter().copied().fold(0.0, f64::max);
            assert!((2.9e6..2.97e6).contains(&most), "{back_ms} {most}");
        }
        assert!(series.from_s <= series.load.first_s + 1.0, "{back_ms} {}", series.from_s);
    }
}

/// The near misses: a clock that is set ahead, frames a little out of order, and one stray stamp.
#[test]
fn what_is_no_setting_back_is_not_told_as_one() {
    let frames = network(true);
    for settings in [&[(20_000, -5000)][..], &[(20_000, 20)]] {
        let report = report(&set_back(&frames, settings));
        let told = of_kind(&report, "time-step");
        assert!(told.iter().all(|event| !event["text"].as_str().unwrap().contains("set back")), "{told:?}");
    }
    for by in [-5 * SECOND, 5 * SECOND] {
        let mut stray = frames.clone();
        stray[50_000].stamp_ns += by;
        let report = report(&stray);
        assert_eq!(of_kind(&report, "time-step"), Vec::<&Value>::new(), "{by}");
        assert_eq!(said(&report, "capture-clock-step"), Vec::<String>::new(), "{by}");
    }
}

#[test]
fn how_a_capture_of_a_set_clock_is_cut_makes_no_difference() {
    let file =
        capture_file::pcap(WITH_PTP, &set_back(&network(true)[..60_000], &[(5000, 900), (10_000, 5000)]));
    let whole = in_pieces(&file, &[]);
    let fifty: Vec<usize> = (1..50).map(|piece| piece * 1200).collect();
    for cuts in [&[1][..], &[15_100], &[15_130, 30_200], &[7, 15_122, 15_123, 30_260, 59_000], &fifty] {
        assert_eq!(in_pieces(&file, cuts), whole, "{cuts:?}");
    }
}

/// A leader in a file of 20 s, and a stream in one of the same time that begins so much later; in the first one a stream as well,
/// where `goes_on`, and the leader falls silent after 10 s then.
fn two_files(late: i64, goes_on: bool) -> Value {
    let (mut one, mut two) = (Scene::default(), Scene::default());
    one.clock(&actor(1).class(6), &actor(20), if goes_on { 10 } else { 20 });
    if goes_on {
        one.audio(&sender(7), 20_000, (48, 48_000), 288, 0);
    }
    two.audio(&sender(8), 20_000, (48, 48_000), 288, 0);
    two.frames.iter_mut().for_each(|frame| frame.stamp_ns += late * SECOND);
    judged::files(&[("one.pcap", one.file(WITH_PTP)), ("two.pcap", two.file(WITH_PTP))]).value()
}

#[test]
fn a_leader_whose_file_ends_before_another_of_the_same_time_is_not_lost() {
    let report = two_files(8, false);
    assert!(said(&report, "no-grandmaster").is_empty(), "{report}");
    assert_eq!(report["domains"][0]["tenures"][0]["ended_by"], "capture-end");
    assert_eq!(said(&two_files(8, true), "no-grandmaster"), ["critical"]);
}

/// Frames of two interfaces by turns, the second one's clock off by so much; `both` sees every frame on both.
fn two_interfaces(off_ms: i64, both: bool) -> Value {
    let mut frames = Vec::new();
    for frame in network(true) {
        let is_second = frame.octets[11] == 8;
        let second = CapturedFrame { stamp_ns: frame.stamp_ns + off_ms * MS, interface: 1, ..frame.clone() };
        if both || !is_second {
            frames.push(frame);
        }
        if both || is_second {
            frames.push(second);
        }
    }
    let interfaces = ["one", "two"].map(|name| Interface { name, filter: "", snap_octets: WITH_PTP });
    judged::files(&[("made.pcapng", capture_file::pcapng("", &interfaces, &frames))]).value()
}

#[test]
fn clocks_of_interfaces_that_differ_are_told_once_and_make_no_events() {
    for (off_ms, both) in [(5000, false), (-5000, false), (40, false), (3000, true), (-3000, true)] {
        let what = format!("{off_ms} {both}");
        let report = two_interfaces(off_ms, both);
        assert_no_events_of_streams(&report, &what);
        assert_eq!(of_kind(&report, "time-step"), Vec::<&Value>::new(), "{what}");
        assert_eq!(said(&report, "capture-clock-step"), ["info"], "{what}");
        let findings = report["findings"].as_array().unwrap();
        let finding = findings.iter().find(|finding| finding["id"] == "capture-clock-step").unwrap();
        let apart = format!("about {}.{:03} s apart", off_ms.abs() / 1000, off_ms.abs() % 1000);
        assert!(finding["title"].as_str().unwrap().contains(&apart), "{what} {finding}");
        for stream in streams(&report) {
            assert_eq!(number(&stream["rtp"], "restarts"), 0, "{what}");
        }
        let link = &report["link"];
        let [second, tenth, mean] =
            ["peak_1s_bps", "peak_100ms_bps", "mean_bps"].map(|key| number(link, key));
        assert!(mean <= second && second <= tenth, "{what} {link}");
    }
    let report = two_interfaces(20, false);
    assert_eq!(said(&report, "capture-clock-step"), Vec::<String>::new());
}
