//! A report that can be passed on: nothing of the site is left in any output, and everything else is.

use std::collections::BTreeSet;
use std::fs;
use std::net::IpAddr;
use std::net::Ipv4Addr;
use std::path::Path;
use std::path::PathBuf;
use std::process::Command;

use downbeat::capture::Reader;
use downbeat::frame;
use serde_json::Value;

use crate::support::craft::discovery;
use crate::support::craft::discovery::Speaker;
use crate::support::craft::frame as craft;
use crate::support::craft::frame::Ipv4Way;
use crate::support::craft::ptp_v1;
use crate::support::judged::DEMO;
use crate::support::judged::in_project;
use crate::support::media::Scene;
use crate::support::media::Sender;
use crate::support::media::sender;

const KEY: &str = "a key for tests alone";
/// In every name of the made capture, the site file, the folders and the files.
const MARK: &str = "zanzibar";

fn run(folder: &Path, arguments: &[&str]) -> String {
    let output = Command::new(assert_cmd::cargo::cargo_bin("downbeat"))
        .args(arguments)
        .current_dir(folder)
        .env("NO_COLOR", "1")
        .output()
        .unwrap();
    assert!(output.status.code().is_some_and(|code| code != 2), "{arguments:?}: {output:?}");
    String::from_utf8(output.stdout).unwrap()
}

/// What each command writes of a capture, with files that it writes; by what was asked.
fn outputs(capture: &str, site: &[&str], folder: &Path) -> Vec<(String, String)> {
    let asked: [&[&str]; 10] = [
        &["check"],
        &["check", "--format", "json"],
        &["check", "--format", "html"],
        &["timeline"],
        &["timeline", "--format", "json"],
        &["streams"],
        &["fit", "--add", "zanzibar cameras=8Mx2"],
        &["fit", "--format", "json", "--add", "zanzibar cameras=8Mx2"],
        &["site"],
        &["export", "--to", "tables", "--write", "csv,parquet,svg", "--format", "json"],
    ];
    let mut written = Vec::new();
    for asked in asked {
        let site = if asked == ["site"] { &[][..] } else { site };
        let arguments = [asked, &[capture, "--anonymise", "--anonymise-key", KEY], site].concat();
        written.push((asked.join(" "), run(folder, &arguments)));
    }
    let compare = ["compare", capture, capture, "--anonymise", "--format", "json"];
    written.push(("compare".to_owned(), run(folder, &compare)));
    for entry in fs::read_dir(folder.join("tables")).unwrap() {
        let path = entry.unwrap().path();
        let text = String::from_utf8_lossy(&fs::read(&path).unwrap()).into_owned();
        written.push((path.file_name().unwrap().to_str().unwrap().to_owned(), text));
    }
    fs::remove_dir_all(folder.join("tables")).unwrap();
    assert!(written.len() > 30);
    written
}

/// Addresses that standards give out, which are everybody's.
fn is_everybodys(address: IpAddr) -> bool {
    match address {
        IpAddr::V4(address) => {
            let [a, b, c, d] = address.octets();
            (a, b) == (224, 0) && c < 2
                || a == 0
                || [a, b, c, d] == [255; 4]
                || [a, b, c, d] == [239, 255, 255, 255]
        }
        IpAddr::V6(address) => {
            address.is_unspecified() || address.segments()[1..7] == [0; 6] && address.is_multicast()
        }
    }
}

fn hex(octets: &[u8], between: &str) -> String {
    octets.iter().map(|octet| format!("{octet:02x}")).collect::<Vec<_>>().join(between)
}

/// The addresses and identities of all frames, as this test's own reading of them finds them, in every form of writing.
fn originals(file: &[u8]) -> BTreeSet<String> {
    let mut found = BTreeSet::new();
    let mut reader = Reader::new(file).unwrap();
    while let Some(record) = reader.next_record().unwrap() {
        let octets = record.octets;
        for mac in [&octets[0..6], &octets[6..12]] {
            let is_standard = [[0x01, 0x80], [0x01, 0x1B], [0x01, 0x00], [0x33, 0x33], [0xFF, 0xFF]];
            if is_standard.iter().any(|first| mac.starts_with(first)) {
                continue;
            }
            found.extend([hex(mac, ":"), hex(mac, "-"), hex(mac, "")]);
            found.insert(hex(&[&mac[..3], &[0xFF, 0xFE], &mac[3..]].concat(), "-"));
            found.insert(hex(&[&mac[..3], &[0xFF, 0xFE], &mac[3..]].concat(), ""));
        }
        if let Some(network) = frame::decode(&record).network {
            found.extend(
                [network.source, network.destination]
                    .into_iter()
                    .filter(|ip| !is_everybodys(*ip))
                    .map(|ip| ip.to_string()),
            );
        }
    }
    found
}

/// Whether `word` stands in `text` and is not part of a longer number.
fn holds(text: &str, word: &str) -> bool {
    let goes_on = |c: Option<char>| c.is_some_and(|c| c.is_ascii_hexdigit() || c == '.');
    text.match_indices(word).any(|(at, _)| {
        let after = &text[at + word.len()..];
        let is_dot_and_more = after.starts_with('.') && after[1..].starts_with(|c: char| c.is_ascii_digit());
        let goes_on_after = after.starts_with(|c: char| c.is_ascii_hexdigit()) || is_dot_and_more;
        !goes_on(text[..at].chars().next_back()) && !goes_on_after
    })
}

fn nothing_is_left(written: &[(String, String)], originals: &BTreeSet<String>) {
    assert!(originals.len() > 10, "{originals:?}");
    for (what, text) in written {
        let small = text.to_lowercase();
        assert!(!small.contains(MARK), "{what}: {}", around(&small, MARK));
        for original in originals {
            assert!(!holds(&small, original), "{what}: {original} in {}", around(&small, original));
        }
    }
}

fn around(text: &str, word: &str) -> String {
    let at = text.find(word).unwrap();
    text.chars().skip(text[..at].chars().count().saturating_sub(80)).take(200).collect()
}

/// A folder and a file in it whose names are the site's.
fn placed(file: &[u8]) -> (tempfile::TempDir, PathBuf) {
    let folder = tempfile::tempdir().unwrap();
    let inner = folder.path().join("Zanzibar Playhouse");
    fs::create_dir(&inner).unwrap();
    fs::write(inner.join("zanzibar.pcap"), file).unwrap();
    (folder, inner)
}

/// A network whose every name says where it is.
fn named() -> Vec<u8> {
    let mut scene = Scene::default();
    scene.audio(&sender(1), 400, (48, 48_000), 288, 0);
    scene.audio(
        &Sender { ssrc: 9, group: Ipv4Addr::new(239, 0, 0, 9), ..sender(2) },
        400,
        (48, 48_000),
        288,
        0,
    );
    let speaker = |number: u8| Speaker { mac: sender(number).mac, ip: sender(number).ip };
    let description = "v=0\r\no=zanzibar-user zanzibar-id 1 IN IP4 zanzibar.example\r\ns=Zanzibar stage box\r\nt=0 0\r\n\
        a=group:DUP zanzibar-a zanzibar-b\r\nm=audio 5004 RTP/AVP 97\r\nc=IN IP4 239.20.1.1/15\r\n\
        a=rtpmap:97 zanzibar24/48000/2\r\na=fmtp:97 zanzibar=zanzibar\r\na=mid:zanzibar-a\r\n\
        a=ts-refclk:ptp=IEEE1588-2008:02-00-5E-FF-FE-10-00-63:0\r\na=mediaclk:zanzibar\r\n\
        m=zanzibar 5006 zanzibar zanzibar\r\na=ts-refclk:ntp=zanzibar.example\r\na=ts-refclk:zanzibar\r\n";
    let mut sap = vec![0x20, 0, 0x12, 0x34, 192, 168, 20, 1];
    sap.extend(b"application/sdp\0");
    sap.extend(description.as_bytes());
    let announcer = Sender { group: Ipv4Addr::new(239, 255, 255, 255), ..sender(1) };
    let absent = description.replace("239.20.1.1", "239.20.9.9").replace("zanzibar-id", "zanzibar-other");
    let mut other = vec![0x20, 0, 0x12, 0x35, 192, 168, 20, 1];
    other.extend(b"application/sdp\0");
    other.extend(absent.as_bytes());
    let frames = [
        discovery::mdns_host(speaker(1), "zanzibar-box", 120),
        discovery::mdns_service(speaker(2), "Zanzibar desk", "_rtsp._tcp", "zanzibar-desk"),
        discovery::lldp_switch(
            [2, 0, 0x5E, 0x10, 0, 0xFE],
            [2, 0, 0x5E, 0x10, 0, 0xFD],
            "zanzibar core",
            "zanzibar 1",
            "to zanzibar",
        ),
        discovery::dhcp_request(speaker(3), "zanzibar-camera"),
        discovery::arp_request(speaker(3), Ipv4Addr::new(192, 168, 20, 1)),
        announcer.frame_to(9875, &sap),
        announcer.frame_to(9875, &other),
    ];
    for (index, octets) in (0_i64..).zip(frames) {
        scene.pass(100_000_000 + index * 1_000_000, octets);
    }
    old_clock(&mut scene);
    scene.file(65_535)
}

/// A clock of version 1 in a subdomain, and with an identifier, that somebody thought of.
fn old_clock(scene: &mut Scene) {
    let mac = [2, 0, 0x5E, 0x10, 0, 7];
    let data = ptp_v1::ClockData { uuid: mac, stratum: 2, identifier: *b"ZANZ", variance: -4000 };
    for sequence in 0..20_u16 {
        let at = i64::from(sequence) * 10_000_000;
        let head =
            ptp_v1::Header { subdomain: *b"zanzibar\0\0\0\0\0\0\0\0", source: mac, sequence, flags: 0 };
        let body = ptp_v1::SyncBody {
            origin_ns: 1_700_000_000_000_000_000 + at,
            grandmaster_sequence: sequence,
            ..ptp_v1::SyncBody::of(data)
        };
        let group = Ipv4Addr::new(224, 0, 1, 129);
        let way = Ipv4Way {
            source: Ipv4Addr::new(192, 168, 20, 7),
            destination: group,
            ttl: 1,
            dscp: 0,
            identification: 0,
        };
        let packet = craft::udp(&way, 319, 319, &ptp_v1::sync(&head, &body));
        scene.pass(at, craft::ethernet(craft::group_mac(group), mac, 0x0800, &packet));
    }
}

const SITE: &str = r#"
[site]
name = "Zanzibar Playhouse"
[clock]
domain = 0
leader = "02-00-5e-ff-fe-10-00-44"
[[device]]
name = "zanzibar left"
ip = "192.168.20.2"
needs_clock = true
[[device]]
name = "zanzibar right"
mac = "02:00:5e:10:00:55"
needs_clock = true
[[planned]]
name = "zanzibar cameras"
count = 2
rate = "8M"
"#;

#[test]
fn no_name_of_any_source_is_left_anywhere() {
    let file = named();
    let (_folder, inner) = placed(&file);
    fs::write(inner.join("zanzibar.toml"), SITE).unwrap();
    let plain = run(&inner, &["check", "--format", "json", "zanzibar.pcap", "--site", "zanzibar.toml"]);
    // Else there would be nothing to take away.
    let names = [
        "Zanzibar stage box",
        "zanzibar core",
        "to zanzibar",
        "zanzibar left",
        "zanzibar right",
        "ZANZ",
        "zanzibar24",
        "v1 zanzibar",
        "zanzibar.pcap",
        "Zanzibar Playhouse",
    ];
    let shown = names.into_iter().filter(|name| plain.contains(name)).count();
    assert!(shown >= 6, "{shown} names in the plain report: {plain}");
    let mut originals = originals(&file);
    for named in [
        "02-00-5e-ff-fe-10-00-44",
        "02:00:5e:10:00:55",
        "02-00-5e-ff-fe-10-00-63",
        "239.20.9.9",
        "02:00:5e:10:00:fd",
    ] {
        originals.insert(named.to_owned());
    }
    let written = outputs("zanzibar.pcap", &["--site", "zanzibar.toml"], &inner);
    nothing_is_left(&written, &originals);
    let json = &written[1].1;
    let stand_ins =
        ["\"name-", "\"session-", "\"site-", "\"port-", "zone-", "capture-1", "\"identifier\": \"other\""];
    let shown = stand_ins.into_iter().filter(|instead| json.contains(instead)).count();
    assert!(shown >= 4, "{shown} kinds of stand-ins: {json}");
    assert!(!json.to_lowercase().contains("zanz"));
}

#[test]
fn no_address_of_a_demo_capture_is_left_anywhere() {
    for name in DEMO {
        let octets = fs::read(in_project("captures").join(name)).unwrap();
        let (_folder, inner) = placed(&octets);
        println!("{name}");
        nothing_is_left(&outputs("zanzibar.pcap", &[], &inner), &originals(&octets));
    }
}

/// Texts of a document that hold no address, by the place where they stand; and everything that is no text.
fn alike(plain: &Value, veiled: &Value, place: &str, differing: &mut usize) {
    match (plain, veiled) {
        (Value::Array(ours), Value::Array(theirs)) => {
            assert_eq!(ours.len(), theirs.len(), "{place}");
            for (index, (one, other)) in ours.iter().zip(theirs).enumerate() {
                alike(one, other, &format!("{place}/{index}"), differing);
            }
        }
        (Value::Object(ours), Value::Object(theirs)) => {
            assert_eq!(ours.keys().collect::<Vec<_>>(), theirs.keys().collect::<Vec<_>>(), "{place}");
            for (key, one) in ours {
                alike(one, &theirs[key], &format!("{place}/{key}"), differing);
            }
        }
        (Value::String(one), Value::String(other)) if one != other => {
            *differing += 1;
            // Only what may hold an address or a name differs.
            let is_word = one.chars().all(|c| c.is_ascii_lowercase() || c == '_');
            let is_name = ["name-", "session-", "port-"].iter().any(|kind| other.contains(kind));
            assert!(
                is_name || !is_word && one.contains(['.', ':', '-']),
                "{place}: {one:?} became {other:?}"
            );
        }
        _ => assert_eq!(plain, veiled, "{place}"),
    }
}

#[test]
fn everything_but_addresses_and_names_is_as_it_was() {
    for name in DEMO {
        let path = in_project("captures").join(name);
        let path = path.to_str().unwrap();
        let folder = tempfile::tempdir().unwrap();
        let json = |more: &[&str]| -> Value {
            let arguments = [&["check", "--format", "json", path][..], more].concat();
            serde_json::from_str(&run(folder.path(), &arguments)).unwrap()
        };
        let plain = json(&[]);
        let veiled = json(&["--anonymise", "--anonymise-key", KEY]);
        let mut differing = 0;
        alike(&plain, &veiled, name, &mut differing);
        assert!(differing > 50, "{name}: {differing}");
        // One key, one set of stand-ins; without one each run draws its own.
        assert_eq!(veiled, json(&["--anonymise", "--anonymise-key", KEY]));
        let (one, other) = (json(&["--anonymise"]), json(&["--anonymise"]));
        assert_ne!(one["devices"][0]["key"], other["devices"][0]["key"]);
        assert_ne!(one["devices"][0]["key"], veiled["devices"][0]["key"]);
    }
}

#[test]
fn what_belonged_together_still_does() {
    let folder = tempfile::tempdir().unwrap();
    let path = in_project("captures/playhouse-two-leaders.pcapng");
    let arguments = ["check", "--format", "json", path.to_str().unwrap(), "--anonymise"];
    let report: Value = serde_json::from_str(&run(folder.path(), &arguments)).unwrap();
    let devices = report["devices"].as_array().unwrap();
    let keys: BTreeSet<&str> = devices.iter().map(|device| device["key"].as_str().unwrap()).collect();
    assert_eq!(keys.len(), devices.len());
    for finding in report["findings"].as_array().unwrap() {
        if let Some(device) = finding["device"].as_str() {
            assert!(keys.contains(device), "{device}");
        }
    }
    for device in devices {
        let mac = device["macs"][0].as_str().unwrap().replace(':', "-");
        let clock = device["clocks"][0].as_str().unwrap();
        assert_eq!(clock.replace("-ff-fe-", "-"), mac);
        let ips = device["ips"].as_array().unwrap().iter().map(|ip| ip.as_str().unwrap().parse::<Ipv4Addr>());
        assert!(ips.into_iter().all(|ip| ip.unwrap().is_private()));
    }
}

#[test]
fn what_cannot_be_done_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let path = in_project("captures/playhouse-multicast.pcapng");
    let path = path.to_str().unwrap();
    let refused = |arguments: &[&str]| {
        let output = Command::new(assert_cmd::cargo::cargo_bin("downbeat"))
            .args(arguments)
            .current_dir(folder.path())
            .output()
            .unwrap();
        assert_eq!(output.status.code(), Some(2), "{arguments:?}");
        assert!(output.stdout.is_empty());
        String::from_utf8(output.stderr).unwrap()
    };
    run(folder.path(), &["check", "--format", "json", path, "--out", "saved.json"]);
    let why = refused(&["compare", "saved.json", path, "--anonymise"]);
    assert!(why.contains("a saved report, whose names are in it already"), "{why}");
    let why = refused(&["check", path, "--anonymise", "--anonymise-key", "too short"]);
    assert!(why.contains("give 16 characters or more"), "{why}");
    let why = refused(&["check", path, "--anonymise-key", KEY]);
    assert!(why.contains("--anonymise"), "{why}");
    // One that is no capture is told, and not what is in it.
    fs::write(folder.path().join("zanzibar.txt"), "zanzibar").unwrap();
    let report = run(
        folder.path(),
        &["check", "--format", "json", path, "zanzibar.txt", "zanzibar.pcap", "--anonymise"],
    );
    assert!(!report.contains(MARK) && !report.contains(&hex(b"zanz", " ")), "{report}");
    assert_eq!(serde_json::from_str::<Value>(&report).unwrap()["unreadable"].as_array().unwrap().len(), 2);
}

#[test]
fn a_device_is_asked_for_by_its_own_address() {
    let folder = tempfile::tempdir().unwrap();
    let path = in_project("captures/playhouse-two-leaders.pcapng");
    let path = path.to_str().unwrap();
    let plain: Value =
        serde_json::from_str(&run(folder.path(), &["check", "--format", "json", path])).unwrap();
    let leader = plain["domains"][0]["leader"].as_str().unwrap();
    let count = |more: &[&str]| {
        let arguments = [&["timeline", "--format", "json", path, "--device", leader][..], more].concat();
        let timeline: Value = serde_json::from_str(&run(folder.path(), &arguments)).unwrap();
        timeline["events"].as_array().unwrap().len()
    };
    assert!(count(&[]) > 0);
    assert_eq!(count(&[]), count(&["--anonymise"]));
}
