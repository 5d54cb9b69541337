//! What is missing of a stream, and by whose fault: against sums of what the captures' maker left out.

use proptest::prelude::*;
use serde_json::Value;

use crate::streams::WITH_PTP;
use crate::streams::in_pieces;
use crate::streams::number;
use crate::streams::only;
use crate::streams::streams;
use crate::streams::value;
use crate::support::craft::random::Random;
use crate::support::media::Scene;
use crate::support::media::Sender;
use crate::support::media::sender;
use crate::support::stage::actor;

const MS: i64 = 1_000_000;

/// Packets of a millisecond each, of which `passes` says when each comes, if at all.
fn audio(scene: &mut Scene, sender: &Sender, count: u32, mut passes: impl FnMut(u32) -> Option<i64>) {
    for index in 0..count {
        if let Some(at_ns) = passes(index) {
            let number = u16::try_from(index % 65_536).unwrap();
            scene.pass(at_ns, sender.frame(&sender.rtp(number, index.wrapping_mul(48), false, 288)));
        }
    }
}

fn on_time(index: u32) -> i64 {
    i64::from(index) * MS
}

/// Two streams and a leader over `seconds`; `gone` has the milliseconds of the first stream that do not come.
fn network(seconds: u32, gone: impl Fn(u32) -> bool) -> Scene {
    let mut scene = Scene::default();
    scene.clock(&actor(1).class(6), &actor(2), i64::from(seconds));
    audio(&mut scene, &sender(7), seconds * 1000, |index| (!gone(index)).then(|| on_time(index)));
    audio(&mut scene, &sender(8), seconds * 1000, |index| Some(on_time(index) + 300));
    scene
}

fn of(document: &Value, last: u8) -> &Value {
    let ip = format!("192.168.20.{last}");
    streams(document).iter().find(|stream| stream["source_ip"] == ip.as_str()).unwrap()
}

fn lost(stream: &Value) -> [u64; 5] {
    ["lost", "not_captured", "restarts", "unclear_jumps", "loss_bursts"]
        .map(|key| number(&stream["rtp"], key))
}

fn told(document: &Value, kind: &str) -> Vec<String> {
    let events = document["events"].as_array().unwrap().iter().filter(|event| event["kind"] == kind);
    events.map(|event| event["text"].as_str().unwrap().to_owned()).collect()
}

fn is_found(document: &Value, id: &str) -> bool {
    document["findings"].as_array().unwrap().iter().any(|finding| finding["id"] == id)
}

#[test]
fn packets_that_come_late_are_no_burst_of_losses_and_missing_ones_are() {
    let mut scene = Scene::default();
    // Each 50th packet comes 5 places late.
    audio(&mut scene, &sender(1), 4000, |index| {
        Some(on_time(index) + if index % 50 == 7 { 5 * MS + 100 } else { 0 })
    });
    // Of each 50 are five missing.
    audio(&mut scene, &sender(2), 4000, |index| (!(7..12).contains(&(index % 50))).then(|| on_time(index)));
    let document = value(scene, 60);
    assert_eq!(lost(of(&document, 1)), [0, 0, 0, 0, 0]);
    assert_eq!(number(&of(&document, 1)["rtp"], "reordered"), 80);
    assert_eq!(lost(of(&document, 2)), [400, 0, 0, 0, 80]);
    let events = told(&document, "packets-lost");
    assert!(events.len() == 16 && events.iter().all(|text| text.contains("192.168.20.2")), "{events:?}");
}

#[test]
fn an_outage_of_thousands_of_packets_is_loss() {
    for missing in [2000_u32, 3000, 5000, 9000] {
        let document = value(network(16, |index| (4000..4000 + missing).contains(&index)), WITH_PTP);
        assert_eq!(lost(of(&document, 7)), [u64::from(missing), 0, 0, 0, 1]);
        assert_eq!(lost(of(&document, 8)), [0; 5]);
        let events = told(&document, "packets-lost");
        assert!(
            events.len() == 1 && events[0].ends_with(&format!("misses {missing} packets in a row")),
            "{events:?}"
        );
        assert!(is_found(&document, "rtp-loss-or-reorder"));
    }
}

/// A leader and streams of 20 s, which miss each so many packets of 1000.
fn lossy(per_mille: &[u32]) -> Value {
    let mut scene = Scene::default();
    scene.clock(&actor(1).class(6), &actor(2), 20);
    for (last, missing) in (7_u8..).zip(per_mille) {
        // Spread, each stream's elsewhere.
        let gone = |index: u32| (index * 7 + u32::from(last) * 31) % 1000 < *missing;
        audio(&mut scene, &sender(last), 20_000, |index| {
            (!gone(index)).then(|| on_time(index) + i64::from(last))
        });
    }
    value(scene, WITH_PTP)
}

/// The streams that are found to have lost packets, by the last octet of their sender's address.
fn losers(document: &Value) -> Vec<String> {
    let all = document["findings"].as_array().unwrap();
    let found = all.iter().filter(|finding| finding["id"] == "rtp-loss-or-reorder");
    let mut last: Vec<String> = found
        .map(|finding| {
            let source = finding["stream"].as_str().unwrap().split('>').next().unwrap();
            source.rsplit('.').next().unwrap().to_owned()
        })
        .collect();
    last.sort();
    last
}

fn is_left_open(document: &Value) -> bool {
    let open = document["not_judged"].as_array().unwrap();
    open.iter().any(|rule| rule["id"] == "rtp-loss-or-reorder")
}

#[test]
fn a_very_lossy_stream_hides_no_loss_of_another() {
    for (per_mille, found, left_open) in [
        (&[10, 200, 0, 0][..], vec!["7", "8"], false),
        (&[10, 200, 0], vec!["7", "8"], false),
        // All alike: the capture may have lost them.
        (&[10, 10, 10, 10], vec![], true),
        (&[10, 10], vec![], true),
        // One far more than what all lost alike.
        (&[10, 300, 10, 10], vec!["8"], true),
        (&[0, 0, 0], vec![], false),
    ] {
        let document = lossy(per_mille);
        assert_eq!(
            (losers(&document), is_left_open(&document)),
            (found.iter().map(ToString::to_string).collect(), left_open),
            "{per_mille:?}"
        );
    }
}

#[test]
fn a_sender_that_begins_anew_lost_nothing() {
    let mut scene = network(3, |_| false);
    let sender = sender(9);
    for index in 0..6000_u32 {
        let (number, stamp) =
            if index < 3000 { (index, index * 48) } else { (index + 30_000, index * 48 + 77_777_777) };
        let packet = sender.rtp(u16::try_from(number % 65_536).unwrap(), stamp, false, 288);
        // 4 s until it is up again.
        scene.pass(on_time(index) + if index < 3000 { 0 } else { 4000 * MS }, sender.frame(&packet));
    }
    let document = value(scene, WITH_PTP);
    assert_eq!(lost(of(&document, 9)), [0, 0, 1, 0, 0]);
    assert!(!is_found(&document, "rtp-loss-or-reorder"));
}

#[test]
fn what_goes_by_while_nothing_is_captured_is_no_loss_of_the_streams() {
    for (from, until) in [(4000, 4300), (4000, 6500), (4000, 11_000)] {
        let is_gone = |at_ns: i64| (from..until).contains(&(at_ns / MS));
        let mut scene = network(16, |_| false);
        scene.frames.retain(|frame| !is_gone(frame.stamp_ns - crate::support::media::BEGINNING_NS));
        let document = value(scene, WITH_PTP);
        let missing = u64::try_from(until - from).unwrap();
        for last in [7, 8] {
            assert_eq!(lost(of(&document, last)), [0, missing, 0, 0, 0], "{from} {until}");
        }
        assert_eq!(told(&document, "packets-lost"), Vec::<String>::new());
        assert!(!is_found(&document, "rtp-loss-or-reorder"));
        // The same where the rest goes on.
        let document = value(network(16, |index| is_gone(on_time(index))), WITH_PTP);
        assert_eq!(lost(of(&document, 7)), [missing, 0, 0, 0, 1], "{from} {until}");
        assert!(is_found(&document, "rtp-loss-or-reorder"));
    }
}

#[test]
fn a_copy_of_each_packet_100_ms_later_leaves_a_stream_what_it_is() {
    for late_ms in [1, 99, 100, 101, 300] {
        let mut scene = Scene::default();
        audio(&mut scene, &sender(1), 3000, |index| Some(on_time(index)));
        audio(&mut scene, &sender(1), 3000, |index| Some(on_time(index) + late_ms * MS + 100_000));
        let document = value(scene, 60);
        let stream = only(&document);
        assert_eq!(
            (&stream["kind"], &stream["clock_rate_hz"]),
            (&"audio".into(), &48_000.into()),
            "{late_ms}"
        );
        assert_eq!((lost(stream), number(&stream["rtp"], "duplicated")), ([0; 5], 3000), "{late_ms}");
    }
}

#[test]
fn a_jump_or_a_pause_leaves_a_stream_its_kind() {
    for (jump, pause_ms) in [(0, 0), (123_456_789, 0), (0, 900), (77, 3000)] {
        let (mut scene, sender) = (Scene::default(), sender(1));
        for index in 0..4000_u32 {
            let (stamp, at) = if index < 2000 { (0, 0) } else { (jump, pause_ms * MS) };
            let packet = sender.rtp(u16::try_from(index).unwrap(), index * 48 + stamp, false, 288);
            scene.pass(on_time(index) + at, sender.frame(&packet));
        }
        let document = value(scene, 60);
        let stream = only(&document);
        assert_eq!(
            (&stream["kind"], &stream["clock_rate_hz"]),
            (&"audio".into(), &48_000.into()),
            "{jump} {pause_ms}"
        );
        assert_eq!(stream["codec"], "L24 x2 or L16 x3");
    }
    // Packets of no one step are no linear audio.
    let (mut scene, sender) = (Scene::default(), sender(1));
    for index in 0..4000_u32 {
        let packet = sender.rtp(u16::try_from(index).unwrap(), index * 48 + index % 2, false, 288);
        scene.pass(on_time(index), sender.frame(&packet));
    }
    assert_eq!(only(&value(scene, 60))["kind"], "unknown");
}

#[test]
fn a_jump_of_the_leaders_time_is_not_the_streams() {
    let scene = |leader_ns: i64, stream_ms: u32| {
        let mut scene = Scene::default();
        scene.clock_that_jumps(&actor(1).class(6), &actor(2), 40, (20, leader_ns));
        let sender = sender(7);
        for index in 0..40_000_u32 {
            let jump = if index < 10_000 { 0 } else { stream_ms * 48 };
            let packet = sender.rtp(u16::try_from(index).unwrap(), index * 48 + jump, false, 288);
            scene.pass(on_time(index), sender.frame(&packet));
        }
        told(&value(scene, WITH_PTP), "media-step")
    };
    assert_eq!(scene(1_000_000_000, 0), Vec::<String>::new());
    let own = "192.168.20.7>239.20.1.7:5004 ssrc 5e000007 jumps ahead by 250 ms on its media clock against the leader";
    assert_eq!(scene(0, 250), [own]);
    assert_eq!(scene(1_000_000_000, 250), [own]);
}

/// A packet of 288 octets of audio in two fragments, the first one with `first` octets of the IP packet's payload.
fn in_fragments(sender: &Sender, index: u32, id: u16) -> [Vec<u8>; 2] {
    let whole = sender.frame(&sender.rtp(u16::try_from(index).unwrap(), index * 48, false, 288));
    let (ethernet, rest) = whole.split_at(14);
    let (header, payload) = rest.split_at(20);
    let part = |payload: &[u8], flags: u16| {
        let mut header = header.to_vec();
        header[2..4].copy_from_slice(&u16::try_from(20 + payload.len()).unwrap().to_be_bytes());
        header[4..6].copy_from_slice(&id.to_be_bytes());
        header[6..8].copy_from_slice(&flags.to_be_bytes());
        [ethernet, &header, payload].concat()
    };
    [part(&payload[..160], 0x2000), part(&payload[160..], 160 / 8)]
}

/// Two senders of fragmented datagrams, and two flows of one of them between the same addresses.
fn fragmented() -> Scene {
    let mut scene = Scene::default();
    let (one, other) = (sender(1), Sender { ssrc: 77, ..sender(1) });
    for index in 0..2000_u32 {
        let id = u16::try_from(index).unwrap();
        for (place, (sender, id)) in (0..).zip([(one, id), (other, id + 30_000), (sender(2), id)]) {
            for (part, octets) in (0..).zip(in_fragments(&sender, index, id)) {
                scene.pass(on_time(index) + place * 100_000 + part * 1000, octets);
            }
        }
    }
    scene
}

#[test]
fn fragments_count_for_the_flow_of_their_datagram_and_octets_add_up() {
    let scene = fragmented();
    let wire = |octets: &[u8]| u64::try_from(octets.len().max(60) + 24).unwrap();
    let all: u64 = scene.frames.iter().map(|frame| wire(&frame.octets)).sum();
    let document = value(scene.clone(), 60);
    assert_eq!(streams(&document).len(), 3);
    for stream in streams(&document) {
        assert_eq!((number(stream, "packets"), number(stream, "octets")), (2000, all / 3), "{stream}");
        assert!(number(stream, "payload_mean_bps") < number(stream, "mean_bps"), "{stream}");
        assert_eq!(lost(stream), [0; 5]);
    }
    assert_eq!(number(&document["link"], "fragments_left_out"), 0);
    // Without the first ones they belong nowhere.
    let mut later = scene;
    later.frames.retain(|frame| frame.octets[20..22] == [0, 20]);
    let document = value(later, 60);
    assert_eq!((streams(&document).len(), number(&document["link"], "fragments_left_out")), (0, 6000));
}

#[test]
fn a_cut_between_the_fragments_of_a_datagram_shows_nowhere() {
    let file = fragmented().file(60);
    let whole = in_pieces(&file, &[]);
    for cuts in [&[1][..], &[5, 6, 7, 8, 9], &[401, 4000, 4001], &[3, 11_999]] {
        assert_eq!(in_pieces(&file, cuts), whole, "{cuts:?}");
    }
}

#[test]
fn jitter_of_a_millisecond_leaves_a_media_clock_to_be_judged() {
    let mut judged = 0;
    for seed in 0..12 {
        let (mut random, mut scene) = (Random::seeded(seed), Scene::default());
        scene.clock(&actor(1).class(6), &actor(2), 15);
        let mut newest = 0;
        audio(&mut scene, &sender(7), 15_000, |index| {
            newest = (on_time(index) + random.between(0, 1_000_000)).max(newest + 1000);
            Some(newest)
        });
        let document = value(scene, WITH_PTP);
        let stream = of(&document, 7);
        judged += usize::from(stream["rtp"]["jitter_ns"].is_number() && stream["media_rate_ppm"].is_number());
    }
    assert_eq!(judged, 12);
}

/// A network in which packets are lost, delayed and doubled at random, with outages and holes, and what was left out.
fn faulty(seed: u64) -> (Scene, [u64; 4], u64) {
    let (mut random, mut scene) = (Random::seeded(seed), Scene::default());
    let (mut lost, mut bursts, mut hidden, mut peak) = (0, 0, 0, vec![0_u64; 12_000]);
    let hole = 7000..7000 + u32::try_from(random.between(100, 900)).unwrap();
    let outage = 2000..2000 + u32::try_from(random.between(1, 4500)).unwrap();
    let (mut run, mut run_hidden) = (0_u64, false);
    let mut end = |run: &mut u64, is_hidden: &mut bool| {
        if *is_hidden {
            hidden += *run;
        } else {
            lost += *run;
            bursts += u64::from(*run >= 3);
        }
        (*run, *is_hidden) = (0, false);
    };
    for index in 0..12_000 {
        let near_fault = hole.contains(&(index + 200))
            || hole.contains(&index)
            || hole.contains(&index.saturating_sub(200));
        let is_lost = outage.contains(&index)
            || (!near_fault && random.one_in(20))
            || (!near_fault && run > 0 && random.one_in(2));
        if is_lost || hole.contains(&index) {
            run += 1;
            run_hidden |= hole.contains(&index);
            continue;
        }
        end(&mut run, &mut run_hidden);
        let late = if !near_fault && random.one_in(15) { random.between(1, 20) * MS + 1000 } else { 0 };
        let packet = sender(7).frame(&sender(7).rtp(u16::try_from(index).unwrap(), index * 48, false, 288));
        let at = on_time(index) + late;
        if let Some(bin) = peak.get_mut(usize::try_from(at / MS).unwrap()) {
            *bin += u64::try_from(packet.len()).unwrap() + 24;
        }
        scene.pass(at, packet);
    }
    audio(&mut scene, &sender(8), 12_000, |index| (!hole.contains(&index)).then(|| on_time(index) + 300));
    (scene, [lost, hidden, 0, bursts], peak.into_iter().max().unwrap())
}

#[test]
fn counts_agree_with_what_was_left_out() {
    let mut all = [0; 4];
    for seed in 0..10 {
        let (scene, truth, peak) = faulty(seed);
        let document = value(scene, 60);
        let stream = of(&document, 7);
        let [lost, not_captured, restarts, unclear, bursts] = lost(stream);
        assert_eq!([lost, not_captured, restarts + unclear, bursts], truth, "{seed}");
        assert_eq!(number(stream, "peak_1ms_bps"), peak * 8000, "{seed}");
        for (sum, each) in all.iter_mut().zip(truth) {
            *sum += each;
        }
    }
    assert!(all[0] > 10_000 && all[1] > 2000 && all[3] > 200, "{all:?}");
}

/// What does not depend on the clock rate that the first packets of a piece show.
fn counted(file: &[u8], cuts: &[usize]) -> Value {
    let mut pieces = in_pieces(file, cuts);
    for stream in pieces[0].as_array_mut().unwrap() {
        let rtp = stream["rtp"].as_object_mut().unwrap();
        rtp.remove("jitter_ns").unwrap();
        stream.as_object_mut().unwrap().retain(|key, _| !key.starts_with("media_rate"));
    }
    pieces
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(12))]
    #[test]
    fn a_cut_shows_nowhere_in_the_losses(seed in 0_u64..4, cuts in proptest::collection::vec(0_usize..20_000, 0..6)) {
        let file = faulty(seed).0.file(60);
        prop_assert_eq!(counted(&file, &cuts), counted(&file, &[]));
    }
}
