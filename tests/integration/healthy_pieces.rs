//! A healthy network looks healthy however little of it was captured: pieces of captures, and captures with frames lost,
//! give no finding above info and call no device anything worse than unproven.

use std::io::Cursor;

use downbeat::analysis::Analysis;
use downbeat::analysis::Reading;
use downbeat::analysis::Settings;
use downbeat::capture::Input;
use downbeat::capture::Joined;
use downbeat::capture::Record;
use downbeat::devices::State;
use downbeat::findings;
use downbeat::findings::Severity;

use crate::support::craft::random::Random;
use crate::support::judged::in_project;

const DEMO: &str = "playhouse-healthy.pcapng";

/// Captures of a real daemon in which nothing is wrong.
const LAB: [&str; 5] = [
    "lab/healthy.pcap",
    "lab/hybrid.pcap",
    "lab/ipv6.pcap",
    "lab/passive-standby.pcap",
    "lab/peer-delay-ethernet.pcap",
];

fn octets(name: &str) -> Vec<u8> {
    std::fs::read(in_project("captures").join(name)).unwrap()
}

/// The analysis of the records that `keep` keeps, by their place and their number in all.
fn some_of(file: &[u8], mut keep: impl FnMut(usize, &Record<'_>) -> bool) -> Analysis {
    let mut joined = Joined::new(vec![Input::once("capture", Cursor::new(file.to_vec()))]);
    let mut reading = Reading::new(Settings::default());
    let mut place = 0;
    while let Some((file, record)) = joined.next_record() {
        if keep(place, &record) {
            reading.push(file, &record);
        }
        place += 1;
    }
    reading.finish(joined.finish())
}

fn frames(file: &[u8]) -> i64 {
    let mut frames = 0;
    some_of(file, |_, _| {
        frames += 1;
        false
    });
    frames
}

/// The findings above a severity.
fn above(analysis: &Analysis, severity: Severity) -> Vec<(&'static str, String)> {
    let all = findings::judge(analysis).findings.into_iter();
    all.filter(|finding| finding.severity > severity).map(|finding| (finding.id, finding.title)).collect()
}

#[track_caller]
fn assert_healthy(analysis: &Analysis, what: &str) {
    let grave = above(analysis, Severity::Info);
    assert!(grave.is_empty(), "{what}: {grave:?}");
    for device in &analysis.devices {
        let is_sound = matches!(
            device.state,
            State::Leading | State::Relaying | State::Following | State::StandingBy | State::Unproven
        );
        assert!(is_sound, "{what}: {} is {}: {:?}", device.key, device.state.name(), device.reasons);
    }
}

/// The piece before each of `cuts` random places, that after it, and that between it and the next.
fn pieces_are_healthy(name: &str, seed: u64, cuts: usize) {
    let file = octets(name);
    let frames = frames(&file);
    let mut random = Random::seeded(seed);
    for _ in 0..cuts {
        let (one, other) = (random.between(1, frames - 1), random.between(1, frames - 1));
        let [one, other] = [one, other].map(|place| usize::try_from(place).unwrap());
        let (low, high) = (one.min(other), one.max(other));
        assert_healthy(&some_of(&file, |place, _| place < one), &format!("{name} before {one}"));
        assert_healthy(&some_of(&file, |place, _| place >= one), &format!("{name} from {one}"));
        let between = some_of(&file, |place, _| (low..high).contains(&place));
        assert_healthy(&between, &format!("{name} from {low} before {high}"));
    }
}

fn thinned(file: &[u8], seed: u64, one_in: u64) -> Analysis {
    let mut random = Random::seeded(seed);
    some_of(file, |_, _| !random.one_in(one_in))
}

/// The check could not fail if it saw nothing, or nothing that is wrong.
#[test]
fn the_whole_is_healthy_and_what_is_not_is_noticed() {
    for name in [DEMO].into_iter().chain(LAB) {
        let whole = some_of(&octets(name), |_, _| true);
        assert!(whole.devices.iter().any(|device| device.state == State::Following), "{name}");
        assert_healthy(&whole, name);
    }
    let unwell = some_of(&octets("playhouse-wrong-domain.pcapng"), |_, _| true);
    assert!(std::panic::catch_unwind(|| assert_healthy(&unwell, "wrong domain")).is_err());
}

#[test]
fn pieces_of_the_healthy_demo_are_healthy() {
    pieces_are_healthy(DEMO, 1, 20);
}

#[test]
fn pieces_of_the_healthy_laboratory_are_healthy() {
    for name in LAB {
        pieces_are_healthy(name, 2, 20);
    }
}

#[test]
fn one_per_cent_of_lost_frames_makes_nothing_unwell() {
    for name in [DEMO].into_iter().chain(LAB) {
        let file = octets(name);
        for seed in 0..5 {
            let thinned = thinned(&file, seed, 100);
            let lost = u64::try_from(frames(&file)).unwrap() - thinned.frames;
            assert!(lost > 0 || name != DEMO, "{name}: {lost} frames were lost");
            assert_healthy(&thinned, &format!("{name} without 1 % of its frames, seed {seed}"));
        }
    }
}

/// As a capture that was still being written when it was copied.
#[test]
fn a_file_that_ends_anywhere_is_healthy_as_far_as_it_goes() {
    let file = octets(DEMO);
    let mut random = Random::seeded(3);
    for _ in 0..20 {
        let length = usize::try_from(random.between(400, i64::try_from(file.len()).unwrap() - 1)).unwrap();
        assert_healthy(&some_of(&file[..length], |_, _| true), &format!("the first {length} octets"));
    }
}

/// Where half of all frames, or more, are missing, minor things may look odd; nothing is called broken.
#[test]
fn captures_that_lost_most_of_their_frames_accuse_nobody() {
    for name in [DEMO].into_iter().chain(LAB) {
        let file = octets(name);
        for (seed, per_cent) in (1..=4).flat_map(|seed| [(seed, 30), (seed, 50), (seed, 70)]) {
            let mut random = Random::seeded(seed);
            let analysis = some_of(&file, |_, _| random.between(0, 99) >= per_cent);
            let grave = above(&analysis, Severity::Minor);
            assert!(grave.is_empty(), "{name} without {per_cent} %, {seed}: {grave:?}");
        }
    }
}
