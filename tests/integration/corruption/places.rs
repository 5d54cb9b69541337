//! Files that cannot be read, that go away, and links that lead round.

use std::fs;
use std::io;
use std::io::Cursor;
use std::io::Read;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::AtomicUsize;
use std::sync::atomic::Ordering;
use std::time::Duration;
use std::time::Instant;

use downbeat::analysis;
use downbeat::analysis::Reading;
use downbeat::analysis::Settings;
use downbeat::analysis::Threads;
use downbeat::capture::Input;
use downbeat::capture::JoinedSummary;
use downbeat::capture::Seekable;

use super::demo;
use super::program;
use super::status;
use super::text;

#[cfg(unix)]
fn link(to: &Path, from: &Path) {
    std::os::unix::fs::symlink(to, from).unwrap();
}

fn check(arguments: &[&Path]) -> std::process::Output {
    program().arg("check").args(arguments).output().unwrap()
}

#[cfg(target_os = "linux")]
#[test]
fn a_file_that_cannot_be_read_is_told_and_the_rest_go_on() {
    // Can be opened, is a regular file, and gives an error at its first octet.
    let unreadable = Path::new("/proc/self/mem");
    let output = check(&[unreadable]);
    assert_eq!(status(&output), 2);
    assert!(text(&output.stderr).contains("reading failed at offset 0"), "{output:?}");
    assert!(output.stdout.is_empty());

    let folder = tempfile::tempdir().unwrap();
    let closed = folder.path().join("closed.pcap");
    fs::copy(demo("playhouse-multicast.pcapng"), &closed).unwrap();
    fs::set_permissions(&closed, std::os::unix::fs::PermissionsExt::from_mode(0o000)).unwrap();
    let may_read_all = fs::File::open(&closed).is_ok();
    let output = check(&[unreadable, &closed, &demo("playhouse-wrong-domain.pcapng")]);
    assert_eq!(status(&output), 1);
    assert!(text(&output.stdout).contains("/proc/self/mem"), "{}", text(&output.stdout));
    if may_read_all {
        println!("passed over: whoever runs this may read every file");
    } else {
        assert!(text(&output.stderr).contains("closed.pcap: "), "{output:?}");
    }
}

#[cfg(unix)]
#[test]
fn links_and_folders_that_lead_round_are_gone_through_once() {
    let folder = tempfile::tempdir().unwrap();
    let inner = folder.path().join("inner");
    fs::create_dir(&inner).unwrap();
    let file = inner.join("a.pcapng");
    fs::copy(demo("playhouse-multicast.pcapng"), &file).unwrap();
    link(&file, &inner.join("b.pcapng"));
    // Two ways round: without care the paths through them are more than anybody can count.
    link(folder.path(), &inner.join("up"));
    link(&inner, &folder.path().join("down"));
    link(&inner.join("round"), &inner.join("round"));

    let report = |arguments: &[&Path]| {
        let begun = Instant::now();
        let output = program().args(["check", "--format", "json"]).args(arguments).output().unwrap();
        assert!(begun.elapsed() < Duration::from_secs(20), "{arguments:?}");
        let report: serde_json::Value = serde_json::from_str(text(&output.stdout))
            .unwrap_or_else(|error| panic!("{error} for {arguments:?}: {output:?}"));
        report["captures"].as_array().unwrap().len()
    };
    assert_eq!(report(&[&inner]), 1);
    assert_eq!(report(&[&inner, &inner.join("up/inner/up/down"), &file]), 1);
    assert_eq!(report(&[&folder.path().join("**/*.pcapng")]), 1);
    assert_eq!(report(&[&folder.path().join("*/up/inner/[ab].pcapng")]), 1);
}

#[test]
fn a_pattern_names_files_at_any_depth_and_no_others() {
    let folder = tempfile::tempdir().unwrap();
    let deep = folder.path().join("one/two");
    fs::create_dir_all(&deep).unwrap();
    for path in ["a.pcapng", "one/b.pcapng", "one/two/c.pcapng", "one/two/d.txt"] {
        fs::copy(demo("playhouse-multicast.pcapng"), folder.path().join(path)).unwrap();
    }
    let count = |pattern: &str| {
        let output =
            program().args(["check", "--format", "json"]).arg(folder.path().join(pattern)).output().unwrap();
        let report: Option<serde_json::Value> = serde_json::from_str(text(&output.stdout)).ok();
        report.map(|report| report["captures"].as_array().unwrap().len())
    };
    assert_eq!(count("**/*.pcapng"), Some(3));
    assert_eq!(count("**/two/*"), Some(2));
    assert_eq!(count("*/*.pcapng"), Some(1));
    assert_eq!(count("one/**/[cd].*"), Some(2));
    assert_eq!(count("one/**/x*"), None);
    assert_eq!(count("one/[b"), None);
}

/// What reading comes to on so many threads.
fn read(inputs: Vec<Input>, threads: usize) -> (u64, JoinedSummary) {
    let mut reading = Reading::new(Settings::default());
    let threads = Threads { count: threads.try_into().unwrap(), part: 20_000 };
    let files = analysis::read(&mut reading, inputs, threads);
    (files.captures.iter().map(|capture| capture.packets).sum(), files)
}

/// A file that can be opened `times` times and is gone then.
fn vanishing(octets: &Arc<Vec<u8>>, times: usize) -> Input {
    let (octets, opened) = (Arc::clone(octets), AtomicUsize::new(0));
    Input::seekable("vanishing", move || {
        if opened.fetch_add(1, Ordering::Relaxed) < times {
            Ok(Box::new(Cursor::new(octets.to_vec())) as Box<dyn Seekable>)
        } else {
            Err(io::ErrorKind::NotFound.into())
        }
    })
}

#[test]
fn a_file_that_goes_away_while_others_are_read_is_told() {
    let octets = Arc::new(fs::read(demo("playhouse-multicast.pcapng")).unwrap());
    let (all, _) = read(vec![vanishing(&octets, usize::MAX)], 1);
    assert!(all > 1000);
    for threads in [1, 3] {
        // Gone at once; gone between the first look and the reading.
        let (packets, files) = read(vec![vanishing(&octets, 0)], threads);
        assert_eq!((packets, files.captures.len(), files.unreadable.len()), (0, 0, 1));
        let (packets, files) = read(vec![vanishing(&octets, 1), vanishing(&octets, usize::MAX)], threads);
        assert_eq!((packets, files.captures.len(), files.unreadable.len()), (all, 2, 1));
        assert_eq!(files.unreadable[0].0, "vanishing");
        // One that several threads read of: those that cannot open it leave the work to the others.
        for times in 1..4 {
            let (packets, files) = read(vec![vanishing(&octets, times)], threads);
            assert_eq!((packets, files.captures.len(), files.unreadable.len()), (all, 1, 0), "{times}");
        }
    }
}

/// A file that somebody cuts while it is read: every opening finds less of it.
#[test]
fn a_file_that_becomes_shorter_while_it_is_read_is_read_as_far_as_it_goes() {
    let octets = fs::read(demo("playhouse-multicast.pcapng")).unwrap();
    for threads in [1, 3] {
        let (octets, opened) = (octets.clone(), AtomicUsize::new(0));
        let whole = octets.len();
        let input = Input::seekable("shrinking", move || {
            let times = opened.fetch_add(1, Ordering::Relaxed);
            Ok(Box::new(Shrinking { octets: Cursor::new(octets.clone()), left: whole * 2 / (3 + times) }))
        });
        let (packets, files) = read(vec![input], threads);
        assert!(packets > 100, "{packets}");
        assert_eq!(files.captures.len(), 1);
        assert!(files.captures[0].damage.len() <= 1, "{:?}", files.captures[0].damage);
    }
}

/// Says that it is whole and ends early.
struct Shrinking {
    octets: Cursor<Vec<u8>>,
    left: usize,
}

impl Read for Shrinking {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        let at = usize::try_from(self.octets.position()).unwrap();
        let count = into.len().min(self.left.saturating_sub(at));
        self.octets.read(&mut into[..count])
    }
}

impl io::Seek for Shrinking {
    fn seek(&mut self, to: io::SeekFrom) -> io::Result<u64> {
        self.octets.seek(to)
    }
}
