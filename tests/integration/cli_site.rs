//! The site file from outside: acceptance by exit status, errors by line, and the first file from a good capture.

use std::fs;
use std::path::Path;
use std::process::Output;

use assert_cmd::Command;

use crate::support::judged::in_project;

fn run(arguments: &[&str]) -> Output {
    let mut command = Command::cargo_bin("downbeat").unwrap();
    command.current_dir(in_project("captures")).args(arguments).output().unwrap()
}

fn check(site: &Path, capture: &str) -> i32 {
    run(&["check", "--site", site.to_str().unwrap(), capture]).status.code().unwrap()
}

#[test]
fn the_file_written_on_a_good_day_accepts_that_day_and_refuses_a_bad_one() {
    let folder = tempfile::tempdir().unwrap();
    let site = folder.path().join("site.toml");
    let output = run(&["site", "playhouse-healthy.pcapng", "--out", site.to_str().unwrap()]);
    assert_eq!(output.status.code(), Some(0));
    assert!(output.stdout.is_empty() && output.stderr.is_empty());
    assert_eq!(check(&site, "playhouse-healthy.pcapng"), 0);
    assert_eq!(check(&site, "playhouse-wrong-domain.pcapng"), 1);
    assert_eq!(check(&site, "playhouse-quality-drop.pcapng.gz"), 1);
    // The clock that stands by is not shown to follow.
    let text = fs::read_to_string(&site).unwrap();
    fs::write(&site, text.replace("needs_clock = false", "needs_clock = true")).unwrap();
    assert_eq!(check(&site, "playhouse-healthy.pcapng"), 3);
}

#[test]
fn a_bad_day_is_written_down_with_a_warning() {
    let output = run(&["site", "playhouse-two-leaders.pcapng"]);
    assert_eq!(output.status.code(), Some(0));
    let told = String::from_utf8(output.stderr).unwrap();
    assert!(told.contains("no good day"), "{told}");
    assert!(downbeat::site::parse(&String::from_utf8(output.stdout).unwrap()).is_ok());
}

#[test]
fn each_error_of_a_site_file_names_file_line_key_and_the_nearest_known_one() {
    let folder = tempfile::tempdir().unwrap();
    let site = folder.path().join("site.toml");
    fs::write(&site, "[clock]\ndomian = 0\nmax_offset = \"soon\"\n").unwrap();
    let output = run(&["check", "--site", site.to_str().unwrap(), "playhouse-healthy.pcapng"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(output.stdout.is_empty());
    let told = String::from_utf8(output.stderr).unwrap();
    let lines: Vec<&str> = told.lines().collect();
    let name = site.display().to_string();
    assert!(lines[0].contains(&format!("{name}: line 2: clock.domian: ")), "{told}");
    assert!(lines[0].contains("clock.domain"), "{told}");
    assert!(lines[1].contains(&format!("{name}: line 3: clock.max_offset: ")), "{told}");
    assert!(lines[2].contains("2 things are wrong"), "{told}");
    let missing = folder.path().join("none.toml");
    assert_eq!(check(&missing, "playhouse-healthy.pcapng"), 2);
}

#[test]
fn a_domain_on_the_command_line_goes_before_the_files() {
    let folder = tempfile::tempdir().unwrap();
    let site = folder.path().join("site.toml");
    fs::write(&site, "[clock]\ndomain = 5\n").unwrap();
    assert_eq!(check(&site, "playhouse-healthy.pcapng"), 1);
    let site = site.to_str().unwrap();
    let output = run(&["check", "--site", site, "--domain", "0", "playhouse-healthy.pcapng"]);
    assert_eq!(output.status.code(), Some(0));
}

#[test]
fn the_report_does_not_overwrite_the_site_file() {
    let folder = tempfile::tempdir().unwrap();
    let site = folder.path().join("site.toml");
    fs::write(&site, "[clock]\ndomain = 0\n").unwrap();
    let path = site.to_str().unwrap();
    let output = run(&["check", "--site", path, "--out", path, "playhouse-healthy.pcapng"]);
    assert_eq!(output.status.code(), Some(2));
    assert_eq!(fs::read_to_string(&site).unwrap(), "[clock]\ndomain = 0\n");
}

#[test]
fn what_the_site_file_plans_is_held_against_its_link() {
    let folder = tempfile::tempdir().unwrap();
    let site = folder.path().join("site.toml");
    let fit = |text: &str, more: &[&str]| {
        fs::write(&site, text).unwrap();
        let arguments = [
            &["fit", "--format", "json", "--site", site.to_str().unwrap(), "playhouse-healthy.pcapng"][..],
            more,
        ];
        run(&arguments.concat())
    };
    let planned = "[[planned]]\nname = \"balcony cameras\"\ncount = 2\nrate = \"700M\"\n";
    let narrow = fit(&format!("[link]\nspeed = \"1G\"\n{planned}"), &[]);
    assert_eq!(narrow.status.code(), Some(1));
    let wide = fit(&format!("[link]\nspeed = \"10G\"\nkeep_free = 0.5\n{planned}"), &[]);
    assert_eq!(wide.status.code(), Some(0), "{}", String::from_utf8_lossy(&wide.stderr));
    let document: serde_json::Value = serde_json::from_slice(&wide.stdout).unwrap();
    assert_eq!(document["link"]["speed_bps"], 10_000_000_000_u64);
    assert_eq!(document["keep_free"], 0.5);
    assert_eq!(document["planned"][0]["name"], "balcony cameras");
    assert_eq!(
        (&document["planned"][0]["count"], &document["planned"][0]["rate_bps"]),
        (&2.into(), &700_000_000.into())
    );
    // The command line goes before the file, and adds to it.
    let both =
        fit(&format!("[link]\nspeed = \"10G\"\n{planned}"), &["--link-speed", "1G", "--add", "lamp=1M"]);
    assert_eq!(both.status.code(), Some(1));
    let document: serde_json::Value = serde_json::from_slice(&both.stdout).unwrap();
    assert_eq!(document["planned"].as_array().unwrap().len(), 2);
    assert_eq!(fit("[link]\nspeed = \"10G\"\n", &[]).status.code(), Some(2));
}
