//! Streams through the whole library: rates, loss, what they are, their media clocks, and where they come twice.

use std::net::Ipv4Addr;

use downbeat::analysis::Reading;
use downbeat::analysis::Settings;
use downbeat::analysis::Tally;
use downbeat::capture::Input;
use downbeat::capture::Joined;
use downbeat::findings;
use downbeat::report;
use downbeat::sdp;
use downbeat::streams::FLOWS_KEPT;
use downbeat::units::BitsPerSecond;
use proptest::prelude::*;
use serde_json::Value;

use crate::support::craft::random::Random;
use crate::support::judged;
use crate::support::media::Scene;
use crate::support::media::sender;
use crate::support::stage::actor;

const RATES: &str = include_str!("../data/check-values/rates.json");
const WHOLE: u32 = 65_535;
/// Keeps PTP messages whole and cuts media.
pub(crate) const WITH_PTP: u32 = 128;

pub(crate) fn value(scene: Scene, snap: u32) -> Value {
    judged::files(&[("scene.pcap", scene.file(snap))]).value()
}

pub(crate) fn streams(document: &Value) -> &Vec<Value> {
    document["streams"].as_array().unwrap()
}

pub(crate) fn only(document: &Value) -> &Value {
    assert_eq!(streams(document).len(), 1, "{:?}", document["streams"]);
    &streams(document)[0]
}

pub(crate) fn number(row: &Value, key: &str) -> u64 {
    row[key].as_u64().unwrap_or_else(|| panic!("{key} of {row}"))
}

fn bps(row: &Value, key: &str) -> u64 {
    (row[key].as_f64().unwrap() * 1000.0).round() as u64
}

/// Every audio row of the vectors as a capture of a second, whole and cut to the headers.
#[test]
fn audio_streams_have_the_rates_that_were_worked_out_also_where_frames_were_cut() {
    let vectors: Value = serde_json::from_str(RATES).unwrap();
    let rows = vectors["audio"].as_array().unwrap();
    assert_eq!(rows.len(), 16);
    for row in rows {
        let mut sender = sender(1);
        sender.vlan = row["vlanTag"].as_bool().unwrap().then_some(20);
        let count = u32::try_from(1_000_000 / number(row, "packetTime_us") + 1).unwrap();
        let samples = u32::try_from(number(row, "samplesPerPacket")).unwrap();
        let rate = u32::try_from(number(row, "rate_hz")).unwrap();
        let payload = usize::try_from(number(row, "rtpPayload")).unwrap();
        let mut scene = Scene::default();
        scene.audio(&sender, count, (samples, rate), payload, 0);
        for snap in [WHOLE, 60] {
            let document = value(scene.clone(), snap);
            let (stream, id) = (only(&document), &row["id"]);
            for key in ["mean_bps", "peak_100ms_bps", "peak_10ms_bps", "peak_1ms_bps"] {
                assert_eq!(number(stream, key), bps(row, "wire_kbps"), "{id} {key} {snap}");
            }
            let udp = number(row, "udpPayload") * 8_000_000 / number(row, "packetTime_us");
            assert_eq!(number(stream, "payload_mean_bps"), udp, "{id}");
            assert_eq!(number(stream, "packets"), u64::from(count), "{id}");
            assert_eq!(number(stream, "clock_rate_hz"), u64::from(rate), "{id} {stream}");
            assert_eq!((&stream["kind"], &stream["known_by"]), (&"audio".into(), &"inferred".into()), "{id}");
            let (bits, channels) = (number(row, "bits"), number(row, "channels"));
            let codec =
                if bits == 32 { format!("AM824 x{channels}") } else { format!("L{bits} x{channels}") };
            let named = stream["codec"].as_str().unwrap();
            assert!(named.split(" or ").any(|each| each == codec), "{id}: {codec} in {named}");
            assert_eq!(stream["rtp"]["lost"], 0, "{id}");
            assert_eq!(stream["rtp"]["jitter_ns"], 0, "{id}");
            let source = &document["sources"][0];
            assert_eq!(number(source, "mean_bps"), bps(row, "wire_kbps"), "{id}");
            assert_eq!(number(&document["link"], "mean_bps"), bps(row, "wire_kbps"), "{id}");
            let share = bps(row, "wire_kbps") as f64 / 1e9;
            assert!((source["share_of_link"].as_f64().unwrap() - share).abs() < 1e-12, "{id}");
        }
    }
}

/// What a seeded sender does to its packets, counted as it does it.
#[derive(Debug, Default)]
struct Planted {
    lost: u64,
    doubled: u64,
    late: u64,
    restarts: u64,
    packets: u64,
}

/// A stream of a second or so with faults planted apart from one another.
fn planted(seed: u64) -> (Scene, Planted) {
    let (mut random, sender) = (Random::seeded(seed), sender(1));
    let (mut scene, mut truth) = (Scene::default(), Planted::default());
    let (mut sequence, mut timestamp) = (65_000_u16, 0_u32);
    let mut at = 0;
    let mut calm = 0;
    let mut held: Option<(u16, u32)> = None;
    for _ in 0..1500 {
        at += 1_000_000;
        sequence = sequence.wrapping_add(1);
        timestamp = timestamp.wrapping_add(48);
        calm += 1;
        let mut send = |sequence: u16, timestamp: u32, at: i64| {
            truth.packets += 1;
            scene.pass(at, sender.frame(&sender.rtp(sequence, timestamp, false, 288)));
        };
        if let Some((late, stamp)) = held.take() {
            send(sequence, timestamp, at);
            send(late, stamp, at + 1000);
            truth.late += 1;
            continue;
        }
        // Far enough apart that one fault does not hide another.
        if calm > 12 && random.one_in(10) {
            calm = 0;
            match random.between(0, 3) {
                0 => {
                    let missing = u16::try_from(random.between(1, 40)).unwrap();
                    truth.lost += u64::from(missing);
                    sequence = sequence.wrapping_add(missing);
                    timestamp = timestamp.wrapping_add(48 * u32::from(missing));
                    at += i64::from(missing) * 1_000_000;
                }
                1 => {
                    send(sequence, timestamp, at - 1000);
                    truth.doubled += 1;
                }
                2 => {
                    held = Some((sequence, timestamp));
                    continue;
                }
                _ => {
                    sequence = sequence.wrapping_add(20_000);
                    truth.restarts += 1;
                }
            }
        }
        send(sequence, timestamp, at);
    }
    (scene, truth)
}

#[test]
fn loss_duplicates_late_packets_and_restarts_are_counted_exactly() {
    let mut all = Planted::default();
    for seed in 0..12 {
        let (scene, truth) = planted(seed);
        let document = value(scene, 60);
        let (stream, rtp) = (only(&document), &only(&document)["rtp"]);
        assert_eq!(number(stream, "packets"), truth.packets, "{seed}");
        let found = ["lost", "duplicated", "reordered", "restarts"].map(|key| number(rtp, key));
        assert_eq!(found, [truth.lost, truth.doubled, truth.late, truth.restarts], "{seed}: {truth:?}");
        all.lost += truth.lost;
        all.doubled += truth.doubled;
        all.late += truth.late;
        all.restarts += truth.restarts;
    }
    assert!(all.lost > 300 && all.doubled > 20 && all.late > 20 && all.restarts > 20, "{all:?}");
}

/// Streams, sources, link and events of a capture cut into pieces.
pub(crate) fn in_pieces(file: &[u8], cuts: &[usize]) -> Value {
    let open = || Joined::new(vec![Input::once("scene.pcap", std::io::Cursor::new(file.to_vec()))]);
    let mut joined = open();
    let mut pieces = vec![Tally::default()];
    let mut read = 0_usize;
    while let Some((file, record)) = joined.next_record() {
        if cuts.contains(&read) {
            pieces.push(Tally::default());
        }
        pieces.last_mut().unwrap().record(file, &record);
        read += 1;
    }
    let whole = pieces.into_iter().reduce(Tally::join).unwrap();
    let mut reading = Reading::new(Settings::default());
    reading.absorb(whole);
    let analysis = reading.finish(joined.finish());
    let document = report::document(&analysis, &findings::judge(&analysis));
    let mut json = Vec::new();
    report::write_json(&document, &mut json).unwrap();
    let value: Value = serde_json::from_slice(&json).unwrap();
    serde_json::json!([value["streams"], value["sources"], value["link"], value["devices"]])
}

/// Two streams with faults and one without, a picture stream, and a flow that is no RTP.
fn mixture() -> Scene {
    let (mut scene, _) = planted(3);
    let other = sender(2);
    scene.audio(&other, 1200, (48, 48_000), 288, 0);
    let pictures = sender(3);
    for index in 0..1500_u32 {
        let at = i64::from(index / 30) * 20_000_000 + i64::from(index % 30) * 100_000;
        let sequence = u16::try_from(index).unwrap();
        let packet = pictures.rtp(sequence, index / 30 * 1800, index % 30 == 29, 1200);
        scene.pass(at, pictures.frame(&packet));
        if index % 10 == 0 {
            scene.pass(at + 500, sender(4).frame_to(7000, &[7; 100]));
        }
    }
    scene
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]
    #[test]
    fn a_cut_shows_nowhere_in_the_streams(cuts in proptest::collection::vec(0_usize..4400, 0..6)) {
        let file = mixture().file(60);
        prop_assert_eq!(in_pieces(&file, &cuts), in_pieces(&file, &[]));
    }
}

#[test]
fn a_first_piece_of_a_packet_or_two_loses_neither_jitter_nor_media_clock() {
    let file = mixture().file(60);
    let whole = in_pieces(&file, &[]);
    assert!(whole[0].as_array().unwrap().iter().any(|stream| stream["rtp"]["jitter_ns"].is_number()));
    for cuts in [[1, 2], [1, 4000], [5, 300]] {
        assert_eq!(in_pieces(&file, &cuts), whole, "{cuts:?}");
    }
}

#[test]
fn pictures_are_told_by_shared_timestamps_and_markers() {
    let document = value(mixture(), 60);
    let stream = streams(&document).iter().find(|stream| stream["group"] == "239.20.1.3").unwrap();
    assert_eq!((&stream["kind"], &stream["clock_rate_hz"]), (&"video".into(), &90_000.into()));
    // 49 pictures from the first marker to the last packet, which carries one: 20 ms each.
    let frames = stream["frames_per_s"].as_f64().unwrap();
    assert!((49.0..=50.1).contains(&frames), "{frames}");
    let other = streams(&document).iter().find(|stream| stream["port"] == 7000).unwrap();
    assert_eq!((&other["kind"], &other["rtp"]), (&"other".into(), &Value::Null));
}

#[test]
fn what_only_looks_like_rtp_is_none() {
    let (mut scene, mut random) = (Scene::default(), Random::seeded(1));
    let noise = sender(9);
    for index in 0..400_i64 {
        let mut payload: Vec<u8> = (0..8).flat_map(|_| random.next().to_be_bytes()).collect();
        payload[0] = 0x80;
        payload[1] = 96;
        scene.pass(index * 1_000_000, noise.frame_to(6000, &payload));
        // The same SSRC each time, numbers at random.
        payload[8..12].copy_from_slice(&[1, 2, 3, 4]);
        scene.pass(index * 1_000_000 + 10, noise.frame_to(6001, &payload));
        // Multicast DNS: identifier 0, then flags.
        scene.pass(index * 1_000_000 + 20, noise.frame_to(5353, &[0, 0, 0x84, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1]));
        // Unicast with headers that could be RTP's.
        let mut unicast = noise;
        unicast.group = Ipv4Addr::new(192, 168, 20, 77);
        scene.pass(index * 1_000_000 + 30, unicast.frame_to(6002, &payload));
    }
    let document = value(scene, WHOLE);
    assert!(streams(&document).iter().all(|stream| stream["rtp"].is_null() && stream["kind"] == "other"));
    let by_port: Vec<(u64, u64)> =
        streams(&document).iter().map(|stream| (number(stream, "port"), number(stream, "packets"))).collect();
    assert_eq!(by_port, [(5353, 400), (6000, 400), (6001, 400)]);
}

#[test]
fn ptp_is_no_stream_and_unicast_rtp_is_one() {
    let mut scene = Scene::default();
    scene.clock(&actor(1).class(6), &actor(2), 3);
    assert!(streams(&value(scene.clone(), WHOLE)).is_empty());
    let mut unicast = sender(5);
    unicast.group = Ipv4Addr::new(192, 168, 20, 77);
    scene.audio(&unicast, 100, (48, 48_000), 288, 0);
    let document = value(scene, WHOLE);
    assert_eq!(only(&document)["group"], "192.168.20.77");
}

#[test]
fn the_demo_captures_have_the_streams_that_were_planted() {
    let truth: Value =
        serde_json::from_slice(&std::fs::read(judged::in_project("captures/truth.json")).unwrap()).unwrap();
    let mut seen = 0;
    for scene in truth.as_array().unwrap() {
        let name = scene["file"].as_str().unwrap();
        let document = judged::demo(name).value();
        let planted = scene["streams"].as_array().unwrap();
        let found: Vec<&Value> =
            streams(&document).iter().filter(|stream| !stream["rtp"].is_null()).collect();
        assert_eq!(found.len(), planted.len(), "{name}");
        for stream in planted {
            let ours = found.iter().find(|found| found["ssrc"] == stream["ssrc"]).unwrap();
            for key in [
                "source_ip",
                "source_mac",
                "group",
                "port",
                "kind",
                "payload_type",
                "clock_rate_hz",
                "packets",
            ] {
                assert_eq!(ours[key], stream[key], "{name} {key}");
            }
            for key in ["lost", "duplicated", "reordered", "restarts"] {
                assert_eq!(ours["rtp"][key], 0, "{name} {key}");
            }
            // A stream of a few seconds shows no rate.
            if stream["packets"].as_u64().unwrap() < 1000 {
                assert_eq!(ours["clocked"], Value::Null, "{name}");
                continue;
            }
            // Media time is the sender's PTP time, which wanders about the leader's by some tens of ns.
            let (ppm, sigma) = (ours["media_rate_ppm"].as_f64(), ours["media_rate_sigma_ppm"].as_f64());
            assert!(ppm.unwrap().abs() <= 3.0 * sigma.unwrap() + 0.01, "{name}: {ppm:?} {sigma:?}");
            assert_eq!(ours["media_rate_against"], "leader", "{name}");
            seen += 1;
        }
    }
    assert!(seen >= 3, "{seen}");
}

/// A leader, a follower, a sender that takes part and one that does not, each with its own media clock, for 40 s.
fn drifting() -> Scene {
    let mut scene = Scene::default();
    let (leader, follower) = (actor(1).class(6), actor(2));
    scene.clock(&leader, &follower, 40);
    // The follower itself sends 20 ppm fast; two that send no PTP, one of them at the leader's rate.
    scene.audio(&sender(2), 10_000, (192, 48_000), 1152, 20_000);
    scene.audio(&sender(3), 10_000, (192, 48_000), 1152, -35_000);
    scene.audio(&sender(4), 10_000, (192, 48_000), 1152, 0);
    scene
}

#[test]
fn a_media_clock_is_measured_against_the_leader_and_shows_who_is_adrift_or_unclocked() {
    let document = value(drifting(), WITH_PTP);
    for (group, planted) in [("239.20.1.2", 20.0), ("239.20.1.3", -35.0), ("239.20.1.4", 0.0)] {
        let stream = streams(&document).iter().find(|stream| stream["group"] == group).unwrap();
        let (ppm, sigma) =
            (stream["media_rate_ppm"].as_f64().unwrap(), stream["media_rate_sigma_ppm"].as_f64().unwrap());
        // A rate of 20 ppm in the one clock's seconds is 20.0004 in the other's.
        assert!((ppm - planted).abs() <= 3.0 * sigma + 0.002, "{group}: {ppm} ± {sigma}");
        assert!(sigma < 0.1, "{group}: {sigma}");
        assert_eq!(stream["clocked"], planted == 0.0, "{group}");
    }
    let device = |ip: &str| {
        let devices = document["devices"].as_array().unwrap();
        devices.iter().find(|device| device["ips"].as_array().unwrap().contains(&ip.into())).unwrap().clone()
    };
    let adrift = device("192.168.20.2");
    assert_eq!((&adrift["state"], &adrift["strength"]), (&"adrift".into(), &"inferred".into()));
    assert!((adrift["media_rate_ppm"].as_f64().unwrap() - 20.0).abs() < 0.01);
    assert_eq!(device("192.168.20.3")["state"], "unclocked");
    assert_eq!(device("192.168.20.4")["state"], "unproven");
    assert_eq!(device("192.168.20.1")["state"], "leading");
}

#[test]
fn without_a_leader_the_media_clock_is_held_against_the_capture_and_nobody_is_blamed() {
    let mut scene = Scene::default();
    scene.audio(&sender(2), 5_000, (192, 48_000), 1152, 20_000);
    let document = value(scene, 60);
    let stream = only(&document);
    assert!((stream["media_rate_ppm"].as_f64().unwrap() - 20.0).abs() < 0.01);
    assert_eq!(stream["media_rate_against"], "capture-clock");
    assert!(stream["clocked"].is_null());
    assert!(document["devices"].as_array().unwrap().is_empty());
}

#[test]
fn a_short_capture_calls_nobody_unclocked() {
    let mut scene = Scene::default();
    scene.clock(&actor(1).class(6), &actor(2), 12);
    scene.audio(&sender(3), 3_000, (192, 48_000), 1152, -35_000);
    let document = value(scene, WITH_PTP);
    let devices = document["devices"].as_array().unwrap();
    let device = devices.iter().find(|device| device["ips"][0] == "192.168.20.3").unwrap();
    assert_eq!((&device["state"], &device["strength"]), (&"unproven".into(), &"cannot-tell".into()));
}

#[test]
fn one_stream_on_two_paths_is_recognised_with_its_delay_and_each_legs_loss() {
    let mut scene = Scene::default();
    let (red, mut blue) = (sender(2), sender(3));
    blue.ssrc = red.ssrc;
    blue.vlan = Some(7);
    for index in 0..3000_u32 {
        let at = i64::from(index) * 1_000_000;
        let packet = |from: &crate::support::media::Sender| {
            from.frame(&from.rtp(u16::try_from(index).unwrap(), index * 48, false, 288))
        };
        if index % 500 != 7 {
            scene.pass(at, packet(&red));
        }
        if index % 1000 != 9 {
            scene.pass(at + 350_000, packet(&blue));
        }
    }
    // Another stream with the same SSRC by chance is no twin.
    let mut stranger = sender(4);
    stranger.ssrc = red.ssrc;
    for index in 0..3000_u32 {
        let packet = stranger.rtp(u16::try_from(index).unwrap(), 777 + index * 48, false, 288);
        scene.pass(i64::from(index) * 1_000_000, stranger.frame(&packet));
    }
    let document = value(scene, 60);
    let [one, other, third] = streams(&document).as_slice() else { panic!("{}", document["streams"]) };
    assert_eq!((&one["rtp"]["lost"], &other["rtp"]["lost"]), (&6.into(), &3.into()));
    assert_eq!((&one["twins"][0]["key"], &one["twins"][0]["delay_ns"]), (&other["key"], &350_000.into()));
    assert_eq!(
        (&other["twins"][0]["key"], &other["twins"][0]["delay_ns"]),
        (&one["key"], &(-350_000).into())
    );
    assert_eq!(third["twins"].as_array().unwrap().len(), 0);
}

#[test]
fn a_description_tells_what_a_stream_is_and_whether_it_names_the_leader() {
    let mut file = Scene::default();
    file.clock(&actor(1).class(6), &actor(2), 12);
    let sender = sender(2);
    // 100 ms under way, by a media clock that counts PTP time from offset 5000.
    for index in 0..12_000_i64 {
        let ptp_ns = crate::support::media::BEGINNING_NS + crate::support::media::TAI_NS + index * 1_000_000;
        let ticks = (i128::from(ptp_ns) * 48_000 / 1_000_000_000 + 5000).rem_euclid(1 << 32);
        let packet = sender.rtp(u16::try_from(index).unwrap(), u32::try_from(ticks).unwrap(), false, 6 * 48);
        file.pass(index * 1_000_000 + 100_000_000, sender.frame(&packet));
    }
    let file = file.file(WITH_PTP);
    for (clock, domain, agrees) in [
        ("02-00-5E-FF-FE-10-00-01", "0", Some(true)),
        ("02-00-5E-FF-FE-10-00-01", "3", Some(false)),
        ("02-00-5E-FF-FE-10-00-09", "0", Some(false)),
    ] {
        let text = format!(
            "v=0\r\no=- 1 1 IN IP4 192.168.20.2\r\ns=Foyer\r\nt=0 0\r\nm=audio 5004 RTP/AVP 97\r\n\
             c=IN IP4 239.20.1.2/15\r\na=rtpmap:97 L24/48000/2\r\n\
             a=ts-refclk:ptp=IEEE1588-2008:{clock}:{domain}\r\na=mediaclk:direct=5000\r\n"
        );
        let mut reading = Reading::new(Settings::default());
        reading.announce(sdp::parse(text.as_bytes()).unwrap());
        let mut joined = Joined::new(vec![Input::once("scene.pcap", std::io::Cursor::new(file.clone()))]);
        while let Some((file, record)) = joined.next_record() {
            reading.push(file, &record);
        }
        let analysis = reading.finish(joined.finish());
        let stream = &analysis.wire.streams[0];
        assert_eq!(stream.nature.known_by.name(), "sdp");
        assert_eq!(stream.nature.codec.as_deref(), Some("L24 x2"));
        let described = stream.described.as_ref().unwrap();
        assert_eq!((described.name.as_str(), described.agrees), ("Foyer", agrees));
        let offset = stream.media_rate.as_ref().and_then(|rate| rate.offset);
        // Of a domain that is not in view there is no time to hold it against.
        assert_eq!(offset.is_some(), domain == "0", "{clock} {domain}");
        assert!(offset.is_none_or(|offset| (offset.0 - 100_000_000).abs() < 1_000), "{offset:?}");
    }
}

#[test]
fn the_links_speed_is_as_given_else_assumed() {
    let mut scene = Scene::default();
    scene.audio(&sender(1), 100, (48, 48_000), 288, 0);
    let file = scene.file(60);
    let assumed = judged::files(&[("scene.pcap", file.clone())]).value();
    assert_eq!(
        (&assumed["link"]["speed_bps"], &assumed["link"]["speed_known_by"]),
        (&1_000_000_000_u64.into(), &"assumed".into())
    );
    let settings = Settings { link_speed: Some(BitsPerSecond(100_000_000)), ..Settings::default() };
    let given = judged::with(settings, &[("scene.pcap", file)]).value();
    assert_eq!(given["link"]["speed_known_by"], "settings");
    let load = given["link"]["load_mean"].as_f64().unwrap();
    assert!((load - 0.02928).abs() < 1e-9, "{load}");
}

#[test]
fn flows_beyond_the_limit_are_folded_and_told_and_the_steady_ones_stay() {
    let mut scene = Scene::default();
    scene.audio(&sender(1), 2000, (48, 48_000), 96, 0);
    for index in 0..u16::try_from(FLOWS_KEPT + 500).unwrap() {
        let at = 500_000_000 + i64::from(index) * 10_000;
        scene.pass(at, sender(2).frame_to(1024 + index, &[1; 20]));
    }
    let document = value(scene, 60);
    assert!(number(&document["link"], "flows_left_out") > 0);
    assert!(streams(&document).len() <= FLOWS_KEPT);
    let kept = streams(&document).iter().find(|stream| stream["source_ip"] == "192.168.20.1").unwrap();
    assert_eq!((number(kept, "packets"), &kept["rtp"]["lost"]), (2000, &0.into()));
}

#[test]
fn a_mirror_that_captures_twice_is_named_as_such() {
    let mut scene = Scene::default();
    scene.audio(&sender(1), 500, (48, 48_000), 288, 0);
    for frame in scene.frames.clone() {
        let octets = frame.octets.clone();
        scene.frames.push(crate::support::craft::capture_file::CapturedFrame {
            stamp_ns: frame.stamp_ns + 10_000,
            octets,
            ..frame
        });
    }
    let judged = judged::files(&[("scene.pcap", scene.file(WHOLE))]);
    assert_eq!(only(&judged.value())["rtp"]["duplicated"], 500);
    let text = judged.text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(text.contains("500 doubled: captured twice, as by a mirror of both directions"), "{text}");
}

/// Two streams, one of which is silent for 5 s; then all are, as where the capturing machine slept.
#[test]
fn a_silence_of_one_stream_is_told_and_one_of_the_whole_capture_is_not_the_streams() {
    let mut scene = Scene::default();
    for second in (0..10).chain(20..30) {
        for number in [1, 2] {
            if number == 2 && (3..8).contains(&second) {
                continue;
            }
            for part in 0..10_u16 {
                let sequence = u16::try_from(second).unwrap() * 10 + part;
                let sender = sender(number);
                let at = i64::from(second) * 1_000_000_000 + i64::from(part) * 100_000_000;
                scene.pass(at, sender.frame(&sender.rtp(sequence, u32::from(sequence) * 4800, false, 288)));
            }
        }
    }
    let document = value(scene, WHOLE);
    let events = document["events"].as_array().unwrap().iter();
    let pauses: Vec<&str> = events
        .filter(|event| event["kind"] == "stream-paused")
        .map(|event| event["text"].as_str().unwrap())
        .collect();
    assert_eq!(pauses, ["192.168.20.2>239.20.1.2:5004 ssrc 5e000002 is silent for 5.1 s"]);
}

/// The clock's messages are there, and too little was kept of each to read one.
#[test]
fn frames_cut_to_few_octets_are_called_so_and_not_taken_for_a_network_without_ptp() {
    use crate::support::media::Scene;
    use crate::support::stage::actor;
    let told = |snap: u32, command: &str| {
        let mut scene = Scene::default();
        scene.clock(&actor(1).class(6), &actor(2), 40);
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("cut.pcap");
        std::fs::write(&path, scene.file(snap)).unwrap();
        let output =
            assert_cmd::Command::cargo_bin("downbeat").unwrap().arg(command).arg(&path).output().unwrap();
        let text = String::from_utf8(output.stdout).unwrap();
        text.split_whitespace().collect::<Vec<_>>().join(" ")
    };
    for snap in [34, 50] {
        let check = told(snap, "check");
        assert!(check.contains(&format!("had no more than {snap} octets kept, too few to read")), "{check}");
        assert!(!check.contains("there is no PTP message"), "{check}");
        let streams = told(snap, "streams");
        assert!(streams.contains(&format!("had no more than {snap} octets kept")), "{streams}");
    }
    assert!(!told(128, "check").contains("octets kept"));
    assert!(!told(128, "streams").contains("octets kept"));
}
