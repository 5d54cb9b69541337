//! The demo captures under `captures/` are what the generator makes, octet for octet, and hold nothing but the
//! invented theatre. `DOWNBEAT_WRITE_CAPTURES=1 cargo test demo_captures` writes them anew.
use std::collections::BTreeMap;
use std::fs;
use std::io::Read;
use std::io::Write;
use std::path::Path;
use std::path::PathBuf;

use crate::support::craft::playhouse::evenings;

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

/// 02:00:5e is locally administered; 01:00:5e is IPv4 multicast; 10/8 is private (RFC 1918 section 3).
#[test]
fn demo_captures_hold_only_made_up_addresses() {
    for evening in evenings() {
        let file = evening.scene.file;
        let world = crate::support::craft::simulation::World::play(evening.scenario);
        let (frames, _) = world.captured();
        assert!(!frames.is_empty());
        for frame in &frames {
            let octets = &frame.octets;
            assert_eq!(octets[..3], [0x01, 0x00, 0x5e], "{file}: destination {:x?}", &octets[..6]);
            assert_eq!(octets[6..9], [0x02, 0x00, 0x5e], "{file}: source {:x?}", &octets[6..12]);
            assert_eq!(octets[12..14], [0x08, 0x00], "{file}");
            assert_eq!(octets[26], 10, "{file}: source address {:?}", &octets[26..30]);
            assert!((224..=239).contains(&octets[30]), "{file}: destination address {:?}", &octets[30..34]);
        }
    }
}
