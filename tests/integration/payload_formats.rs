//! Formats that show themselves by their payload headers alone, and what only looks like one. Headers are laid out by hand
//! from the tables: RFC 6184 section 5.8, RFC 7798 section 4.4.3, RFC 9134 section 4.3, RFC 5371 section 3 (from memory),
//! RFC 4175 section 4.3, RFC 8331 section 2.1.

use serde_json::Value;

use crate::support::judged;
use crate::support::media::Scene;
use crate::support::media::sender;

/// Packets of a stream of pictures: `each` gives the payloads of picture number so-and-so; 25 a second.
fn pictures(count: u32, each: impl Fn(u32) -> Vec<Vec<u8>>) -> Value {
    let sender = sender(1);
    let mut scene = Scene::default();
    let mut sequence = 65_500_u16;
    for picture in 0..count {
        let payloads = each(picture);
        let last = payloads.len() - 1;
        for (place, payload) in payloads.iter().enumerate() {
            let mut packet = sender.rtp(sequence, picture * 3600, place == last, 0);
            packet.extend(payload);
            let at = i64::from(picture) * 40_000_000 + i64::try_from(place).unwrap() * 100_000;
            scene.pass(at, sender.frame(&packet));
            sequence = sequence.wrapping_add(1);
        }
    }
    let report = judged::files(&[("scene.pcap", scene.file(90))]).value();
    assert_eq!(report["streams"].as_array().unwrap().len(), 1);
    report["streams"][0].clone()
}

fn named(stream: &Value) -> (&str, Option<&str>, &str) {
    (stream["kind"].as_str().unwrap(), stream["codec"].as_str(), stream["known_by"].as_str().unwrap())
}

fn filled(mut header: Vec<u8>, octets: usize) -> Vec<u8> {
    header.resize(header.len() + octets, 0xA7);
    header
}

/// A picture in `parts` fragments: indicator octets, then the FU header with S, E and the unit's type.
fn fragments(indicator: &[u8], unit: u8, parts: usize) -> Vec<Vec<u8>> {
    let part = |place: usize| {
        let start = u8::from(place == 0) << 7;
        let end = u8::from(place + 1 == parts) << 6;
        filled([indicator, &[start | end | unit]].concat(), 900)
    };
    (0..parts).map(part).collect()
}

#[test]
fn fragments_that_begin_and_end_as_they_must_are_h264_or_h265() {
    let h264 = |picture: u32| {
        let unit = if picture.is_multiple_of(5) { 5 } else { 1 };
        let mut packets = vec![filled(vec![0x67], 20), filled(vec![0x68], 4)];
        packets.extend(fragments(&[0x7C], unit, 4));
        packets
    };
    assert_eq!(named(&pictures(20, h264)), ("video", Some("H264"), "payload-header"));
    let h265 = |_| {
        let mut packets = vec![filled(vec![0x40, 0x01], 20)];
        packets.extend(fragments(&[0x62, 0x01], 19, 4));
        packets
    };
    assert_eq!(named(&pictures(20, h265)), ("video", Some("H265"), "payload-header"));
}

#[test]
fn fragments_out_of_order_or_within_a_picture_s_end_are_neither() {
    let never_ends = |_| {
        let mut packets = fragments(&[0x7C], 5, 4);
        packets.pop();
        packets
    };
    assert_eq!(named(&pictures(20, never_ends)), ("video", None, "inferred"));
    let changes = |_| {
        let mut packets = fragments(&[0x7C], 5, 4);
        packets[2][1] = 1;
        packets
    };
    assert_eq!(named(&pictures(20, changes)), ("video", None, "inferred"));
    // Whole units alone could be anything.
    let whole = |_| vec![filled(vec![0x65], 900), filled(vec![0x61], 900)];
    assert_eq!(named(&pictures(20, whole)), ("video", None, "inferred"));
}

/// T, K, L, I, F counter, SEP counter, P counter.
fn jpeg_xs(last: bool, frame: u32, packet: u32) -> Vec<u8> {
    let word = 1 << 31 | u32::from(last) << 29 | (frame & 31) << 22 | packet;
    filled(word.to_be_bytes().to_vec(), 900)
}

#[test]
fn packets_that_count_within_a_picture_are_jpeg_xs() {
    let right = |picture: u32| (0..6).map(|packet| jpeg_xs(packet == 5, picture, packet)).collect();
    assert_eq!(named(&pictures(20, right)), ("video", Some("jxsv"), "payload-header"));
    let never_last = |picture: u32| (0..6).map(|packet| jpeg_xs(false, picture, packet)).collect();
    assert_eq!(named(&pictures(20, never_last)), ("video", None, "inferred"));
    let goes_on =
        |picture: u32| (0..6).map(|packet| jpeg_xs(packet == 5, picture, picture * 6 + packet)).collect();
    assert_eq!(named(&pictures(20, goes_on)), ("video", None, "inferred"));
}

/// tp, MHF, mh_id and T; priority; tile; reserved; fragment offset.
fn jpeg_2000(offset: u32, octets: usize) -> Vec<u8> {
    let mut header = vec![0x30, 0xFF, 0, 0];
    header.extend(offset.to_be_bytes());
    filled(header, octets)
}

#[test]
fn offsets_that_grow_by_what_was_carried_are_jpeg_2000() {
    let right = |_| vec![jpeg_2000(0, 900), jpeg_2000(900, 900), jpeg_2000(1800, 900), jpeg_2000(2700, 333)];
    assert_eq!(named(&pictures(20, right)), ("video", Some("jpeg2000"), "payload-header"));
    let one_short = |_| vec![jpeg_2000(0, 900), jpeg_2000(899, 900), jpeg_2000(1799, 900)];
    assert_eq!(named(&pictures(20, one_short)), ("video", None, "inferred"));
}

/// Extended sequence number, then length, row and offset of each segment.
fn rows(row: u8, lengths: &[u16], octets: usize) -> Vec<u8> {
    let mut header = vec![0, 0];
    for (place, length) in lengths.iter().enumerate() {
        header.extend(length.to_be_bytes());
        header.extend([0, row]);
        header.extend(if place + 1 == lengths.len() { [0, 0] } else { [0x80, 0] });
    }
    filled(header, octets)
}

#[test]
fn rows_that_fill_their_packets_are_uncompressed_video() {
    let right = |_| vec![rows(7, &[900], 900), rows(8, &[400, 500], 900), rows(9, &[333], 900)];
    assert_eq!(named(&pictures(20, right)), ("video", Some("raw"), "payload-header"));
    let too_long = |_| vec![rows(7, &[900], 900), rows(8, &[400, 501], 900), rows(9, &[900], 900)];
    assert_eq!(named(&pictures(20, too_long)), ("video", None, "inferred"));
    // Padding only where a picture ends.
    let gaps = |_| vec![rows(7, &[900], 900), rows(8, &[400, 400], 900), rows(9, &[900], 900)];
    assert_eq!(named(&pictures(20, gaps)), ("video", None, "inferred"));
}

/// Extended sequence number, length, ANC_Count, F and reserved bits.
fn ancillary(length: u16, count: u8, octets: usize) -> Vec<u8> {
    let mut header = vec![0, 0];
    header.extend(length.to_be_bytes());
    header.extend([count, 0, 0, 0]);
    filled(header, octets)
}

#[test]
fn ancillary_data_say_their_own_length() {
    let right = |picture: u32| {
        if picture.is_multiple_of(3) { vec![ancillary(0, 0, 0)] } else { vec![ancillary(48, 2, 48)] }
    };
    assert_eq!(named(&pictures(20, right)), ("ancillary", Some("smpte291"), "payload-header"));
    // As RFC 8331 has it: line 9 stands where rows of pictures have their offset.
    let of_a_line = |length: u16| {
        let mut packet = ancillary(length, 1, 16);
        packet.splice(8..10, [0x00, 0x90]);
        packet
    };
    assert_eq!(
        named(&pictures(40, |_| vec![of_a_line(16)])),
        ("ancillary", Some("smpte291"), "payload-header")
    );
    let wrong = |_| vec![ancillary(47, 2, 48)];
    let stream = pictures(20, wrong);
    assert_ne!(stream["kind"], "ancillary");
    // Empty packets alone keep something alive, whatever it is.
    assert_ne!(pictures(20, |_| vec![ancillary(0, 0, 0)])["kind"], "ancillary");
}

#[test]
fn a_rate_that_changes_for_good_is_an_event_and_a_short_peak_is_none() {
    let scene = |packets: &[u32]| {
        let sender = sender(1);
        let (mut scene, mut sequence) = (Scene::default(), 0_u16);
        for (second, packets) in (0_i64..).zip(packets) {
            for packet in 0..*packets {
                let at = second * 1_000_000_000 + i64::from(packet) * 1_000_000_000 / i64::from(*packets);
                scene.pass(at, sender.frame(&sender.rtp(sequence, u32::from(sequence) * 900, false, 1000)));
                sequence = sequence.wrapping_add(1);
            }
        }
        let report = judged::files(&[("scene.pcap", scene.file(60))]).value();
        let events = report["events"].as_array().unwrap().clone();
        let events = events.into_iter().filter(|event| event["kind"] == "rate-changed");
        events
            .map(|event| (event["at_s"].as_f64().unwrap(), event["text"].as_str().unwrap().to_owned()))
            .collect::<Vec<_>>()
    };
    let mut lasting = vec![50; 12];
    lasting.extend([100; 12]);
    // 1078 octets on the wire.
    assert_eq!(
        scene(&lasting),
        [(
            12.0,
            "192.168.20.1>239.20.1.1:5004 ssrc 5e000001 changes from 431.2 kb/s to 862.4 kb/s".to_owned()
        )]
    );
    let mut short = vec![50; 24];
    short[12] = 200;
    short[13] = 200;
    assert_eq!(scene(&short), []);
}
