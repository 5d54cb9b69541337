//! Rate arithmetic and group addresses against worked-out values.

use downbeat::rtp::payload::LinearAudio;
use downbeat::rtp::payload::linear_audio_candidates;
use downbeat::rtp::payload::linear_audio_octets;
use downbeat::statistics::Rate;
use downbeat::statistics::RateWidth;
use downbeat::units::BitsPerSecond;
use downbeat::units::CaptureTime;
use downbeat::units::Nanos;
use downbeat::units::multicast_mac;
use downbeat::units::wire_bits;
use downbeat::units::wire_octets;
use serde_json::Value;

const RATES: &str = include_str!("../data/check-values/rates.json");
const MULTICAST: &str = include_str!("../data/check-values/multicast-mac.json");

fn rows<'a>(document: &'a Value, key: &str, count: usize) -> &'a [Value] {
    let rows = document[key].as_array().unwrap();
    assert_eq!(rows.len(), count, "{key}");
    rows
}

fn number(row: &Value, key: &str) -> u64 {
    row[key].as_u64().unwrap_or_else(|| panic!("{key} of {row}"))
}

fn small(row: &Value, key: &str) -> u32 {
    u32::try_from(number(row, key)).unwrap()
}

fn kilobits(row: &Value, key: &str) -> BitsPerSecond {
    BitsPerSecond((row[key].as_f64().unwrap() * 1000.0).round() as u64)
}

/// A second of a stream, and the packet that begins the next one, so that the mean spans a whole second.
fn a_second(octets: u64, packet_time_us: u64) -> Rate {
    let mut rate = Rate::default();
    let packets = 1_000_000 / packet_time_us;
    for packet in 0..=packets {
        rate.push(CaptureTime(i64::try_from(packet * packet_time_us * 1000).unwrap()), octets);
    }
    rate
}

#[test]
fn audio_streams_have_the_rates_that_were_worked_out() {
    let document: Value = serde_json::from_str(RATES).unwrap();
    for row in rows(&document, "audio", 16) {
        let id = &row["id"];
        let frame = small(row, "pcapFrame");
        assert_eq!(wire_octets(frame, false), number(row, "wireOctets"), "{id}");
        assert_eq!(wire_octets(frame + 4, true), number(row, "wireOctets"), "{id}");
        assert_eq!(wire_bits(frame, false), number(row, "wireOctets") * 8, "{id}");
        let format = LinearAudio {
            sample_octets: u8::try_from(number(row, "bits") / 8).unwrap(),
            channels: u16::try_from(number(row, "channels")).unwrap(),
        };
        let samples = small(row, "samplesPerPacket");
        let payload = number(row, "rtpPayload");
        assert_eq!(linear_audio_octets(samples, format), payload, "{id}");
        let candidates = linear_audio_candidates(usize::try_from(payload).unwrap(), samples);
        assert!(candidates.contains(&format), "{id}: {candidates:?}");
        let packet_time = number(row, "packetTime_us");
        for (octets, key) in [
            (wire_octets(frame, false), "wire_kbps"),
            (u64::from(frame), "pcapFrame_kbps"),
            (payload, "payload_kbps"),
        ] {
            let rate = a_second(octets, packet_time);
            assert_eq!(rate.mean(), Some(kilobits(row, key)), "{id} {key}");
            // No peak differs from the mean: every packet time divides the narrowest window.
            for width in RateWidth::ALL {
                assert_eq!(rate.peak(width).unwrap().rate, kilobits(row, key), "{id} {key} {width:?}");
            }
        }
    }
}

#[test]
fn video_streams_have_the_rates_that_were_worked_out() {
    let document: Value = serde_json::from_str(RATES).unwrap();
    for row in rows(&document, "video", 7) {
        let id = &row["id"];
        let packets = number(row, "packetsPerFrame");
        let frame_octets = match row.get("wireOctets") {
            Some(wire) => {
                assert_eq!(wire_octets(small(row, "pcapFrame"), false), wire.as_u64().unwrap(), "{id}");
                packets * wire.as_u64().unwrap()
            }
            None => blocks_frame_octets(row),
        };
        // Over 1001 × 60 frames, which whole seconds hold whatever the frame rate.
        let (numerator, denominator) = frame_rate(row);
        let seconds = i64::try_from(denominator * 60).unwrap();
        let rate =
            BitsPerSecond::from_octets(frame_octets * numerator * 60, Nanos::from_seconds(seconds)).unwrap();
        let expected = row["wire_Mbps"].as_f64().unwrap() * 1e6;
        assert!((rate.0 as f64 - expected).abs() <= expected * 1e-9, "{id}: {rate:?}, {expected}");
    }
}

fn frame_rate(row: &Value) -> (u64, u64) {
    // The row of blocks tells its rate in the name only.
    let text = row.get("frameRate").map_or("60000/1001", |rate| rate.as_str().unwrap());
    let (numerator, denominator) = text.split_once('/').unwrap_or((text, "1"));
    (numerator.parse().unwrap(), denominator.parse().unwrap())
}

/// Packets of 1260 octets with one segment header of 6 octets or two, and a shorter last one: 12 RTP, 2 extended
/// sequence number, 8 UDP, 20 IPv4, 14 Ethernet.
fn blocks_frame_octets(row: &Value) -> u64 {
    let (packets, double) = (number(row, "packetsPerFrame"), number(row, "packetsWithTwoSRD"));
    let headers = 12 + 2 + 6 + 8 + 20 + 14;
    let one = |payload: u32, segments: u32| wire_octets(payload + headers + 6 * (segments - 1), false);
    let last = one(small(row, "lastPacketOctets"), 1);
    (packets - 1 - double) * one(1260, 1) + double * one(1260, 2) + last
}

#[test]
fn ptp_frames_take_the_octets_that_were_worked_out() {
    let document: Value = serde_json::from_str(RATES).unwrap();
    for row in rows(&document, "ptpFrameSizes", 10) {
        assert_eq!(wire_octets(small(row, "pcapFrame"), false), number(row, "wireOctets"), "{row}");
    }
}

#[test]
fn groups_have_the_mac_addresses_that_were_worked_out() {
    let document: Value = serde_json::from_str(MULTICAST).unwrap();
    let mac = |ip: &Value| multicast_mac(ip.as_str().unwrap().parse().unwrap()).unwrap().to_string();
    for row in rows(&document, "mapping", 21) {
        assert_eq!(mac(&row["ip"]), row["mac"].as_str().unwrap(), "{row}");
    }
    let ambiguity = &document["ambiguity"];
    for ip in rows(ambiguity, "ips", 32) {
        assert_eq!(mac(ip), ambiguity["mac"].as_str().unwrap(), "{ip}");
    }
}
