//! The site file: what is wrong with one is told by line and key, what it expects is held against a capture, and what
//! is written from a good capture is a file that the same capture meets.

use std::fs;
use std::sync::Arc;

use downbeat::analysis::Settings;
use downbeat::domains::ClockId;
use downbeat::ptp::ClockIdentity;
use downbeat::site;
use downbeat::site::Direction;
use downbeat::site::PtpVersion;
use downbeat::site::WantedDomain;
use downbeat::units::BitsPerSecond;
use downbeat::units::MacAddress;
use downbeat::units::Nanos;
use serde_json::Value;

use crate::json_schema::without_ptp;
use crate::support::judged;
use crate::support::judged::in_project;

/// The example of the documentation, whole.
const EXAMPLE: &str = r#"
[site]
name = "Harbour Playhouse"
[clock]
domain = 0
version = 2
profile = "aes67"              # aes67 | st2059-2 | default | gptp | ...
leader = "02-00-5e-ff-fe-10-00-01"
next = ["02-00-5e-ff-fe-10-00-02"]
max_offset = "1us"             # what counts as adrift
[link]
speed = "1G"
keep_free = 0.25               # fraction of the link that must stay free
[[device]]
name = "stage left camera"
mac = "02:00:5e:10:00:21"      # or ip = , clock =
needs_clock = true
[[planned]]
name = "balcony cameras"
count = 2
rate = "700M"                  # wire rate each
direction = "in"               # in | out of this link
"#;

#[test]
fn the_example_is_read_with_every_value() {
    let site = site::parse(EXAMPLE).unwrap();
    assert_eq!(site.name.as_deref(), Some("Harbour Playhouse"));
    let house = ClockId::V2(ClockIdentity([2, 0, 0x5e, 0xff, 0xfe, 0x10, 0, 1]));
    let standby = ClockId::V2(ClockIdentity([2, 0, 0x5e, 0xff, 0xfe, 0x10, 0, 2]));
    assert_eq!(site.clock.domain, Some(WantedDomain::Number(0)));
    assert_eq!(site.clock.version, Some(PtpVersion::Two));
    assert_eq!(site.clock.profile.map(|profile| profile.name), Some("aes67"));
    assert_eq!((site.clock.leader, site.clock.next), (Some(house), vec![standby]));
    assert_eq!(site.clock.max_offset, Some(Nanos(1000)));
    assert_eq!(site.link.speed, Some(BitsPerSecond(1_000_000_000)));
    assert_eq!(site.link.keep_free_millionths, Some(250_000));
    let [camera] = site.devices.as_slice() else { panic!("{:?}", site.devices) };
    assert_eq!(camera.name, "stage left camera");
    assert_eq!(camera.mac, Some(MacAddress([2, 0, 0x5e, 0x10, 0, 0x21])));
    assert_eq!((camera.ip, camera.clock, camera.needs_clock, camera.line), (None, None, true, 14));
    let [planned] = site.planned.as_slice() else { panic!("{:?}", site.planned) };
    assert_eq!((planned.name.as_str(), planned.count), ("balcony cameras", 2));
    assert_eq!((planned.rate, planned.direction), (BitsPerSecond(700_000_000), Some(Direction::In)));
}

#[test]
fn an_empty_file_expects_nothing() {
    assert_eq!(site::parse("").unwrap(), site::Site::default());
}

/// What is told of a text, a line each.
fn told(text: &str) -> Vec<String> {
    site::parse(text).unwrap_err().iter().map(ToString::to_string).collect()
}

#[test]
fn a_wrong_line_is_told_with_its_number_its_key_and_the_nearest_known_one() {
    for (text, line, key, says) in [
        ("[clok]\n", 1, "clok", "the nearest known one is clock"),
        ("[clock]\ndomian = 0\n", 2, "clock.domian", "the nearest known one is clock.domain"),
        ("[clock]\nmax-offset = \"1us\"\n", 2, "clock.max-offset", "clock.max_offset"),
        ("[clock]\n\n\nmax_offset = 1\n", 4, "clock.max_offset", "give text in quotes, not a whole number"),
        ("[clock]\nmax_offset = \"1\"\n", 2, "clock.max_offset", "1us"),
        ("[clock]\ndomain = 256\n", 2, "clock.domain", "0 to 255"),
        ("[clock]\nversion = 3\n", 2, "clock.version", "1, 2, 2.0 or 2.1"),
        ("[clock]\nversion = 1\ndomain = 0\n", 3, "clock.domain", "_DFLT"),
        ("[clock]\nprofile = \"aes76\"\n", 2, "clock.profile", "the nearest known one is aes67"),
        ("[clock]\nleader = \"house\"\n", 2, "clock.leader", "02-00-5e-ff-fe-10-00-01"),
        ("[clock]\nnext = \"house\"\n", 2, "clock.next", "give a list"),
        ("[clock]\nnext = [\n\"02-00-5e-ff-fe-10-00-02\",\n7]\n", 4, "clock.next", "not a whole number"),
        ("[link]\nspeed = \"1 Gbit\"\n", 2, "link.speed", "670M"),
        ("[link]\nkeep_free = 1.5\n", 2, "link.keep_free", "0.25"),
        ("[device]\nname = \"x\"\n", 1, "device", "[[device]]"),
        ("[[device]]\nmac = \"02:00:5e:10:00:21\"\n", 1, "device.name", "missing"),
        ("[[device]]\nname = \"x\"\n", 1, "device", "mac, ip and clock"),
        ("[[device]]\nname = \"x\"\nip = \"239.0.0.1\"\n", 3, "device.ip", "group"),
        (
            "[[device]]\nname = \"x\"\nip = \"10.0.0.1\"\nneeds_clock = \"yes\"\n",
            4,
            "device.needs_clock",
            "true or false",
        ),
        ("[[planned]]\nname = \"x\"\nrate = \"0\"\n", 3, "planned.rate", "670M"),
        ("[[planned]]\nname = \"x\"\nrate = \"1M\"\ncount = 0\n", 4, "planned.count", "from 1"),
        ("[[planned]]\nname = \"x\"\nrate = \"1M\"\ndirection = \"up\"\n", 4, "planned.direction", "\"in\""),
        ("site = 1\n", 1, "site", "[site]"),
    ] {
        let told = told(text);
        let [one] = told.as_slice() else { panic!("{text:?}: {told:#?}") };
        assert!(one.starts_with(&format!("line {line}: {key}: ")), "{text:?}: {one}");
        assert!(one.contains(says), "{text:?}: {one}");
    }
}

#[test]
fn all_that_is_wrong_is_told_at_once_in_the_order_of_lines() {
    let told = told("[clock]\ndomain = -1\nversion = \"four\"\n[link]\nsped = \"1G\"\n");
    assert_eq!(told.len(), 3, "{told:#?}");
    for (one, line) in told.iter().zip(["line 2: ", "line 3: ", "line 5: "]) {
        assert!(one.starts_with(line), "{one}");
    }
}

#[test]
fn what_is_no_toml_is_told_with_its_line() {
    let told = told("[clock]\ndomain = = 0\n");
    assert!(told[0].starts_with("line 2: "), "{told:?}");
}

#[test]
fn a_device_listed_twice_is_told_with_the_line_of_the_other() {
    let entry = "[[device]]\nname = \"x\"\nmac = \"02:00:5e:10:00:21\"\n";
    let told = told(&format!("{entry}{entry}"));
    assert!(told[0].starts_with("line 4: device: line 1 lists"), "{told:?}");
}

#[test]
fn a_device_listed_twice_by_name_or_by_its_identitys_address_is_told() {
    let one = "[[device]]\nname = \"camera\"\nmac = \"02:00:5e:10:00:21\"\n";
    let rows = [
        (
            "camera",
            "ip = \"10.77.0.22\"",
            vec!["line 4: device: line 1 lists a device of the same name already"],
        ),
        (
            "lamp",
            "clock = \"02-00-5e-ff-fe-10-00-21\"",
            vec!["line 4: device: line 1 lists a device of the same MAC address already"],
        ),
        ("lamp", "clock = \"02-00-5e-ff-fe-10-00-22\"", vec![]),
    ];
    for (name, by, expected) in rows {
        let text = format!("{one}[[device]]\nname = \"{name}\"\n{by}\n");
        let told: Vec<String> =
            site::parse(&text).err().unwrap_or_default().iter().map(ToString::to_string).collect();
        assert_eq!(told, expected, "{name} {by}");
    }
}

#[test]
fn a_key_given_twice_is_named() {
    assert_eq!(told("[clock]\ndomain = 0\ndomain = 1\n"), ["line 3: domain: duplicate key"]);
}

#[test]
fn a_number_in_quotes_is_not_taken_for_the_name_of_a_domain() {
    let wrong = told("[clock]\ndomain = \"127\"\n");
    assert_eq!(wrong, ["line 2: clock.domain: write the number of a domain without quotes: domain = 127"]);
    assert!(site::parse("[clock]\ndomain = \"_ALT1\"\n").is_ok());
}

fn capture(name: &str) -> Vec<u8> {
    fs::read(in_project("captures").join(name)).unwrap()
}

const HEALTHY: &str = "playhouse-healthy.pcapng";

fn held_against(site: &str, name: &str, octets: Vec<u8>) -> Value {
    let site = site::parse(site).unwrap_or_else(|told| panic!("{told:#?}"));
    let settings = Settings { site: Some(Arc::new(site)), ..Settings::default() };
    judged::with(settings, &[(name, octets)]).value()
}

fn against(site: &str, name: &str) -> Value {
    held_against(site, name, capture(name))
}

fn ids(report: &Value) -> Vec<&str> {
    report["findings"].as_array().unwrap().iter().map(|finding| finding["id"].as_str().unwrap()).collect()
}

/// Why a rule could not be decided.
fn not_judged<'a>(report: &'a Value, id: &str) -> Option<&'a str> {
    let rules = report["not_judged"].as_array().unwrap();
    rules.iter().find(|rule| rule["id"] == id).map(|rule| rule["why"].as_str().unwrap())
}

/// The site file of a capture.
fn written(name: &str) -> String {
    judged::files(&[(name, capture(name))]).site_file
}

#[test]
fn a_good_capture_meets_the_site_file_that_is_written_from_it() {
    for name in [HEALTHY, "playhouse-v1-beside-v2.pcap"] {
        let file = written(name);
        let report = against(&file, name);
        let plain = judged::demo(name).value();
        assert_eq!(ids(&report), ids(&plain), "{name}\n{file}");
        assert_eq!(report["verdict"], plain["verdict"], "{name}\n{file}");
    }
    for (name, octets) in judged::captures_in(&in_project("captures/lab")) {
        let plain = judged::files(&[(&name, octets.clone())]);
        let report = held_against(&plain.site_file, &name, octets);
        let others: Vec<&str> = ids(&report).into_iter().filter(|id| id.starts_with("site-")).collect();
        assert!(others.is_empty(), "{name}: {others:?}\n{}", plain.site_file);
    }
}

#[test]
fn names_of_the_site_file_reach_the_report() {
    let report = against(EXAMPLE, HEALTHY);
    let devices = report["devices"].as_array().unwrap();
    let named: Vec<&Value> = devices.iter().filter(|device| !device["name"].is_null()).collect();
    let [camera] = named.as_slice() else { panic!("{named:#?}") };
    assert_eq!(camera["key"], "02:00:5e:10:00:21");
    assert_eq!((&camera["name"], &camera["named_by"]), (&"stage left camera".into(), &"site-file".into()));
    assert_eq!(report["site_domain"]["site"], "Harbour Playhouse");
    assert_eq!(report["site_domain"]["assumed"], false);
}

#[test]
fn another_leader_than_the_named_one_is_a_finding_and_the_named_one_none() {
    let leader = |last: &str| format!("[clock]\nleader = \"02-00-5e-ff-fe-10-00-{last}\"\n");
    assert_eq!(ids(&against(&leader("01"), HEALTHY)), Vec::<&str>::new());
    let report = against(&leader("02"), HEALTHY);
    assert_eq!(ids(&report), ["site-leader-differs"]);
    assert!(report["findings"][0]["evidence"][0]["frame"].is_number());
    let none = held_against(&leader("01"), "none.pcap", without_ptp());
    assert!(not_judged(&none, "site-leader-differs").is_some());
}

#[test]
fn a_leader_by_its_mac_address_is_the_same_clock() {
    assert_eq!(ids(&against("[clock]\nleader = \"02:00:5e:10:00:01\"\n", HEALTHY)), Vec::<&str>::new());
}

#[test]
fn another_clock_that_would_take_over_is_a_finding() {
    let next = |last: &str| format!("[clock]\nnext = [\"02-00-5e-ff-fe-10-00-{last}\"]\n");
    assert_eq!(ids(&against(&next("02"), HEALTHY)), Vec::<&str>::new());
    assert_eq!(ids(&against(&next("61"), HEALTHY)), ["site-next-differs"]);
    // Nobody but the leader is heard: a clock that stands by need not be.
    let quiet = "playhouse-wrong-domain.pcapng";
    let report = against(&format!("{}domain = 0\n", next("02")), quiet);
    assert!(!ids(&report).contains(&"site-next-differs"));
    assert!(not_judged(&report, "site-next-differs").is_some());
}

#[test]
fn a_domain_that_is_not_there_is_one_finding() {
    let report = against(&EXAMPLE.replace("domain = 0", "domain = 5"), HEALTHY);
    assert_eq!(ids(&report)[0], "site-domain-differs");
    assert!(!ids(&report).contains(&"wrong-domain-follower"), "{:?}", ids(&report));
    assert!(!ids(&report).contains(&"site-device-not-on-clock"), "{:?}", ids(&report));
    assert_eq!(report["verdict"], "fault");
    let none = held_against("[clock]\ndomain = 5\n", "none.pcap", without_ptp());
    assert_eq!(ids(&none), Vec::<&str>::new());
    assert!(not_judged(&none, "site-domain-differs").is_some());
}

#[test]
fn another_version_is_a_finding_and_both_beside_one_another_are_none() {
    let version = |version: &str| format!("[clock]\nversion = {version}\n");
    assert_eq!(ids(&against(&version("2"), HEALTHY)), Vec::<&str>::new());
    assert_eq!(ids(&against(&version("2.0"), HEALTHY)), Vec::<&str>::new());
    assert_eq!(ids(&against(&version("2.1"), HEALTHY)), ["site-version-differs"]);
    assert_eq!(ids(&against(&version("1"), HEALTHY)), ["site-version-differs"]);
    let both = "playhouse-v1-beside-v2.pcap";
    for number in ["1", "2"] {
        assert!(!ids(&against(&version(number), both)).contains(&"site-version-differs"), "{number}");
    }
}

#[test]
fn a_profile_that_the_domain_does_not_keep_is_a_finding() {
    let profile = |name: &str| format!("[clock]\nprofile = \"{name}\"\n");
    assert_eq!(ids(&against(&profile("aes67"), HEALTHY)), Vec::<&str>::new());
    let report = against(&profile("gptp"), HEALTHY);
    assert_eq!(ids(&report), ["site-profile-differs"]);
    assert!(!report["findings"][0]["evidence"].as_array().unwrap().is_empty());
}

fn device(name: &str, key: &str, needs_clock: bool) -> String {
    format!("[[device]]\nname = \"{name}\"\n{key}\nneeds_clock = {needs_clock}\n")
}

#[test]
fn a_listed_device_that_is_not_there_is_missing_where_others_like_it_are_seen() {
    let ghost = device("ghost light", "mac = \"02:00:5e:10:00:99\"", true);
    let report = against(&ghost, HEALTHY);
    assert_eq!(ids(&report), ["site-device-missing"]);
    assert_eq!(report["findings"][0]["strength"], "inferred");
    // The same by its address or its clock.
    for key in ["ip = \"10.20.0.99\"", "clock = \"02-00-5e-ff-fe-10-00-99\""] {
        assert_eq!(
            ids(&against(&device("ghost light", key, true), HEALTHY)),
            ["site-device-missing"],
            "{key}"
        );
    }
    // Each of the three finds a device that is there.
    for key in ["mac = \"02:00:5e:10:00:21\"", "ip = \"10.20.0.21\"", "clock = \"02-00-5e-ff-fe-10-00-21\""] {
        assert_eq!(ids(&against(&device("camera", key, true), HEALTHY)), Vec::<&str>::new(), "{key}");
    }
}

#[test]
fn no_device_is_missing_where_the_capture_could_not_have_shown_it() {
    let ghost = device("ghost light", "mac = \"02:00:5e:10:00:99\"", true);
    // What follows a boundary clock is not seen beyond it.
    let boundary = fs::read(in_project("captures/lab/boundary-br1.pcap")).unwrap();
    let behind = held_against(&ghost, "boundary-br1.pcap", boundary);
    assert!(!ids(&behind).contains(&"site-device-missing"), "{:?}", ids(&behind));
    assert!(not_judged(&behind, "site-device-missing").unwrap().contains("boundary clock"));
    // Unicast requests of others need not pass here.
    let hybrid = fs::read(in_project("captures/lab/hybrid.pcap")).unwrap();
    let unicast = held_against(&ghost, "hybrid.pcap", hybrid);
    assert!(!ids(&unicast).contains(&"site-device-missing"), "{:?}", ids(&unicast));
    // Two seconds are too few to miss somebody's requests.
    let site = Some(Arc::new(site::parse(&ghost).unwrap()));
    let until = Some(downbeat::analysis::Bound::FromStart(Nanos::from_seconds(2)));
    let range = downbeat::analysis::Range { from: None, until };
    let short = judged::with(Settings { site, range, ..Settings::default() }, &[(HEALTHY, capture(HEALTHY))]);
    assert!(not_judged(&short.value(), "site-device-missing").unwrap().contains("are needed to miss"));
    let no_ptp = held_against(&ghost, "none.pcap", without_ptp());
    assert_eq!(ids(&no_ptp), Vec::<&str>::new());
    assert!(not_judged(&no_ptp, "site-device-missing").is_some());
    assert_eq!(no_ptp["verdict"], "cannot-tell");
    // A device that needs no clock need not be heard of.
    let quiet = against(&device("lift", "mac = \"02:00:5e:10:00:99\"", false), HEALTHY);
    assert_eq!(ids(&quiet), Vec::<&str>::new());
    assert_eq!(quiet["verdict"], "sound");
    assert!(not_judged(&quiet, "site-device-missing").is_some());
}

#[test]
fn a_device_that_is_astray_or_sends_no_ptp_is_not_on_the_clock() {
    let camera = device("stage left camera", "mac = \"02:00:5e:10:00:21\"", true);
    let report = against(&format!("[clock]\ndomain = 0\n{camera}"), "playhouse-wrong-domain.pcapng");
    let own = report["findings"].as_array().unwrap().iter();
    let own: Vec<&Value> = own.filter(|finding| finding["id"] == "site-device-not-on-clock").collect();
    let [own] = own.as_slice() else { panic!("{:?}", ids(&report)) };
    assert_eq!(own["title"], "stage left camera needs the clock and is astray");
    // The core switch asks for group members in this capture and has no clock.
    let switch = device("core switch", "mac = \"02:00:5e:10:00:fe\"", true);
    let report = against(&switch, HEALTHY);
    assert_eq!(ids(&report), ["site-device-not-on-clock"]);
    assert_eq!(report["findings"][0]["strength"], "inferred");
    let switch = device("core switch", "mac = \"02:00:5e:10:00:fe\"", false);
    assert_eq!(ids(&against(&switch, HEALTHY)), Vec::<&str>::new());
}

/// What is not shown is not accepted, and is no fault either.
#[test]
fn a_device_that_needs_the_clock_and_is_not_shown_to_have_it_makes_the_verdict_cannot_tell() {
    let standby = device("standby clock", "mac = \"02:00:5e:10:00:02\"", true);
    let report = against(&standby, HEALTHY);
    assert_eq!(ids(&report), Vec::<&str>::new());
    assert_eq!(report["verdict"], "cannot-tell");
    assert!(not_judged(&report, "site-device-not-on-clock").unwrap().contains("standby clock"));
}

/// Seven devices of the capture answer what their offset is.
#[test]
fn max_offset_is_what_counts_as_adrift() {
    let limit = |limit: &str| format!("[clock]\nmax_offset = \"{limit}\"\n");
    let wide = against(&limit("1ms"), HEALTHY);
    assert_eq!(ids(&wide), Vec::<&str>::new());
    assert!(not_judged(&wide, "site-offset-exceeded").unwrap().contains("do not show their time"));
    assert_eq!(wide["verdict"], "sound", "some show it");
    let narrow = against(&limit("1ns"), HEALTHY);
    let devices = narrow["devices"].as_array().unwrap();
    let adrift: Vec<&Value> = devices.iter().filter(|device| device["state"] == "adrift").collect();
    let told: Vec<&str> = narrow["findings"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|finding| finding["id"] == "site-offset-exceeded")
        .map(|finding| finding["device"].as_str().unwrap())
        .collect();
    assert!(!told.is_empty());
    for device in adrift {
        assert!(told.contains(&device["key"].as_str().unwrap()), "{device}");
    }
    for key in told {
        let device = devices.iter().find(|device| device["key"] == key).unwrap();
        assert!(device["offset_ns"]["median"].as_i64().unwrap().abs() > 1, "{device}");
    }
}

/// Whatever a file holds, it is read or told wrong.
fn bears(text: &str) {
    if let Err(told) = site::parse(text) {
        assert!(!told.is_empty());
        let lines = text.lines().count() + 1;
        assert!(told.iter().all(|problem| (1..=lines).contains(&problem.line)), "{told:?}");
    }
}

#[test]
fn every_cut_of_a_file_is_borne() {
    for end in (0..=EXAMPLE.len()).filter(|end| EXAMPLE.is_char_boundary(*end)) {
        bears(&EXAMPLE[..end]);
    }
    bears(&"[".repeat(100_000));
    bears(&format!("a = {}", "[".repeat(100_000)));
    bears(&format!("[clock]\nleader = \"{}\"", "ü-".repeat(8)));
    bears("\u{feff}[clock]\ndomain = 0\n");
}

proptest::proptest! {
    #[test]
    fn whatever_stands_in_a_file_is_borne(text in "\\PC{0,200}", at in 0..EXAMPLE.len(), with in "\\PC{0,6}") {
        bears(&text);
        if EXAMPLE.is_char_boundary(at) {
            let (before, after) = EXAMPLE.split_at(at);
            let rest: String = after.chars().skip(3).collect();
            bears(&format!("{before}{with}{rest}"));
        }
    }
}

/// Names come from a file that somebody else may have written.
#[test]
fn names_cannot_drive_the_terminal() {
    let name = "\\u001b[2J\\u202ename";
    let standby = device(name, "mac = \"02:00:5e:10:00:02\"", true);
    let ghost = device(&format!("{name} ghost"), "mac = \"02:00:5e:10:00:99\"", true);
    for file in [&standby, &ghost, &format!("[site]\nname = \"{name}\"\n")] {
        let site = Some(Arc::new(site::parse(file).unwrap()));
        let judged = judged::with(Settings { site, ..Settings::default() }, &[(HEALTHY, capture(HEALTHY))]);
        assert!(judged.text.contains("\\u{1b}[2J\\u{202e}name"), "{}", judged.text);
        assert!(!judged.text.contains(['\u{1b}', '\u{202e}']), "{}", judged.text);
        assert!(!judged.site_file.contains(['\u{1b}', '\u{202e}']), "{}", judged.site_file);
        site::parse(&judged.site_file).unwrap();
    }
}

/// The audio bridge has the time of version 1 from version 2.
#[test]
fn the_domain_that_the_sites_leader_has_its_time_from_is_not_astray() {
    let both = "playhouse-v1-beside-v2.pcap";
    let v1 = "[clock]\nversion = 1\ndomain = \"_DFLT\"\nleader = \"02:00:5e:10:00:71\"\n";
    let rack = device("amplifier rack", "mac = \"02:00:5e:10:00:81\"", true);
    let report = against(&format!("{v1}{rack}"), both);
    assert_eq!(report["site_domain"]["keys"], serde_json::json!(["v1 _DFLT"]));
    assert!(!ids(&report).contains(&"wrong-domain-follower"), "{:?}", ids(&report));
    assert_eq!(ids(&report), ids(&judged::demo(both).value()));
    // A device of version 2 alone, and so without the domain that the file names.
    let stray = "playhouse-wrong-domain.pcapng";
    let report = against("[clock]\ndomain = 127\n", stray);
    assert!(ids(&report).contains(&"wrong-domain-follower"), "{:?}", ids(&report));
}
