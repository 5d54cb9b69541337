//! The program from outside: what is typed, exit statuses, what goes to which stream, and to which file.

use std::fs;
use std::path::Path;
use std::path::PathBuf;
use std::process::Command as Process;
use std::process::Output;
use std::process::Stdio;

use assert_cmd::Command;
use serde_json::Value;

use crate::json_schema::without_ptp;
use crate::support::capture_writer::gzip;
use crate::support::capture_writer::zstd_frame;
use crate::support::judged;
use crate::support::judged::in_project;
use crate::support::ring::ring;

const CLEAR: i32 = 0;
const FINDINGS: i32 = 1;
const NO_REPORT: i32 = 2;
const CANNOT_TELL: i32 = 3;

fn capture(name: &str) -> PathBuf {
    in_project("captures").join(name)
}

fn octets(name: &str) -> Vec<u8> {
    fs::read(capture(name)).unwrap()
}

fn downbeat() -> Command {
    Command::cargo_bin("downbeat").unwrap()
}

/// Runs `downbeat check` with `arguments` and nothing on standard input.
fn check<A: AsRef<std::ffi::OsStr>>(arguments: impl IntoIterator<Item = A>) -> Output {
    downbeat().arg("check").args(arguments).output().unwrap()
}

fn status(output: &Output) -> i32 {
    output.status.code().unwrap()
}

fn said(octets: &[u8]) -> &str {
    std::str::from_utf8(octets).unwrap()
}

/// The report of `paths` as JSON, with whatever the exit status is.
fn report<A: AsRef<std::ffi::OsStr>>(arguments: impl IntoIterator<Item = A>) -> Value {
    let output = downbeat().args(["check", "--format", "json"]).args(arguments).output().unwrap();
    let text = said(&output.stdout);
    serde_json::from_str(text).unwrap_or_else(|error| panic!("{error}: {text:?} {:?}", said(&output.stderr)))
}

/// A report without what it says of the files, which is where several files and one may differ.
fn without_files(mut report: Value) -> Value {
    fn forget(value: &mut Value) {
        match value {
            Value::Object(object) => {
                for key in ["captures", "file", "frame", "frames", "first"] {
                    object.remove(key);
                }
                object.values_mut().for_each(forget);
            }
            Value::Array(items) => items.iter_mut().for_each(forget),
            _ => {}
        }
    }
    forget(&mut report);
    report
}

#[test]
fn status_0_where_all_is_well() {
    let output = check([capture("playhouse-healthy.pcapng")]);
    assert_eq!(status(&output), CLEAR);
    assert!(said(&output.stdout).starts_with("SOUND: "));
    assert_eq!(said(&output.stderr), "");
}

#[test]
fn status_1_where_something_is_wrong() {
    let output = check([capture("playhouse-wrong-domain.pcapng")]);
    assert_eq!(status(&output), FINDINGS);
    assert!(said(&output.stdout).starts_with("FAULT: "));
    assert_eq!(said(&output.stderr), "");
}

#[test]
fn status_2_and_no_report_where_there_is_no_capture() {
    let folder = tempfile::tempdir().unwrap();
    let text = folder.path().join("notes.txt");
    fs::write(&text, "the camera on the left stutters\n").unwrap();
    let missing = folder.path().join("missing.pcap");
    for file in [text.as_path(), missing.as_path(), Path::new("/dev/null"), folder.path()] {
        let output = check([file]);
        assert_eq!(status(&output), NO_REPORT, "{}", file.display());
        assert!(output.stdout.is_empty(), "{}", file.display());
        let told = said(&output.stderr);
        assert!(told.contains(&file.display().to_string()), "{}: {told}", file.display());
    }
    let pattern = folder.path().join("*.pcap");
    assert_eq!(status(&check([pattern])), NO_REPORT);
}

#[test]
fn status_2_where_what_is_typed_makes_no_sense() {
    let healthy = capture("playhouse-healthy.pcapng");
    let healthy = healthy.to_str().unwrap();
    for arguments in [
        &[][..],
        &[healthy, "--no-such-option"],
        &[healthy, "--format", "morse"],
        &[healthy, "--domain", "256"],
        &[healthy, "--domain", "-1"],
        &[healthy, "--from", "noon"],
        &[healthy, "--until", "-3"],
        &[healthy, "--from", "9", "--until", "8"],
        &[healthy, "--from", "2026-10-03T19:30:00Z", "--until", "2026-10-03T19:29:59Z"],
        &[healthy, "--fail-on", "sometimes"],
    ] {
        let output = check(arguments);
        assert_eq!(status(&output), NO_REPORT, "{arguments:?}");
        assert!(output.stdout.is_empty(), "{arguments:?}");
        assert!(!output.stderr.is_empty(), "{arguments:?}");
    }
    assert_eq!(status(&downbeat().output().unwrap()), NO_REPORT);
    assert_eq!(status(&downbeat().arg("chekc").output().unwrap()), NO_REPORT);
}

#[test]
fn status_3_where_the_capture_cannot_tell() {
    let folder = tempfile::tempdir().unwrap();
    let none = folder.path().join("none.pcap");
    fs::write(&none, without_ptp()).unwrap();
    let output = check([none]);
    assert_eq!(status(&output), CANNOT_TELL);
    assert!(said(&output.stdout).starts_with("CANNOT TELL: there is no PTP message"));
    // Two seconds are shorter than the time that followers wait for the leader.
    let healthy = capture("playhouse-healthy.pcapng");
    let output = check([healthy.as_os_str(), "--until".as_ref(), "2".as_ref()]);
    assert_eq!(status(&output), CANNOT_TELL, "{}", said(&output.stdout));
}

#[test]
fn fail_on_sets_the_least_severity_that_counts() {
    let rows = [
        // A critical finding, and nothing else.
        ("playhouse-two-leaders.pcapng", [FINDINGS, FINDINGS, FINDINGS, CLEAR]),
        // Major and minor ones.
        ("playhouse-quality-drop.pcapng.gz", [CLEAR, FINDINGS, FINDINGS, CLEAR]),
        // A minor one.
        ("playhouse-leader-lost.pcapng", [CLEAR, CLEAR, FINDINGS, CLEAR]),
        // One for information.
        ("playhouse-v1-beside-v2.pcap", [CLEAR, CLEAR, CLEAR, CLEAR]),
    ];
    for (file, statuses) in rows {
        for (severity, expected) in ["critical", "major", "minor", "never"].into_iter().zip(statuses) {
            let output = check([capture(file).to_str().unwrap(), "--fail-on", severity]);
            assert_eq!(status(&output), expected, "{file} {severity}");
        }
    }
}

/// A domain of the site's that has a grandmaster nobody follows: the others are in the wrong one then.
#[test]
fn the_named_domain_decides_who_is_astray() {
    let file = capture("playhouse-wrong-domain.pcapng");
    let named = report([file.to_str().unwrap(), "--domain", "127"]);
    assert_eq!(named["site_domain"]["assumed"], false);
    assert_eq!(named["site_domain"]["keys"], serde_json::json!(["v2 domain 127"]));
    let of = |report: &Value, mac: &str| {
        let devices = report["devices"].as_array().unwrap().iter();
        let mut found = devices.filter(|device| device["macs"][0] == mac);
        found.next().map(|device| device["state"].as_str().unwrap().to_owned()).unwrap()
    };
    assert_eq!(of(&named, "02:00:5e:10:00:22"), "astray");
    assert_eq!(of(&named, "02:00:5e:10:00:21"), "leading");
    let right = report([file.to_str().unwrap(), "--domain", "0"]);
    assert_eq!(right["site_domain"]["assumed"], false);
    assert_eq!(of(&right, "02:00:5e:10:00:22"), "following");
    assert_eq!(of(&right, "02:00:5e:10:00:21"), "astray");
}

#[test]
fn nobody_is_in_a_named_domain_that_the_capture_does_not_show() {
    let file = capture("playhouse-healthy.pcapng");
    let output = check([file.to_str().unwrap(), "--domain", "5"]);
    assert_eq!(status(&output), FINDINGS);
    let document = report([file.to_str().unwrap(), "--domain", "5"]);
    let devices = document["devices"].as_array().unwrap();
    let astray = devices.iter().filter(|device| device["state"] == "astray").count();
    assert_eq!(astray, 14, "the two clocks and their followers");
    let title = document["findings"][0]["title"].as_str().unwrap();
    assert!(title.ends_with("the site's clock is in domain 5, which is not in this capture"), "{title}");
}

#[test]
fn an_empty_span_is_told() {
    let file = capture("playhouse-healthy.pcapng");
    for (from, until) in [("1000", "2000"), ("89.97", "89.98")] {
        let output = check([file.to_str().unwrap(), "--from", from, "--until", until]);
        assert_eq!(status(&output), CANNOT_TELL);
        let told = said(&output.stdout);
        assert!(told.starts_with("CANNOT TELL: no frame lies in the span asked for"), "{told}");
    }
}

#[test]
fn out_writes_the_same_octets_and_leaves_nothing_beside() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("report");
    let file = capture("playhouse-two-leaders.pcapng");
    for format in ["text", "json"] {
        let shown = check([file.to_str().unwrap(), "--format", format]);
        // The second round writes over what the first left.
        fs::write(&path, "old").unwrap();
        let output = check([file.to_str().unwrap(), "--format", format, "--out", path.to_str().unwrap()]);
        assert_eq!(status(&output), FINDINGS);
        assert!(output.stdout.is_empty());
        assert!(output.stderr.is_empty());
        assert_eq!(fs::read(&path).unwrap(), shown.stdout);
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
    }
}

#[test]
fn out_into_a_folder_that_is_not_there_gives_no_report() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("missing/report.json");
    let output =
        check([capture("playhouse-healthy.pcapng").to_str().unwrap(), "--out", path.to_str().unwrap()]);
    assert_eq!(status(&output), NO_REPORT);
    assert!(output.stdout.is_empty());
    assert!(said(&output.stderr).contains("missing"));
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 0);
}

#[test]
fn an_unreadable_input_leaves_the_old_report_alone() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("report");
    fs::write(&path, "old").unwrap();
    assert_eq!(status(&check(["/dev/null", "--out", path.to_str().unwrap()])), NO_REPORT);
    assert_eq!(fs::read_to_string(&path).unwrap(), "old");
}

#[test]
fn a_report_is_never_written_over_a_capture() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("capture.pcapng");
    fs::write(&path, octets("playhouse-two-leaders.pcapng")).unwrap();
    let roundabout = folder.path().join("./capture.pcapng");
    let output = check([path.as_os_str(), "--out".as_ref(), roundabout.as_os_str()]);
    assert_eq!(status(&output), NO_REPORT);
    assert!(said(&output.stderr).contains("one of the captures"));
    assert_eq!(fs::read(&path).unwrap(), octets("playhouse-two-leaders.pcapng"));
}

#[test]
fn standard_input_equals_the_file() {
    for name in judged::DEMO {
        let mut from_file = report([capture(name)]);
        let output =
            downbeat().args(["check", "--format", "json", "-"]).write_stdin(octets(name)).output().unwrap();
        let from_input: Value = serde_json::from_slice(&output.stdout).unwrap();
        assert_eq!(from_input["captures"][0]["file"], "-");
        from_file["captures"][0]["file"] = Value::from("-");
        let (from_file, from_input) = (without_evidence_files(from_file), without_evidence_files(from_input));
        assert_eq!(from_file, from_input, "{name}");
    }
}

/// Evidence names its file; everything else of it stays.
fn without_evidence_files(mut report: Value) -> Value {
    for finding in report["findings"].as_array_mut().unwrap() {
        for evidence in finding["evidence"].as_array_mut().unwrap() {
            evidence.as_object_mut().unwrap().remove("file");
        }
    }
    report
}

#[test]
fn a_ring_of_files_in_any_order_equals_the_whole() {
    for name in
        ["playhouse-leader-lost.pcapng", "playhouse-wrong-domain.pcapng", "playhouse-two-leaders.pcapng"]
    {
        let folder = tempfile::tempdir().unwrap();
        let pieces = ring(folder.path(), name, 5);
        let order = [3, 0, 4, 2, 1].map(|index| pieces[index].clone());
        let joined = report(&order);
        assert_eq!(joined["captures"].as_array().unwrap().len(), 5);
        assert_eq!(joined["gaps"], serde_json::json!([]));
        let whole = report([capture(name)]);
        assert_eq!(joined["span"], whole["span"], "{name}");
        assert_eq!(without_files(joined), without_files(whole), "{name}");
    }
}

#[test]
fn a_folder_and_a_quoted_pattern_are_the_files_in_them() {
    let folder = tempfile::tempdir().unwrap();
    let pieces = ring(folder.path(), "playhouse-wrong-domain.pcapng", 5);
    fs::write(folder.path().join("README"), "what was captured here").unwrap();
    let one_by_one = report(&pieces);
    assert_eq!(report([folder.path()]), one_by_one);
    assert_eq!(report([folder.path().join("ring-*.pcapng")]), one_by_one);
    let twice: Vec<&PathBuf> = pieces.iter().chain(&pieces).collect();
    assert_eq!(report(twice), one_by_one);
}

#[test]
fn a_file_named_twice_is_counted_once() {
    let file = capture("playhouse-healthy.pcapng");
    let roundabout = in_project("captures/lab/../playhouse-healthy.pcapng");
    assert_eq!(report([&file, &file, &roundabout]), report([&file]));
    let output = check([&file, &file]);
    assert!(said(&output.stderr).contains("named more than once, read once"), "{output:?}");
    assert!(check([&file]).stderr.is_empty());
}

#[cfg(unix)]
#[test]
fn links_that_lead_nowhere_are_told_as_such() {
    let folder = tempfile::tempdir().unwrap();
    let (round, lost) = (folder.path().join("round"), folder.path().join("lost"));
    std::os::unix::fs::symlink(&round, &round).unwrap();
    std::os::unix::fs::symlink(folder.path().join("gone"), &lost).unwrap();
    for (link, expected) in
        [(round, "this link cannot be followed"), (lost, "points to a file that is not there")]
    {
        let output = check([&link]);
        assert_eq!(status(&output), NO_REPORT);
        assert!(said(&output.stderr).contains(expected), "{output:?}");
    }
}

#[test]
fn a_number_below_0_is_refused_as_a_number() {
    let output = check([capture("playhouse-healthy.pcapng").as_os_str(), "--domain".as_ref(), "-1".as_ref()]);
    assert!(said(&output.stderr).contains("-1 is not in 0..=255"), "{output:?}");
}

#[test]
fn one_bad_file_is_told_and_the_rest_go_on() {
    let folder = tempfile::tempdir().unwrap();
    let text = folder.path().join("notes.txt");
    fs::write(&text, "no capture").unwrap();
    let healthy = capture("playhouse-healthy.pcapng");
    let output = check([&text, &healthy]);
    assert_eq!(status(&output), CLEAR);
    assert!(said(&output.stderr).contains("notes.txt"), "{}", said(&output.stderr));
    assert!(said(&output.stdout).starts_with("SOUND: "));
    let document = report([&text, &healthy]);
    assert_eq!(document["unreadable"].as_array().unwrap().len(), 1);
    assert_eq!(document["span"]["frames"], 14_936);
}

#[test]
fn a_file_that_is_not_there_is_told_and_the_rest_go_on() {
    let good = capture("playhouse-healthy.pcapng");
    let output = check([good.as_path(), Path::new("no-such-capture.pcap")]);
    assert_eq!(status(&output), CLEAR);
    assert!(said(&output.stderr).contains("there is no such file or folder"), "{output:?}");
    assert!(said(&output.stdout).starts_with("SOUND"), "{output:?}");
    assert!(said(&output.stdout).contains("no-such-capture.pcap"), "{output:?}");
}

#[test]
fn half_a_capture_is_read_and_its_damage_is_told_with_its_place() {
    let folder = tempfile::tempdir().unwrap();
    for name in ["playhouse-healthy.pcapng", "playhouse-v1-beside-v2.pcap"] {
        let whole = octets(name);
        let half = &whole[..whole.len() / 2];
        let path = folder.path().join(name);
        fs::write(&path, half).unwrap();
        let document = report([&path]);
        let damage = document["captures"][0]["damage"].as_array().unwrap();
        assert_eq!(damage.len(), 1, "{name}: {damage:?}");
        let offset = damage[0]["offset"].as_u64().unwrap() as usize;
        // It begins with the record that is not whole: at most one record before the end.
        assert!(offset < half.len() && offset + 2000 > half.len(), "{name}: {offset} of {}", half.len());
        assert!(document["span"]["frames"].as_u64().unwrap() > 1000, "{name}");
        let output = check([&path]);
        assert_eq!(status(&output), CLEAR, "{name}");
        let told = format!("damaged at octet {offset}:");
        let text = said(&output.stdout).split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(text.contains(&told), "{name}: {}", said(&output.stdout));
    }
}

#[test]
fn compression_is_told_by_content() {
    let folder = tempfile::tempdir().unwrap();
    let plain = octets("playhouse-wrong-domain.pcapng");
    let path = folder.path().join("capture.txt");
    fs::write(&path, &plain).unwrap();
    let expected = without_files(report([&path]));
    for (compression, packed) in [("gzip", gzip(&plain)), ("zstd", zstd_frame(&plain))] {
        fs::write(&path, packed).unwrap();
        let document = report([&path]);
        assert_eq!(document["captures"][0]["compression"], compression);
        assert_eq!(without_files(document), expected, "{compression}");
    }
}

#[test]
fn from_and_until_take_seconds_and_instants_alike() {
    let file = capture("playhouse-healthy.pcapng");
    let file = file.to_str().unwrap();
    // The first frame is stamped 19:28:00.005200599.
    let seconds = report([file, "--from", "10", "--until", "40.5s"]);
    let instants = report([
        file,
        "--from",
        "2026-10-03T19:28:10.005200599Z",
        "--until",
        "2026-10-03T19:28:40.505200599Z",
    ]);
    assert_eq!(seconds, instants);
    let span = &seconds["span"];
    let total = span["frames"].as_u64().unwrap() + span["frames_outside"].as_u64().unwrap();
    assert_eq!(total, 14_936);
    assert!(span["first"].as_str().unwrap() >= "2026-10-03T19:28:10.005200599Z");
    assert!(span["last"].as_str().unwrap() <= "2026-10-03T19:28:40.505200599Z");
    assert!(span["duration_s"].as_f64().unwrap() > 30.0);
    assert_eq!(seconds["verdict"], "sound");
    // Seconds go on counting from the first frame of the capture.
    assert!(seconds["events"][0]["at_s"].as_f64().unwrap() >= 10.0);
}

#[test]
fn a_closed_pipe_is_quiet_success() {
    let mut child = Process::new(assert_cmd::cargo::cargo_bin("downbeat"))
        .args(["check", "--format", "json"])
        .arg(capture("playhouse-healthy.pcapng"))
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let output = child.wait_with_output().unwrap();
    assert_eq!(status(&output), CLEAR);
    assert_eq!(said(&output.stderr), "");
}

#[test]
fn help_into_a_closed_pipe_is_quiet_too() {
    let mut child = Process::new(assert_cmd::cargo::cargo_bin("downbeat"))
        .args(["check", "--help"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let output = child.wait_with_output().unwrap();
    assert_eq!(status(&output), CLEAR);
    assert_eq!(said(&output.stderr), "");
}

#[test]
fn nothing_colours_what_goes_into_a_pipe() {
    for no_colour in [None, Some("1"), Some("")] {
        for arguments in [vec!["check", "--help"], vec!["check", "--no-such-option"], vec![]] {
            assert_plain(no_colour, &arguments);
        }
        for name in judged::DEMO {
            assert_plain(no_colour, &["check", capture(name).to_str().unwrap()]);
        }
    }
}

fn assert_plain(no_colour: Option<&str>, arguments: &[&str]) {
    let mut command = downbeat();
    command.args(arguments).env_remove("NO_COLOR").env_remove("CLICOLOR_FORCE");
    if let Some(value) = no_colour {
        command.env("NO_COLOR", value);
    }
    let output = command.output().unwrap();
    assert!(!output.stdout.contains(&0x1b), "{arguments:?}");
    assert!(!output.stderr.contains(&0x1b), "{arguments:?}");
}

#[test]
fn the_program_and_the_library_write_the_same() {
    for name in judged::DEMO {
        let judged = judged::demo(name);
        let run = |format: &str| {
            let mut command = downbeat();
            command.current_dir(in_project("captures")).args(["check", name, "--format", format]);
            command.output().unwrap()
        };
        // The program draws lines over time as well; the rest is the library's, octet by octet.
        let printed = run("text");
        let (before, rest) = said(&printed.stdout).split_once("\nOver time, ").unwrap();
        let (lines, after) = rest.split_once("\n\n").unwrap();
        assert!(lines.contains("load of the link"), "{name}: {lines}");
        assert_eq!(format!("{before}\n{after}"), judged.text, "{name}");
        assert_eq!(said(&run("json").stdout), judged.json, "{name}");
    }
}

#[test]
fn the_command_about_streams_writes_the_same_document_and_judges_nothing() {
    let wrong = capture("playhouse-wrong-domain.pcapng");
    let output = downbeat().args(["streams", "--format", "json"]).arg(&wrong).output().unwrap();
    assert_eq!(status(&output), 0);
    assert_eq!(
        output.stdout,
        downbeat().args(["check", "--format", "json"]).arg(&wrong).output().unwrap().stdout
    );
    let slow = downbeat().args(["streams", "--link-speed", "2M"]).arg(&wrong).output().unwrap();
    assert!(said(&slow.stdout).contains("2 Mb/s (as given)"), "{}", said(&slow.stdout));
    assert_eq!(
        status(&downbeat().args(["streams", "--link-speed", "fast"]).arg(&wrong).output().unwrap()),
        2
    );
    assert_eq!(status(&downbeat().args(["streams", "no-such-file"]).output().unwrap()), 2);
}
