//! The report on a terminal: names in any writing keep to 80 columns, and lines over time are drawn with what can be shown.

use std::fs;

use assert_cmd::Command;
use unicode_width::UnicodeWidthStr;

use crate::support::judged;
use crate::support::judged::in_project;

const NAMES: [&str; 4] = [
    "舞台左側カメラ第一系統予備機器収納架台上段右側放送用映像送出装置",
    "🎥🎭🎤🎧🎬🎼🎹🥁🎷🎺🎸🪕🎻🎲🎯🎳🎮🎰🧩🧸🪅🪩🪆🎴🃏🀄",
    "caf\u{e9} cafe\u{301} cafe\u{301}\u{302}\u{303}\u{304} Bühne links außen, zweiter Schrank von oben rechts",
    "a\u{1b}[31mred\u{202e}\u{7} name that is very long and goes on and on beyond all reason until it ends",
];

fn printed(arguments: &[&str], site: &str) -> String {
    let scratch = tempfile::tempdir().unwrap();
    let file = scratch.path().join("site.toml");
    fs::write(&file, site).unwrap();
    let mut command = Command::cargo_bin("downbeat").unwrap();
    command.current_dir(in_project("")).arg("check").arg("captures/playhouse-wrong-domain.pcapng");
    let output = command.arg("--site").arg(&file).args(arguments).output().unwrap();
    assert!(output.status.code().unwrap() < 2, "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).unwrap()
}

/// A site whose devices are called so.
fn named(names: &[&str]) -> String {
    let device = |(index, name): (usize, &&str)| {
        let name = name.replace('\u{1b}', "\\u001b").replace('\u{7}', "\\u0007");
        format!("[[device]]\nname = \"{name}{0}\"\nmac = \"02:00:5e:10:00:2{0}\"\n", index + 1)
    };
    format!(
        "[site]\nname = \"Harbour Playhouse\"\n{}",
        names.iter().enumerate().map(device).collect::<String>()
    )
}

#[test]
fn names_in_any_writing_keep_to_80_columns_and_drive_no_terminal() {
    for name in NAMES {
        let text = printed(&[], &named(&[name, name, name]));
        let first: String = name.chars().take(1).collect();
        assert!(text.contains(&format!("\"{first}")), "{name} is not shown:\n{text}");
        for line in text.lines() {
            assert!(line.width() <= 80, "{} columns: {line}", line.width());
            let hostile = |c: char| c.is_control() || matches!(c, '\u{202a}'..='\u{202e}');
            assert!(!line.contains(hostile), "{line:?}");
        }
    }
}

#[test]
fn columns_of_the_device_table_stand_under_one_another_whatever_the_names() {
    let plain = printed(&[], &named(&["camera"]));
    let wide = printed(&[], &named(&NAMES));
    let head = |text: &str| text.lines().find(|line| line.starts_with("Devices ")).unwrap().to_owned();
    assert_eq!(head(&plain), head(&wide));
}

#[test]
fn lines_over_time_are_blocks_or_ascii() {
    let section = |text: &str| {
        let rest = text.split("\nOver time, from ").nth(1).unwrap_or_else(|| panic!("{text}"));
        rest.split("\n\n").next().unwrap().to_owned()
    };
    let site = "[site]\nname = \"Harbour Playhouse\"\n";
    let blocks = section(&printed(&[], site));
    assert!(blocks.contains("offset, v2 domain 0") && blocks.contains("load of the link"), "{blocks}");
    assert!(blocks.contains('█') && blocks.contains('▁'), "{blocks}");
    assert!(blocks.lines().all(|line| line.width() <= 80), "{blocks}");
    let ascii = section(&printed(&["--ascii"], site));
    assert!(ascii.is_ascii() && ascii.contains('#') && ascii.contains('_'), "{ascii}");
    assert_eq!(blocks.lines().count(), ascii.lines().count());
}

#[test]
fn ascii_alone_is_ascii_alone_in_every_demo_and_as_wide() {
    for name in judged::DEMO {
        let text = |ascii: bool| {
            let mut command = assert_cmd::cargo::cargo_bin_cmd!("downbeat");
            command.current_dir(in_project("captures")).args(["check", "--fail-on", "never", name]);
            if ascii {
                command.arg("--ascii");
            }
            String::from_utf8(command.output().unwrap().stdout).unwrap()
        };
        let plain = text(true);
        assert!(plain.is_ascii(), "{name}");
        assert_eq!(plain.lines().count(), text(false).lines().count(), "{name}");
    }
}
