//! Names from packets and files cannot drive the terminal that shows the report, nor break the JSON.

use std::net::Ipv4Addr;

use crate::support::capture_writer::Order;
use crate::support::capture_writer::PcapFile;
use crate::support::capture_writer::PcapKind;
use crate::support::craft::frame;
use crate::support::craft::ptp_v1;
use crate::support::judged;

/// Clears a screen, breaks a line, rings, and turns the writing direction.
const SUBDOMAIN: [u8; 16] = *b"A\x1b[2J\n\x07\r\xe2\x80\xaeB\0\0\0\0";
const IDENTIFIER: [u8; 4] = *b"\x1b[7m";
const FILE: &str = "ring\u{1b}]0;x\u{7}\nSOUND: all is well\u{202e}\u{200f}\u{9b}1m.pcap";
const PTP_GROUP: Ipv4Addr = Ipv4Addr::new(224, 0, 1, 129);

fn hostile_capture() -> Vec<u8> {
    let uuid = [0x02, 0, 0x5e, 0x10, 0, 0x71];
    let clock = ptp_v1::ClockData { uuid, stratum: 2, identifier: IDENTIFIER, variance: -4000 };
    let way = frame::Ipv4Way {
        source: Ipv4Addr::new(10, 20, 0, 71),
        destination: PTP_GROUP,
        ttl: 1,
        dscp: 46,
        identification: 1,
    };
    let mut file = PcapFile::new(Order::Little, PcapKind::Nanoseconds);
    for sequence in 0..30 {
        let header = ptp_v1::Header { subdomain: SUBDOMAIN, source: uuid, sequence, flags: 0 };
        let body = ptp_v1::SyncBody {
            origin_ns: 1_791_055_717_000_000_000,
            grandmaster_sequence: sequence,
            grandmaster_preferred: true,
            ..ptp_v1::SyncBody::of(clock)
        };
        let packet = frame::udp(&way, 319, 319, &ptp_v1::sync(&header, &body));
        let octets = frame::ethernet(frame::group_mac(PTP_GROUP), uuid, 0x0800, &packet);
        file.record(1_791_055_680 + u32::from(sequence), 0, &octets);
    }
    // Cut in the last record, so that the file's name shows up with its damage as well.
    let length = file.octets.len() - 10;
    file.octets.truncate(length);
    file.octets
}

/// Control characters, and those that turn the direction of writing (Unicode Bidi_Control).
fn is_hostile(c: char) -> bool {
    (c.is_control() && c != '\n')
        || matches!(c, '\u{61c}' | '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

#[test]
fn hostile_names_reach_the_terminal_as_escapes() {
    for several in [false, true] {
        let mut files = vec![(FILE, hostile_capture())];
        if several {
            files.push(("second\u{1b}[31m.pcap", hostile_capture()));
            files.push(("text\u{1b}[31m", b"no capture".to_vec()));
        }
        let judged = judged::files(&files);
        let hostile: Vec<char> = judged.text.chars().filter(|c| is_hostile(*c)).collect();
        assert!(hostile.is_empty(), "{hostile:?} in {:?}", judged.text);
        assert!(!judged.text.lines().any(|line| line.starts_with("SOUND: all is well")), "{}", judged.text);
        assert!(judged.text.contains("\\x1b[2J"), "the subdomain is shown: {}", judged.text);
        let document = judged.value();
        let names: Vec<&str> = document["captures"]
            .as_array()
            .unwrap()
            .iter()
            .filter_map(|file| file["file"].as_str())
            .collect();
        assert!(names.contains(&FILE), "the JSON keeps the name as it is: {names:?}");
        assert!(!document["domains"].as_array().unwrap().is_empty());
    }
}

#[test]
fn hostile_names_leave_the_json_without_control_characters() {
    let judged = judged::files(&[(FILE, hostile_capture())]);
    let control: Vec<char> = judged.json.chars().filter(|c| c.is_ascii_control() && *c != '\n').collect();
    assert!(control.is_empty(), "{control:?}");
}

#[test]
fn hostile_names_on_the_command_line_reach_standard_error_as_escapes() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join(FILE.replace('/', ""));
    std::fs::write(&path, b"no capture").unwrap();
    let mut command = assert_cmd::Command::cargo_bin("downbeat").unwrap();
    let output = command.arg("check").arg(&path).output().unwrap();
    assert_eq!(output.status.code(), Some(2));
    let text = String::from_utf8(output.stderr).unwrap();
    assert!(!text.chars().any(is_hostile), "{text:?}");
}
