//! Exports: what is in the folder, what it says of itself, and what becomes of a folder that cannot be written.
//! `tests/peers/exported_tables.py` reads the tables with other libraries and holds them against the JSON report.
//!
//! `DOWNBEAT_WRITE_EXPORTS=1 cargo test export` writes the tables of `docs/exports.md` anew.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::process::Output;

use assert_cmd::Command;
use downbeat::export::TABLES;
use downbeat::export::conventions;
use downbeat::export::description;
use serde_json::Value;

use crate::support::judged::in_project;

const DEMO: &str = "captures/playhouse-leader-lost.pcapng";
const MARK: &str = "<!-- From here on written by: DOWNBEAT_WRITE_EXPORTS=1 cargo test export -->\n";

fn export(capture: &Path, to: &Path, more: &[&str]) -> Output {
    let mut command = Command::cargo_bin("downbeat").unwrap();
    command.arg("export").arg(capture).arg("--to").arg(to).args(more).output().unwrap()
}

fn said(octets: &[u8]) -> String {
    String::from_utf8(octets.to_vec()).unwrap()
}

fn names(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).unwrap();
    let mut names: Vec<String> =
        entries.map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    names
}

/// Rows of a table by column.
fn rows(folder: &Path, table: &str) -> Vec<BTreeMap<String, String>> {
    let mut reader = csv::Reader::from_path(folder.join(format!("{table}.csv"))).unwrap();
    reader.deserialize().map(Result::unwrap).collect()
}

fn whole(folder: &Path, column: &BTreeMap<String, String>, name: &str) -> i128 {
    column[name].parse().unwrap_or_else(|_| panic!("{}: {name}: {column:?}", folder.display()))
}

#[test]
fn the_folder_holds_what_was_asked_for_and_its_manifest_names_it() {
    let scratch = tempfile::tempdir().unwrap();
    let to = scratch.path().join("out");
    let output = export(&in_project(DEMO), &to, &["--write", "csv,parquet,svg,png", "--format", "json"]);
    assert_eq!(output.status.code(), Some(0), "{}", said(&output.stderr));
    let manifest: Value = serde_json::from_slice(&output.stdout).unwrap();
    let kept: Value = serde_json::from_slice(&fs::read(to.join("export.json")).unwrap()).unwrap();
    assert_eq!(manifest, kept);
    assert_eq!(manifest["schema"], "downbeat.export/1");
    let mut listed: Vec<String> = vec!["export.json".to_owned()];
    listed.extend(
        manifest["files"].as_array().unwrap().iter().map(|file| file["file"].as_str().unwrap().to_owned()),
    );
    listed.sort();
    assert_eq!(names(&to), listed);
    assert_eq!(names(scratch.path()), ["out"], "something was left beside it");
    for table in TABLES {
        assert!(listed.contains(&format!("{}.csv", table.name)), "{}", table.name);
        assert!(listed.contains(&format!("{}.parquet", table.name)), "{}", table.name);
    }
    for name in listed.iter().filter(|name| name.ends_with(".png")) {
        let octets = fs::read(to.join(name)).unwrap();
        assert!(octets.starts_with(b"\x89PNG\r\n\x1a\n") && octets.len() > 5000, "{name}: {}", octets.len());
        assert!(listed.contains(&name.replace(".png", ".svg")), "{name}");
    }
    assert!(listed.iter().filter(|name| name.ends_with(".png")).count() >= 5);
}

#[test]
fn every_file_has_the_columns_that_readme_and_manifest_describe() {
    let scratch = tempfile::tempdir().unwrap();
    let to = scratch.path().join("out");
    assert_eq!(export(&in_project(DEMO), &to, &["--write", "csv"]).status.code(), Some(0));
    let readme = fs::read_to_string(to.join("README.md")).unwrap();
    let manifest: Value = serde_json::from_slice(&fs::read(to.join("export.json")).unwrap()).unwrap();
    assert!(readme.contains(&conventions()));
    for table in TABLES {
        let part =
            readme.split(&format!("### {}\n", table.name)).nth(1).unwrap().split("\n### ").next().unwrap();
        let rows: Vec<Vec<&str>> = part
            .lines()
            .filter(|line| line.starts_with("| ") && !line.starts_with("| ---"))
            .skip(1)
            .map(|line| line.trim_matches('|').split(" | ").map(str::trim).collect())
            .collect();
        let file = fs::read_to_string(to.join(format!("{}.csv", table.name))).unwrap();
        let header: Vec<&str> = file.lines().next().unwrap().split(',').collect();
        assert_eq!(header, rows.iter().map(|row| row[0]).collect::<Vec<_>>(), "{}", table.name);
        for row in &rows {
            assert_eq!(row.len(), 5, "{}: {row:?}", table.name);
            assert!(row.iter().all(|cell| !cell.is_empty()), "{}: {row:?}", table.name);
            let (name, unit) = (row[0], row[2]);
            let ending =
                [("_ns", "ns"), ("_s", "s"), ("_bps", "b/s"), ("_octets", "octets"), ("_ppm", "10^-6")];
            for (end, stands_for) in ending {
                assert!(!name.ends_with(end) || unit == stands_for, "{}: {row:?}", table.name);
            }
        }
        let listed =
            &manifest["files"].as_array().unwrap().iter().find(|file| file["table"] == table.name).unwrap();
        let columns = listed["columns"].as_array().unwrap();
        assert_eq!(header, columns.iter().map(|column| column["name"].as_str().unwrap()).collect::<Vec<_>>());
        let mut reader = csv::Reader::from_reader(file.as_bytes());
        assert_eq!(listed["rows"], reader.records().count(), "{}", table.name);
    }
}

#[test]
fn the_page_on_exports_describes_every_column() {
    let path = in_project("docs/exports.md");
    let page = fs::read_to_string(&path).unwrap();
    let at = page.find(MARK).unwrap() + MARK.len();
    let mut wanted = conventions();
    for table in TABLES {
        wanted.push('\n');
        wanted.push_str(&description(table));
    }
    if std::env::var_os("DOWNBEAT_WRITE_EXPORTS").is_some() {
        fs::write(&path, format!("{}{wanted}", &page[..at])).unwrap();
        return;
    }
    assert!(page[at..] == wanted, "write it anew: DOWNBEAT_WRITE_EXPORTS=1 cargo test export");
}

#[test]
fn samples_are_exact_and_belong_together() {
    let scratch = tempfile::tempdir().unwrap();
    let to = scratch.path().join("out");
    assert_eq!(export(&in_project(DEMO), &to, &["--write", "csv"]).status.code(), Some(0));
    let syncs = rows(&to, "sync-samples");
    assert!(syncs.len() > 500, "{}", syncs.len());
    for sync in &syncs {
        let sent = whole(&to, sync, "origin_s") * 1_000_000_000 + whole(&to, sync, "origin_nanoseconds");
        let correction = whole(&to, sync, "correction_ns") * 65536 + whole(&to, sync, "correction_65536ths");
        let apart =
            whole(&to, sync, "capture_less_port_ns") * 65536 + whole(&to, sync, "capture_less_port_65536ths");
        assert_eq!(apart, (whole(&to, sync, "time_ns") - sent) * 65536 - correction, "{sync:?}");
    }
    // Every offset is of an exchange, and between the Syncs around it.
    let exchanges = rows(&to, "delay-exchanges");
    let by_frame: BTreeMap<&str, &BTreeMap<String, String>> =
        exchanges.iter().map(|exchange| (exchange["frame"].as_str(), exchange)).collect();
    let offsets = rows(&to, "offset-samples");
    assert!(offsets.len() > 500 && offsets.len() <= exchanges.len());
    for offset in &offsets {
        let exchange = by_frame[offset["frame"].as_str()];
        assert_eq!(exchange["responder"], offset["port"]);
        let received =
            whole(&to, exchange, "received_s") * 1_000_000_000 + whole(&to, exchange, "received_nanoseconds");
        // The way from here to the leader less the offset, by the exchange alone.
        let from_request = received - whole(&to, exchange, "time_ns");
        let both = whole(&to, offset, "mean_path_delay_ns") - whole(&to, offset, "capture_less_port_ns");
        assert!((both - from_request).abs() <= 1, "{offset:?} {exchange:?}");
    }
    // Nobody answers in this capture but by a frame of its own.
    let answered: i128 = exchanges.iter().map(|exchange| whole(&to, exchange, "response_time_ns")).sum();
    assert!(answered > 0);
}

#[test]
fn windows_of_every_width_hold_the_same_octets() {
    let scratch = tempfile::tempdir().unwrap();
    let mut sums = Vec::new();
    for window in ["1s", "100ms", "10ms", "1ms"] {
        let to = scratch.path().join(window);
        let output = export(&in_project(DEMO), &to, &["--write", "csv", "--window", window]);
        assert_eq!(output.status.code(), Some(0), "{}", said(&output.stderr));
        for table in ["link-rates", "stream-rates"] {
            let rows = rows(&to, table);
            let octets: i128 = rows.iter().map(|row| whole(&to, row, "wire_octets")).sum();
            let packets: i128 = rows.iter().map(|row| whole(&to, row, "packets")).sum();
            for row in &rows {
                assert_eq!(whole(&to, row, "start_ns") % whole(&to, row, "width_ns"), 0);
                let full = whole(&to, row, "wire_octets") * 8 * 1_000_000_000 / whole(&to, row, "width_ns");
                assert_eq!(whole(&to, row, "wire_bps"), full);
            }
            sums.push((table, octets, packets));
        }
    }
    assert!(sums.chunks(2).all(|pair| pair == &sums[..2]), "{sums:?}");
    assert!(sums[0].2 == 6892 && sums[1].2 == 2031, "{sums:?}");
}

#[test]
fn text_that_could_be_a_formula_is_marked_in_csv_and_numbers_are_not() {
    let scratch = tempfile::tempdir().unwrap();
    // A file whose very name is a formula, and a device that the site file calls by one.
    let capture = scratch.path().join("=HYPERLINK(\"x\").pcapng");
    fs::copy(in_project(DEMO), &capture).unwrap();
    let site = scratch.path().join("site.toml");
    let device = |name: &str, mac: &str| format!("[[device]]\nname = \"{name}\"\nmac = \"{mac}\"\n");
    // U+FFFF is no character of XML, which the pictures are made of.
    let named = [device("@SUM(1+1)", "02:00:5e:10:00:31"), device("\\uFFFF\\u0007<b>", "02:00:5e:10:00:01")];
    fs::write(&site, named.concat()).unwrap();
    let to = scratch.path().join("out");
    let mut command = Command::cargo_bin("downbeat").unwrap();
    command.current_dir(scratch.path()).args(["export", "=HYPERLINK(\"x\").pcapng", "--to", "out"]);
    let output = command.args(["--write", "csv,parquet,png", "--site", "site.toml"]).output().unwrap();
    assert_eq!(output.status.code(), Some(0), "{}", said(&output.stderr));
    assert_eq!(rows(&to, "captures")[0]["name"], "'=HYPERLINK(\"x\").pcapng");
    let devices = rows(&to, "devices");
    assert!(devices.iter().any(|device| device["name"] == "'@SUM(1+1)"), "{devices:?}");
    for table in TABLES {
        let integers: Vec<&str> = table
            .columns
            .iter()
            .filter(|column| column.kind == downbeat::export::Kind::Integer)
            .map(|column| column.name)
            .collect();
        for row in rows(&to, table.name) {
            for (name, cell) in &row {
                if integers.contains(&name.as_str()) {
                    assert!(cell.is_empty() || cell.parse::<i64>().is_ok(), "{}: {name}: {cell}", table.name);
                } else if table.columns.iter().any(|column| column.name == name && column.unit == "-") {
                    assert!(
                        !cell.starts_with(['=', '+', '-', '@', '\t', '\r']),
                        "{}: {name}: {cell}",
                        table.name
                    );
                }
            }
        }
    }
    let offsets = rows(&to, "offset-samples");
    assert!(offsets.iter().any(|row| row["capture_less_port_ns"].starts_with('-')), "numbers stay numbers");
}

#[test]
fn a_folder_with_something_else_in_it_is_left_alone() {
    let scratch = tempfile::tempdir().unwrap();
    let to = scratch.path().join("out");
    fs::create_dir(&to).unwrap();
    fs::write(to.join("notes.txt"), "mine").unwrap();
    let refused = export(&in_project(DEMO), &to, &["--write", "csv"]);
    assert_eq!(refused.status.code(), Some(2));
    assert!(said(&refused.stderr).contains("holds something else"), "{}", said(&refused.stderr));
    assert!(refused.stdout.is_empty());
    assert_eq!((names(&to), names(scratch.path())), (vec!["notes.txt".to_owned()], vec!["out".to_owned()]));
    // A file in its place, and a place without a name.
    let file = scratch.path().join("file");
    fs::write(&file, "mine").unwrap();
    let refused = export(&in_project(DEMO), &file, &["--write", "csv"]);
    assert_eq!(refused.status.code(), Some(2));
    assert_eq!(fs::read_to_string(&file).unwrap(), "mine");
    assert_eq!(export(&in_project(DEMO), Path::new("/"), &["--write", "csv"]).status.code(), Some(2));
    // An empty one is taken, an earlier export is replaced by a smaller one, and one that was added to is not.
    fs::remove_file(to.join("notes.txt")).unwrap();
    assert_eq!(export(&in_project(DEMO), &to, &["--write", "csv,svg"]).status.code(), Some(0));
    assert_eq!(export(&in_project(DEMO), &to, &["--write", "csv"]).status.code(), Some(0));
    assert!(names(&to).iter().all(|name| !name.ends_with(".svg")));
    fs::write(to.join("notes.txt"), "mine").unwrap();
    let before = names(&to);
    assert_eq!(export(&in_project(DEMO), &to, &["--write", "csv"]).status.code(), Some(2));
    assert_eq!(names(&to), before);
    // A manifest of another kind makes no export of a folder.
    let other = scratch.path().join("other");
    fs::create_dir(&other).unwrap();
    fs::write(other.join("export.json"), "{\"schema\": \"something\", \"files\": []}").unwrap();
    assert_eq!(export(&in_project(DEMO), &other, &["--write", "csv"]).status.code(), Some(2));
    assert_eq!(names(&other), ["export.json"]);
}

#[test]
fn captures_that_cannot_be_read_leave_no_folder() {
    let scratch = tempfile::tempdir().unwrap();
    let to = scratch.path().join("out");
    let text = scratch.path().join("text.pcap");
    fs::write(&text, "this is no capture").unwrap();
    assert_eq!(export(&text, &to, &[]).status.code(), Some(2));
    assert_eq!(names(scratch.path()), ["text.pcap"]);
}

/// The disk is made full by a limit on the size of a file; the signal that comes with it is ignored, as writing to a full
/// disk brings none.
#[cfg(unix)]
#[test]
fn a_full_disk_leaves_the_folder_as_it_was() {
    let scratch = tempfile::tempdir().unwrap();
    let to = scratch.path().join("out");
    let program = Command::cargo_bin("downbeat").unwrap();
    let program = Path::new(program.get_program()).to_owned();
    let full = |write: &str| {
        let script = "trap '' XFSZ; ulimit -f 64; exec \"$0\" export \"$1\" --to \"$2\" --write \"$3\"";
        let arguments =
            [program.as_os_str(), in_project(DEMO).as_os_str(), to.as_os_str()].map(|a| a.to_owned());
        std::process::Command::new("sh").args(["-c", script]).args(arguments).arg(write).output().unwrap()
    };
    for write in ["csv", "parquet"] {
        let output = full(write);
        assert_eq!(output.status.code(), Some(2), "{}", said(&output.stderr));
        let error = said(&output.stderr);
        assert!(
            error.contains("nothing was written there") && error.to_lowercase().contains("large"),
            "{error}"
        );
        assert!(names(scratch.path()).is_empty(), "{:?}", names(scratch.path()));
    }
    assert_eq!(export(&in_project(DEMO), &to, &["--write", "csv"]).status.code(), Some(0));
    let before: Vec<Vec<u8>> = names(&to).iter().map(|name| fs::read(to.join(name)).unwrap()).collect();
    assert_eq!(full("csv").status.code(), Some(2));
    let after: Vec<Vec<u8>> = names(&to).iter().map(|name| fs::read(to.join(name)).unwrap()).collect();
    assert!(before == after);
    assert_eq!(names(scratch.path()), ["out"]);
}

#[test]
fn a_capture_without_frames_makes_empty_tables() {
    let scratch = tempfile::tempdir().unwrap();
    let capture = scratch.path().join("empty.pcap");
    let file = crate::support::capture_writer::PcapFile::new(
        crate::support::capture_writer::Order::Little,
        crate::support::capture_writer::PcapKind::Nanoseconds,
    );
    fs::write(&capture, &file.octets).unwrap();
    let to = scratch.path().join("out");
    let output = export(&capture, &to, &["--write", "csv,parquet,svg,png"]);
    assert_eq!(output.status.code(), Some(0), "{}", said(&output.stderr));
    for table in TABLES {
        let expected = usize::from(table.name == "captures");
        assert_eq!(rows(&to, table.name).len(), expected, "{}", table.name);
        assert!(fs::read(to.join(format!("{}.parquet", table.name))).unwrap().starts_with(b"PAR1"));
    }
    assert_eq!(rows(&to, "captures")[0]["first_ns"], "");
}

#[test]
fn a_part_of_a_capture_is_exported_as_that_part() {
    let scratch = tempfile::tempdir().unwrap();
    let to = scratch.path().join("out");
    let output = export(&in_project(DEMO), &to, &["--write", "csv", "--from", "10", "--until", "20"]);
    assert_eq!(output.status.code(), Some(0), "{}", said(&output.stderr));
    let messages = rows(&to, "messages");
    let at: Vec<i128> = messages.iter().map(|row| whole(&to, row, "at_ns")).collect();
    assert!(at.iter().all(|at| (10_000_000_000..=20_000_000_000).contains(at)) && at.len() > 100);
}

/// Height of a PNG (third edition, 11.2.1; from memory).
fn height(png: &[u8]) -> u32 {
    u32::from_be_bytes(png[20..24].try_into().unwrap())
}

#[test]
fn a_picture_says_that_its_font_lacks_letters_and_others_do_not() {
    let scratch = tempfile::tempdir().unwrap();
    let drawn = |name: &str| {
        let site = scratch.path().join("site.toml");
        fs::write(&site, format!("[[device]]\nname = \"{name}\"\nmac = \"02:00:5e:10:00:01\"\n")).unwrap();
        let to = scratch.path().join("out");
        let output =
            export(&in_project(DEMO), &to, &["--write", "svg,png", "--site", site.to_str().unwrap()]);
        assert_eq!(output.status.code(), Some(0), "{}", said(&output.stderr));
        let svg = fs::read_to_string(to.join("leaders.svg")).unwrap();
        assert!(svg.contains(name) && !svg.contains("font lacks"), "the SVG is drawn by whoever shows it");
        height(&fs::read(to.join("leaders.png")).unwrap())
    };
    let (latin, chinese) = (drawn("Bühne links"), drawn("舞台左"));
    assert!(chinese > latin, "a line more: {chinese} and {latin}");
}
