//! Text on a terminal: it takes the room there is, names in any writing keep to it, and lines over time are drawn with what
//! can be shown.

use std::fs;

use assert_cmd::Command;
use downbeat::compare;
use downbeat::compare::Report;
use downbeat::findings;
use downbeat::fit;
use downbeat::report;
use downbeat::report::Style;
use downbeat::timeline;
use downbeat::timeline::Filter;
use downbeat::units::BitsPerSecond;
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

/// What every command tells of a capture that writes text, in a style.
fn told(name: &str, style: Style) -> Vec<(&'static str, String)> {
    let octets = fs::read(in_project("captures").join(name)).unwrap();
    let analysis = judged::analysis(&[(name, octets)]);
    let document = report::document(&analysis, &findings::judge(&analysis));
    let mut json = Vec::new();
    report::write_json(&document, &mut json).unwrap();
    let saved = Report::parse(&String::from_utf8(json).unwrap()).unwrap();
    let events = timeline::timeline(&document, &Filter::default()).unwrap();
    let rate = BitsPerSecond(8_000_000);
    let planned = fit::Planned { name: "camera".to_owned(), count: 10, rate, direction: None };
    let growth = fit::Growth::of(&analysis, 10);
    let now = fit::Now::of(&analysis).unwrap();
    let sum = fit::Fit::of(now, fit::KeepFree::USUAL, vec![planned], growth);
    let written = |write: &dyn Fn(&mut Vec<u8>) -> std::io::Result<()>| {
        let mut out = Vec::new();
        write(&mut out).unwrap();
        String::from_utf8(out).unwrap()
    };
    vec![
        (
            "check",
            written(&|out| report::write_text_in_style(&document, &report::series(&analysis), style, out)),
        ),
        ("streams", written(&|out| report::write_streams(&document, style, out))),
        ("timeline", written(&|out| timeline::write(&events, style, out))),
        ("fit", written(&|out| report::write_fit(&report::fit_document(&analysis, &sum), style, out))),
        ("compare", written(&|out| compare::write(&compare::compare(&saved, &saved), style, out))),
        ("explain", written(&|out| report::write_explanation(&report::explain(None), style, out))),
        (
            "explain one",
            written(&|out| report::write_explanation(&report::explain(Some("no-querier")), style, out)),
        ),
    ]
}

#[test]
fn every_text_takes_the_room_there_is_and_no_more() {
    let name = "playhouse-multicast.pcapng";
    let words = |text: &str| text.split_whitespace().map(str::to_owned).collect::<Vec<_>>();
    let narrow = told(name, Style::default());
    for width in [80, 100, 120, 160, 500] {
        for ((command, text), (_, narrow)) in told(name, Style { width, ascii: false }).iter().zip(&narrow) {
            let longest = text.lines().map(UnicodeWidthStr::width).max().unwrap();
            assert!(longest <= width.min(160), "{command} at {width}: {longest}");
            // A comparison that finds nothing has no long line.
            if width >= 100 && *command != "compare" {
                assert!(longest > 80, "{command} at {width}: {longest}\n{text}");
            }
            // The report's table and lines over time hold more where there is room.
            if *command != "check" {
                assert_eq!(words(text), words(narrow), "{command} at {width}");
            }
        }
    }
    for (command, text) in told(name, Style { width: 120, ascii: true }) {
        assert!(text.is_ascii(), "{command}");
    }
}

#[test]
fn what_is_said_of_streams_of_one_source_begins_in_one_column() {
    let octets = fs::read(in_project("captures/media/media.pcap.gz")).unwrap();
    let analysis = judged::analysis(&[("media.pcap.gz", octets)]);
    let document = report::document(&analysis, &findings::judge(&analysis));
    let mut out = Vec::new();
    report::write_streams(&document, Style { width: 120, ascii: false }, &mut out).unwrap();
    let text = String::from_utf8(out).unwrap();
    let begins = |group: &str, what: &str| {
        let line = text.lines().find(|line| line.trim_start().starts_with(group)).unwrap();
        line.find(what).unwrap_or_else(|| panic!("{text}"))
    };
    let one = begins("239.20.2.1:5006 ", "video");
    assert_eq!([begins("239.255.255.255:9875 ", "other"), begins("239.20.2.1:5007 ", "other")], [one, one]);
    // Pictures come in bursts, so that the median from packet to packet is no rate; audio comes evenly.
    let words = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words.contains("in bursts, half of them within 8.843 us"), "{text}");
    assert!(words.contains("every 1 ms"), "{text}");
}
