//! The demo captures under `captures/` are what the generator makes, octet for octet, and hold nothing but the
//! invented theatre. `DOWNBEAT_WRITE_CAPTURES=1 cargo test demo_captures` writes them anew.
use std::collections::BTreeMap;
use std::fs;
use std::io::Read;
use std::io::Write;
use std::path::Path;
use std::path::PathBuf;

use crate::support::craft::playhouse::evenings;
use crate::support::craft::simulation::World;
use crate::support::craft::truth::truth as truth_of;

const ALL_CAPTURES_AT_MOST: u64 = 8 * 1024 * 1024;
const HOW: &str = "regenerate with: DOWNBEAT_WRITE_CAPTURES=1 cargo test demo_captures";

fn captures() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("captures")
}

/// Every demo file by name, as it must be before compression, and truth.json.
fn made() -> BTreeMap<String, Vec<u8>> {
    let mut files = BTreeMap::new();
    let mut truths = Vec::new();
    for evening in evenings() {
        let made = evening.make();
        files.insert(made.truth.file.clone(), made.octets);
        truths.push(made.truth);
    }
    let mut json = serde_json::to_vec_pretty(&truths).unwrap();
    json.push(b'\n');
    files.insert("truth.json".to_owned(), json);
    files
}

/// A committed file without its compression: two deflaters may pack the same octets differently.
fn committed(name: &str) -> Vec<u8> {
    let octets = fs::read(captures().join(name)).unwrap_or_else(|error| panic!("{name}: {error}; {HOW}"));
    if name.ends_with(".gz") {
        let mut plain = Vec::new();
        flate2::read::GzDecoder::new(octets.as_slice()).read_to_end(&mut plain).unwrap();
        return plain;
    }
    octets
}

fn write(name: &str, octets: &[u8]) {
    let path = captures().join(name);
    if name.ends_with(".gz") {
        let file = fs::File::create(path).unwrap();
        let mut packer = flate2::write::GzEncoder::new(file, flate2::Compression::best());
        packer.write_all(octets).unwrap();
        packer.finish().unwrap();
    } else {
        fs::write(path, octets).unwrap();
    }
}

#[test]
fn committed_demo_captures_are_what_the_generator_makes() {
    let writing = std::env::var_os("DOWNBEAT_WRITE_CAPTURES").is_some();
    for (name, octets) in made() {
        if writing {
            write(&name, &octets);
        }
        let found = committed(&name);
        let differs = found.iter().zip(&octets).position(|(found, made)| found != made);
        assert!(
            found == octets,
            "{name}: {} octets committed, {} made, first difference at {differs:?}; {HOW}",
            found.len(),
            octets.len()
        );
    }
}

#[test]
fn demo_captures_stay_small() {
    let total: u64 = made().keys().map(|name| fs::metadata(captures().join(name)).unwrap().len()).sum();
    assert!(total <= ALL_CAPTURES_AT_MOST, "{total} octets");
}

/// 02:00:5e is locally administered; 01:00:5e is IPv4 multicast, 01:80:c2 the group of LLDP; 10/8 is private (RFC 1918
/// section 3).
#[test]
fn demo_captures_hold_only_made_up_addresses() {
    for evening in evenings() {
        let file = evening.scene.file;
        let world = World::play(evening.scenario);
        let (frames, _) = world.captured();
        assert!(!frames.is_empty());
        for frame in &frames {
            let octets = &frame.octets;
            assert_eq!(octets[6..9], [0x02, 0x00, 0x5e], "{file}: source {:x?}", &octets[6..12]);
            match (u16::from_be_bytes([octets[12], octets[13]]), &octets[..3]) {
                (0x0800, [0x01, 0x00, 0x5e]) => {
                    assert!((224..=239).contains(&octets[30]), "{file}: address {:?}", &octets[30..34]);
                }
                (0x0800, [0xff, 0xff, 0xff]) => assert_eq!(octets[30..34], [0xff; 4], "{file}"),
                (0x0806, [0xff, 0xff, 0xff]) => {
                    assert_eq!((octets[28], octets[38]), (10, 10), "{file}: ARP {:?}", &octets[28..42]);
                    continue;
                }
                (0x88CC, [0x01, 0x80, 0xc2]) => continue,
                other => panic!("{file}: Ethertype and destination {other:x?}"),
            }
            assert_eq!(octets[26], 10, "{file}: source address {:?}", &octets[26..30]);
        }
    }
}

/// Message counts from the octets alone: version and type of 1588-2008 table 19 and 1588-2002 control (from memory),
/// at their places behind 42 octets of Ethernet, IPv4 and UDP headers.
#[test]
fn message_counts_of_the_truth_are_those_of_the_octets() {
    for evening in evenings() {
        let truth = truth_of(&World::play(evening.scenario.clone()), &evening.scene);
        let (frames, _) = World::play(evening.scenario).captured();
        let mut counted: BTreeMap<(String, &str), usize> = BTreeMap::new();
        for octets in frames.iter().map(|frame| &frame.octets) {
            let port = u16::from_be_bytes([octets[36], octets[37]]);
            if octets[23] != 17 || !(319..=320).contains(&port) {
                continue;
            }
            let message = &octets[42..];
            let kind = match (message[1] & 0x0f, message[0] & 0x0f, message[32]) {
                (1, _, 0) | (2, 0x0, _) => "sync",
                (1, _, 1) | (2, 0x1, _) => "delay_req",
                (1, _, 2) | (2, 0x8, _) => "follow_up",
                (1, _, 3) | (2, 0x9, _) => "delay_resp",
                (2, 0xb, _) => "announce",
                (2, 0xd, _) => "management",
                other => panic!("{}: message {other:?}", truth.file),
            };
            let domain = if message[1] == 1 { "_DFLT".to_owned() } else { message[4].to_string() };
            *counted.entry((domain, kind)).or_insert(0) += 1;
        }
        let told: BTreeMap<(String, &str), usize> = truth
            .domains
            .iter()
            .flat_map(|domain| {
                domain.messages.iter().map(|(&kind, &count)| ((domain.domain.clone(), kind), count))
            })
            .collect();
        assert_eq!(counted, told, "{}", truth.file);
    }
}

/// Announce timeout of 3 intervals of 1 s and up to one more (1588-2008 7.7.3.1, from memory), and the Announces of a
/// clock come at most an interval and 2 ms apart.
#[test]
fn standby_clock_takes_over_within_the_announce_timeout() {
    let lost = evenings().into_iter().find(|evening| evening.scene.file.contains("leader-lost")).unwrap();
    let truth = lost.make().truth;
    let [house, standby, returned] = truth.domains[0].tenures.as_slice() else {
        panic!("three tenures, not {:?}", truth.domains[0].tenures)
    };
    assert_eq!(
        [house, standby, returned].map(|tenure| tenure.ended_by),
        ["announce-timeout", "better-clock", "capture-end"]
    );
    assert_eq!(house.clock, returned.clock);
    let gap_ns = standby.from_at_ns - house.until_at_ns;
    assert!((3_000_000_000..4_100_000_000).contains(&gap_ns), "{gap_ns}");
    assert!((40_200_000_000 - house.until_at_ns).abs() < 1_102_000_000, "{}", house.until_at_ns);
    assert_eq!(standby.until_at_ns, returned.from_at_ns);
}

/// Both clocks led long before the capture began; the file opens with an Announce of the better one, so that its first
/// octets do not suggest a hand-over that never was.
#[test]
fn two_leaders_have_one_tenure_and_one_rival() {
    let split = evenings().into_iter().find(|evening| evening.scene.file.contains("two-leaders")).unwrap();
    let truth = split.make().truth;
    assert_eq!(truth.domains[0].tenures.len(), 1, "{:?}", truth.domains[0].tenures);
    assert_eq!(truth.domains[0].rivals.len(), 1);
}
