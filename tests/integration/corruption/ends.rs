//! Disks that are full, pipes that close, and Ctrl+C.
#![cfg(unix)]

use std::collections::BTreeSet;
use std::fs;
use std::io::Write;
use std::path::Path;
use std::process::Child;
use std::process::Command;
use std::process::Output;
use std::process::Stdio;
use std::sync::mpsc;
use std::time::Duration;
use std::time::Instant;

use serde_json::Value;

use super::demo;
use super::names;
use super::program;
use super::status;
use super::text;

/// Runs `command` in a shell, with `$0` the program and `$1` a capture.
fn shell(command: &str, folder: &Path) -> Output {
    Command::new("sh")
        .args(["-c", command])
        .arg(assert_cmd::cargo::cargo_bin("downbeat"))
        .arg(demo("playhouse-two-leaders.pcapng"))
        .current_dir(folder)
        .output()
        .unwrap()
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_is_told_and_no_report_is_taken_for_whole() {
    let folder = tempfile::tempdir().unwrap();
    for format in ["text", "json", "html"] {
        let output = shell(&format!("\"$0\" check --format {format} \"$1\" > /dev/full"), folder.path());
        assert_eq!(status(&output), 2, "{format}");
        assert!(text(&output.stderr).starts_with("downbeat: standard output: No space left"), "{output:?}");
        let output = shell(&format!("\"$0\" check --format {format} \"$1\" --out /dev/full"), folder.path());
        assert_eq!(status(&output), 2, "{format}");
        assert!(text(&output.stderr).starts_with("downbeat: /dev/full: No space left"), "{output:?}");
    }
    assert!(Path::new("/dev/full").exists());
}

/// Files may not grow beyond a few kilobytes, as on a disk that fills up meanwhile.
const LITTLE_SPACE: &str = "trap '' XFSZ; ulimit -f 8;";

#[cfg(target_os = "linux")]
#[test]
fn a_disk_that_fills_up_leaves_nothing_half_written() {
    let folder = tempfile::tempdir().unwrap();
    let old = folder.path().join("report.json");
    fs::write(&old, "the report of yesterday").unwrap();
    let output = shell(
        &format!("{LITTLE_SPACE} exec \"$0\" check --format json \"$1\" --out report.json"),
        folder.path(),
    );
    assert_eq!(status(&output), 2, "{output:?}");
    assert!(text(&output.stderr).starts_with("downbeat: report.json: "), "{output:?}");
    assert_eq!(names(folder.path()), ["report.json"]);
    assert_eq!(fs::read_to_string(&old).unwrap(), "the report of yesterday");

    let output = shell(&format!("{LITTLE_SPACE} exec \"$0\" export \"$1\" --to tables"), folder.path());
    assert_eq!(status(&output), 2, "{output:?}");
    assert_eq!(names(folder.path()), ["report.json"]);
    // With room for it the same is written.
    let output = shell("exec \"$0\" check --format json \"$1\" --out report.json", folder.path());
    assert_eq!(status(&output), 1);
    assert!(fs::metadata(&old).unwrap().len() > 8192);
}

#[test]
fn a_reader_that_has_seen_enough_ends_the_program_quietly() {
    let folder = tempfile::tempdir().unwrap();
    for command in ["check", "check --format json", "check --format html", "streams", "timeline", "explain"] {
        let capture = if command == "explain" { "" } else { "\"$1\"" };
        let output =
            shell(&format!("{{ \"$0\" {command} {capture}; echo \"$?\" >&2; }} | head -n 1"), folder.path());
        assert_eq!(text(&output.stdout).lines().count(), 1, "{command}");
        let ended: i32 =
            text(&output.stderr).trim().parse().unwrap_or_else(|_| panic!("{command}: {output:?}"));
        assert!(ended < 2, "{command}: {ended}");
    }
}

/// A program that waits for more of a capture, of which it was given so much.
fn waiting(arguments: &[&str], folder: &Path, octets: &[u8]) -> Child {
    let mut child = program()
        .args(arguments)
        .current_dir(folder)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    child.stdin.as_mut().unwrap().write_all(octets).unwrap();
    until_taken(&child, octets.len());
    child
}

/// Waits until a program has read so much and has been at rest since.
fn until_taken(child: &Child, octets: usize) {
    let read = || -> Option<usize> {
        let told = fs::read_to_string(format!("/proc/{}/io", child.id())).ok()?;
        told.lines().find_map(|line| line.strip_prefix("rchar: "))?.parse().ok()
    };
    let begun = Instant::now();
    let mut before = None;
    while begun.elapsed() < Duration::from_secs(30) {
        let now = read();
        std::thread::sleep(Duration::from_millis(100));
        // Where nobody counts what is read, a second is to be enough.
        let is_known_to_rest = now.is_some_and(|count| count >= octets) && now == before;
        if is_known_to_rest || (now.is_none() && begun.elapsed() > Duration::from_secs(1)) {
            return;
        }
        before = now;
    }
}

fn interrupt(child: &Child) {
    let sent = Command::new("kill").args(["-INT", &child.id().to_string()]).status().unwrap();
    assert!(sent.success());
}

/// Waits for its end, while what it reads from stays open and silent.
fn ended(mut child: Child) -> Output {
    let number = child.id();
    let silent = child.stdin.take();
    let (done, output) = mpsc::channel();
    std::thread::spawn(move || done.send(child.wait_with_output().unwrap()));
    let output = output.recv_timeout(Duration::from_secs(30)).unwrap_or_else(|_| {
        drop(Command::new("kill").args(["-KILL", &number.to_string()]).status());
        panic!("it goes on waiting");
    });
    drop(silent);
    output
}

/// Interrupts it once and waits for its end.
fn stopped(child: Child) -> Output {
    interrupt(&child);
    ended(child)
}

#[test]
fn ctrl_c_gives_the_report_of_what_was_read_and_says_so() {
    let capture = fs::read(demo("playhouse-healthy.pcapng")).unwrap();
    let given = &capture[..700_000];
    let folder = tempfile::tempdir().unwrap();
    let mut told_packets = BTreeSet::new();
    for format in ["text", "json", "html"] {
        for out in [false, true] {
            let mut arguments = vec!["check", "--format", format, "-"];
            arguments.extend(out.then_some(["--out", "report"]).into_iter().flatten());
            let output = stopped(waiting(&arguments, folder.path(), given));
            // Sound as far as it goes; what comes behind nobody knows.
            assert_eq!(status(&output), 3, "{format}: {output:?}");
            let told = "-: reading was stopped by hand at offset";
            assert!(text(&output.stderr).contains(told), "{}", text(&output.stderr));
            let report = if out { fs::read(folder.path().join("report")).unwrap() } else { output.stdout };
            let report = text(&report);
            let says = "reading was stopped by hand: this tells of";
            match format {
                "text" => assert!(report.starts_with(&format!("PARTIAL: {says}")), "{report}"),
                "html" => assert!(report.contains(says) && report.ends_with("</body></html>"), "{report}"),
                _ => {
                    let report: Value = serde_json::from_str(report).unwrap();
                    assert_eq!(report["span"]["partial"], true);
                    assert_eq!(report["unreadable"][0]["file"], "-");
                    let packets = report["captures"][0]["packets"].as_u64().unwrap();
                    assert_eq!(report["span"]["frames"], packets);
                    told_packets.insert(packets);
                }
            }
        }
    }
    assert_eq!(names(folder.path()), ["report"]);
    // All that was given, to the last whole record; where the file ends in the next, what is there of that counts too.
    let cut = folder.path().join("cut.pcapng");
    fs::write(&cut, given).unwrap();
    let output = program().args(["check", "--format", "json"]).arg(cut).output().unwrap();
    let report: Value = serde_json::from_str(text(&output.stdout)).unwrap();
    let packets = report["captures"][0]["packets"].as_u64().unwrap();
    assert_eq!(told_packets, BTreeSet::from([packets - 1]));
}

#[test]
fn ctrl_c_ends_the_waiting_for_a_first_octet() {
    let folder = tempfile::tempdir().unwrap();
    let pipe = folder.path().join("pipe");
    assert!(Command::new("mkfifo").arg(&pipe).status().unwrap().success());
    let saved = folder.path().join("saved.json");
    let report = program().args(["check", "--format", "json"]).arg(demo("playhouse-healthy.pcapng")).output();
    fs::write(&saved, report.unwrap().stdout).unwrap();
    // Standard input; a pipe by name, which nobody writes to; either side of a comparison.
    for (arguments, told) in [
        (&["check", "-"][..], "none of the inputs can be read as a capture"),
        (&["check", "pipe"], "none of the inputs can be read as a capture"),
        (&["compare", "saved.json", "-"], "so nothing is written"),
        (&["compare", "-", "saved.json"], "so nothing is written"),
    ] {
        let child = waiting(arguments, folder.path(), &[]);
        std::thread::sleep(Duration::from_millis(300));
        let output = stopped(child);
        assert_eq!(status(&output), 2, "{arguments:?}: {output:?}");
        assert!(output.stdout.is_empty(), "{arguments:?}: {output:?}");
        let errors = text(&output.stderr);
        assert!(errors.contains("reading was stopped by hand"), "{arguments:?}: {errors}");
        assert!(errors.contains(told), "{arguments:?}: {errors}");
    }
}

#[test]
fn a_saved_report_through_a_pipe_that_stalls_is_left_at_ctrl_c() {
    let folder = tempfile::tempdir().unwrap();
    let healthy = demo("playhouse-healthy.pcapng");
    let arguments = ["compare", healthy.to_str().unwrap(), "-"];
    let output = stopped(waiting(&arguments, folder.path(), b"{ \"schema\": "));
    assert_eq!(status(&output), 2, "{output:?}");
    assert!(text(&output.stderr).contains("so nothing is written"), "{output:?}");
}

#[test]
fn a_pipe_by_name_is_read_as_the_file_is() {
    let folder = tempfile::tempdir().unwrap();
    let output = shell(
        "mkfifo pipe; cat \"$1\" > pipe & \"$0\" check --format json pipe > piped; \
         cat \"$1\" | \"$0\" check --format json - > standard; \"$0\" check --format json \"$1\" > plain",
        folder.path(),
    );
    let capture = demo("playhouse-two-leaders.pcapng");
    let report = |saved: &str, name: &str| {
        let saved = fs::read_to_string(folder.path().join(saved)).unwrap();
        assert!(saved.contains(&format!("\"file\": \"{name}\"")), "{name}: {output:?}");
        saved.replace(&format!("\"file\": \"{name}\""), "\"file\": \"capture\"")
    };
    let plain = report("plain", capture.to_str().unwrap());
    assert!(plain.contains("\"frames\": 3460,"), "{plain}");
    assert_eq!(report("piped", "pipe"), plain);
    assert_eq!(report("standard", "-"), plain);
}

#[test]
fn a_report_of_the_whole_says_no_word_of_parts() {
    let output =
        program().args(["check", "--format", "json"]).arg(demo("playhouse-healthy.pcapng")).output().unwrap();
    let report: Value = serde_json::from_str(text(&output.stdout)).unwrap();
    assert_eq!(report["span"]["partial"], false);
    let output = program().arg("check").arg(demo("playhouse-healthy.pcapng")).output().unwrap();
    assert!(!text(&output.stdout).contains("PARTIAL"));
}

#[test]
fn commands_whose_outcome_would_be_taken_for_the_whole_refuse_a_part() {
    let capture = fs::read(demo("playhouse-healthy.pcapng")).unwrap();
    let given = &capture[..700_000];
    let folder = tempfile::tempdir().unwrap();
    let healthy = demo("playhouse-healthy.pcapng");
    let healthy = healthy.to_str().unwrap();
    for arguments in [
        &["fit", "-", "--add", "camera=100M"][..],
        &["export", "-", "--to", "tables"],
        &["site", "-"],
        &["compare", healthy, "-"],
    ] {
        let output = stopped(waiting(arguments, folder.path(), given));
        assert_eq!(status(&output), 2, "{arguments:?}: {output:?}");
        assert!(output.stdout.is_empty(), "{arguments:?}");
        assert!(text(&output.stderr).contains("so nothing is written"), "{arguments:?}: {output:?}");
    }
    assert!(names(folder.path()).is_empty());
    for command in ["timeline", "streams"] {
        let output = stopped(waiting(&[command, "-"], folder.path(), given));
        assert_eq!(status(&output), 3, "{command}");
        assert!(text(&output.stdout).starts_with("PARTIAL: "), "{command}: {}", text(&output.stdout));
    }
}

#[test]
fn a_saved_report_of_a_part_is_not_compared() {
    let capture = fs::read(demo("playhouse-healthy.pcapng")).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let arguments = ["check", "-", "--format", "json", "--out", "part.json"];
    stopped(waiting(&arguments, folder.path(), &capture[..700_000]));
    let output = program()
        .args(["compare", "part.json"])
        .arg(demo("playhouse-healthy.pcapng"))
        .current_dir(folder.path())
        .output()
        .unwrap();
    assert_eq!(status(&output), 2);
    assert!(
        text(&output.stderr).contains("part.json: this report is of a part of its captures"),
        "{output:?}"
    );
}

#[test]
fn ctrl_c_twice_ends_at_once() {
    let capture = fs::read(demo("playhouse-healthy.pcapng")).unwrap();
    let folder = tempfile::tempdir().unwrap();
    // The report goes into a pipe from which nobody reads, so that writing it waits.
    assert!(Command::new("mkfifo").arg(folder.path().join("report")).status().unwrap().success());
    let mut child = waiting(&["check", "-", "--out", "report"], folder.path(), &capture[..700_000]);
    interrupt(&child);
    std::thread::sleep(Duration::from_millis(500));
    assert!(child.try_wait().unwrap().is_none());
    let begun = Instant::now();
    let output = stopped(child);
    assert_eq!(output.status.code(), Some(130));
    assert!(begun.elapsed() < Duration::from_secs(5));
}

#[test]
fn ctrl_c_twice_leaves_no_part_of_an_export() {
    let capture = fs::read(demo("playhouse-healthy.pcapng")).unwrap();
    let folder = tempfile::tempdir().unwrap();
    // The second one has to come before the first is heeded, which chance decides.
    let is_ended_at_once = (0..50).any(|_| {
        let child = waiting(&["export", "-", "--to", "tables"], folder.path(), &capture[..100_000]);
        assert!(!names(folder.path()).is_empty(), "it is in the making");
        let twice = format!("kill -INT {0}; sleep 0.01; kill -INT {0}", child.id());
        Command::new("sh").args(["-c", &twice]).status().unwrap();
        let output = ended(child);
        assert!(names(folder.path()).is_empty(), "{:?}", names(folder.path()));
        output.status.code() == Some(130)
    });
    assert!(is_ended_at_once);
}
