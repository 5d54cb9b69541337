//! Disks that are full, pipes that close, and Ctrl+C.
#![cfg(unix)]

use std::fs;
use std::io::Write;
use std::path::Path;
use std::process::Child;
use std::process::Command;
use std::process::Output;
use std::process::Stdio;
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
    // More than a pipe holds, so that the program listens when this is done.
    child.stdin.as_mut().unwrap().write_all(octets).unwrap();
    until_taken(&child, octets.len());
    child
}

/// Waits until a program has read so much and has been at rest since. Before, part of it is still in the pipe, and who is
/// interrupted then ends with its next reading instead of waiting.
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

/// Interrupts it, gives it one octet more, which ends its waiting, and waits for its end.
fn stopped(mut child: Child, octets: &[u8]) -> Output {
    interrupt(&child);
    std::thread::sleep(Duration::from_millis(200));
    // It may be gone already.
    drop(child.stdin.as_mut().unwrap().write_all(octets));
    child.wait_with_output().unwrap()
}

#[test]
fn ctrl_c_gives_the_report_of_what_was_read_and_says_so() {
    let capture = fs::read(demo("playhouse-healthy.pcapng")).unwrap();
    let (given, more) = (&capture[..700_000], &capture[700_000..700_001]);
    let folder = tempfile::tempdir().unwrap();
    for format in ["text", "json", "html"] {
        for out in [false, true] {
            let mut arguments = vec!["check", "--format", format, "-"];
            arguments.extend(out.then_some(["--out", "report"]).into_iter().flatten());
            let output = stopped(waiting(&arguments, folder.path(), given), more);
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
                    assert!((2000..9000).contains(&packets), "{packets}");
                    assert_eq!(report["span"]["frames"], packets);
                }
            }
        }
    }
    assert_eq!(names(folder.path()), ["report"]);
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
    let (given, more) = (&capture[..700_000], &capture[700_000..700_001]);
    let folder = tempfile::tempdir().unwrap();
    let healthy = demo("playhouse-healthy.pcapng");
    let healthy = healthy.to_str().unwrap();
    for arguments in [
        &["fit", "-", "--add", "camera=100M"][..],
        &["export", "-", "--to", "tables"],
        &["site", "-"],
        &["compare", healthy, "-"],
    ] {
        let output = stopped(waiting(arguments, folder.path(), given), more);
        assert_eq!(status(&output), 2, "{arguments:?}: {output:?}");
        assert!(output.stdout.is_empty(), "{arguments:?}");
        assert!(text(&output.stderr).contains("so nothing is written"), "{arguments:?}: {output:?}");
    }
    assert!(names(folder.path()).is_empty());
    for command in ["timeline", "streams"] {
        let output = stopped(waiting(&[command, "-"], folder.path(), given), more);
        assert_eq!(status(&output), 3, "{command}");
        assert!(text(&output.stdout).starts_with("PARTIAL: "), "{command}: {}", text(&output.stdout));
    }
}

#[test]
fn a_saved_report_of_a_part_is_not_compared() {
    let capture = fs::read(demo("playhouse-healthy.pcapng")).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let arguments = ["check", "-", "--format", "json", "--out", "part.json"];
    stopped(waiting(&arguments, folder.path(), &capture[..700_000]), &capture[700_000..700_001]);
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
    // Nothing more comes, so that it goes on waiting.
    let child = waiting(&["check", "-", "--out", "report"], folder.path(), &capture[..700_000]);
    interrupt(&child);
    std::thread::sleep(Duration::from_millis(200));
    interrupt(&child);
    let begun = Instant::now();
    let mut child = child;
    let ended = child.wait().unwrap();
    assert_eq!(ended.code(), Some(130));
    assert!(begun.elapsed() < Duration::from_secs(5));
    assert!(names(folder.path()).is_empty());
}
