//! Session descriptions found in the capture itself: announced by SAP, answered by RTSP or HTTP. Layouts by hand: RFC 2974
//! section 6, RFC 9293 section 3.1, RFC 2326 section 10.2 (the last two from memory).

use std::net::Ipv4Addr;

use serde_json::Value;

use crate::support::craft::frame;
use crate::support::craft::frame::Ipv4Way;
use crate::support::judged;
use crate::support::media::Scene;
use crate::support::media::Sender;
use crate::support::media::sender;

fn text_of(encoding: &str) -> String {
    format!(
        "v=0\r\no=- 7 1 IN IP4 192.168.20.1\r\ns=Stage box\r\nt=0 0\r\nm=audio 5004 RTP/AVP 97\r\n\
         c=IN IP4 239.20.1.1/15\r\na=rtpmap:97 {encoding}/48000/3\r\n"
    )
}

/// Audio that could be two channels of L24 or three of L16.
fn audio() -> Scene {
    let mut scene = Scene::default();
    scene.audio(&sender(1), 200, (48, 48_000), 288, 0);
    scene
}

fn sap(flags: u8, text: &str) -> Vec<u8> {
    let mut octets = vec![flags, 0, 0x12, 0x34, 192, 168, 20, 1];
    octets.extend(b"application/sdp\0");
    octets.extend(text.as_bytes());
    let to = Sender { group: Ipv4Addr::new(239, 255, 255, 255), ..sender(1) };
    to.frame_to(9875, &octets)
}

/// A TCP segment from port 554.
fn tcp(text: &str) -> Vec<u8> {
    let mut segment = vec![0x02, 0x2A, 0xC0, 0x00, 0, 0, 0, 1, 0, 0, 0, 2, 0x50, 0x18, 1, 0, 0, 0, 0, 0];
    segment.extend(text.as_bytes());
    let (source, destination) = (Ipv4Addr::new(192, 168, 20, 1), Ipv4Addr::new(192, 168, 20, 9));
    let way = Ipv4Way { source, destination, ttl: 64, dscp: 0, identification: 1 };
    frame::ethernet([2, 0, 0x5E, 0x10, 0, 9], sender(1).mac, 0x0800, &frame::ipv4(&way, 6, &[], &segment))
}

fn rtsp(text: &str) -> Vec<u8> {
    let length = text.len();
    tcp(&format!(
        "RTSP/1.0 200 OK\r\nCSeq: 3\r\nContent-Type: application/sdp\r\nContent-Length: {length}\r\n\r\n{text}"
    ))
}

fn told(frames: Vec<Vec<u8>>) -> Value {
    told_in(audio(), frames.into_iter().zip(0_i64..).map(|(octets, place)| (50 + place, octets)))
}

/// What is told of the stream at port 5004 where `frames` passed too, each at its millisecond.
fn told_in(mut scene: Scene, frames: impl IntoIterator<Item = (i64, Vec<u8>)>) -> Value {
    for (at, octets) in frames {
        scene.pass(at * 1_000_000, octets);
    }
    let report = judged::files(&[("scene.pcap", scene.file(65_535))]).value();
    let streams = report["streams"].as_array().unwrap();
    streams.iter().find(|stream| stream["port"] == 5004).unwrap().clone()
}

fn codec(stream: &Value) -> (&str, &str) {
    (stream["codec"].as_str().unwrap(), stream["known_by"].as_str().unwrap())
}

const INFERRED: (&str, &str) = ("L24 x2 or L16 x3", "inferred");

#[test]
fn an_announcement_tells_what_a_stream_is_and_its_deletion_does_not() {
    let stream = told(vec![sap(0x20, &text_of("L16"))]);
    assert_eq!(codec(&stream), ("L16 x3", "sdp"));
    assert_eq!(stream["session"]["name"], "Stage box");
    assert_eq!(codec(&told(vec![sap(0x24, &text_of("L16"))])), INFERRED);
    // What was announced before it was deleted held while the stream ran.
    assert_eq!(codec(&told(vec![sap(0x20, &text_of("L16")), sap(0x24, &text_of("L16"))])), ("L16 x3", "sdp"));
}

/// Events of descriptions that were deleted, of a stream with these announcements, each at its millisecond.
fn deletions(frames: &[(i64, Vec<u8>)]) -> Vec<(String, f64)> {
    let mut scene = audio();
    for (at, octets) in frames {
        scene.pass(at * 1_000_000, octets.clone());
    }
    let report = judged::files(&[("scene.pcap", scene.file(65_535))]).value();
    let events = report["events"].as_array().unwrap().iter();
    let deleted = events.filter(|event| event["kind"] == "session-deleted");
    deleted
        .map(|event| (event["text"].as_str().unwrap().to_owned(), event["at_s"].as_f64().unwrap()))
        .collect()
}

#[test]
fn a_deletion_is_an_event_where_what_it_deletes_was_heard() {
    let (announced, deleted) = (sap(0x20, &text_of("L16")), sap(0x24, &text_of("L16")));
    let told = deletions(&[(50, announced.clone()), (120, deleted.clone())]);
    assert_eq!(told.len(), 1, "{told:?}");
    assert!(told[0].0.starts_with("the description `Stage box` of "), "{told:?}");
    assert!((told[0].1 - 0.12).abs() < 1e-9, "{told:?}");
    assert_eq!(deletions(&[(120, deleted.clone())]), []);
    // Once for each announcement that is deleted.
    assert_eq!(deletions(&[(50, announced), (120, deleted.clone()), (130, deleted)]).len(), 1);
}

#[test]
fn an_answer_to_describe_tells_it_too() {
    assert_eq!(codec(&told(vec![rtsp(&text_of("L16"))])), ("L16 x3", "sdp"));
    assert_eq!(
        codec(&told(vec![tcp(&format!("DESCRIBE rtsp://x RTSP/1.0\r\n\r\n{}", text_of("L16")))])),
        INFERRED
    );
    assert_eq!(codec(&told(vec![])), INFERRED);
}

#[test]
fn the_latest_version_of_a_description_counts() {
    let later = text_of("L24").replace("- 7 1", "- 7 2").replace("/48000/3", "/48000/2");
    assert_eq!(codec(&told(vec![rtsp(&text_of("L16")), sap(0x20, &later)])), ("L24 x2", "sdp"));
}

#[test]
fn a_description_that_came_after_a_stream_had_ended_tells_it_only_where_nothing_was_said_before() {
    let other = text_of("L24").replace("- 7 1", "- 7 2").replace("/48000/3", "/48000/2");
    // Announcements are minutes apart: the first heard may have stood before.
    assert_eq!(codec(&told_in(audio(), [(1_500, sap(0x20, &text_of("L16")))])), ("L16 x3", "sdp"));
    // A version that came when the stream was over is not of it.
    let changed = [(50, sap(0x20, &text_of("L16"))), (1_500, sap(0x20, &other))];
    assert_eq!(codec(&told_in(audio(), changed)), ("L16 x3", "sdp"));
}

#[test]
fn a_stream_that_began_after_its_description_was_deleted_is_not_told_by_it() {
    let late = |frames: Vec<(i64, Vec<u8>)>| {
        let mut scene = audio();
        scene.frames.iter_mut().for_each(|frame| frame.stamp_ns += 1_000_000_000);
        told_in(scene, frames)
    };
    assert_eq!(codec(&late(vec![(50, sap(0x20, &text_of("L16")))])), ("L16 x3", "sdp"));
    let deleted = vec![(50, sap(0x20, &text_of("L16"))), (500, sap(0x24, &text_of("L16")))];
    assert_eq!(codec(&late(deleted.clone())), INFERRED);
    // Another's deletion is not of this one; what is announced anew stands again.
    let mut of_another = sap(0x24, &text_of("L16"));
    let identifier = of_another.windows(2).position(|it| it == [0x12, 0x34]).unwrap();
    of_another[identifier] = 0x13;
    assert_eq!(codec(&late(vec![(50, sap(0x20, &text_of("L16"))), (500, of_another)])), ("L16 x3", "sdp"));
    let again = [deleted, vec![(700, sap(0x20, &text_of("L16")))]].concat();
    assert_eq!(codec(&late(again)), ("L16 x3", "sdp"));
}
