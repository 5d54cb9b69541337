//! Where there is no network the program does what it does anywhere: it opens no socket.
#![cfg(target_os = "linux")]

use std::process::Command;

use crate::support::judged::DEMO;
use crate::support::judged::in_project;

#[test]
fn without_any_interface_every_report_is_the_same_to_the_octet() {
    let alone = ["-rn", "--"];
    let interfaces = Command::new("unshare").args(alone).args(["cat", "/proc/net/dev"]).output();
    let Some(interfaces) = interfaces.ok().filter(|output| output.status.success()) else {
        println!("passed over: a network of one's own (unshare -rn) is not allowed here");
        return;
    };
    let named: Vec<String> = String::from_utf8(interfaces.stdout)
        .unwrap()
        .lines()
        .filter_map(|line| line.split_once(':').map(|(name, _)| name.trim().to_owned()))
        .collect();
    assert_eq!(named, ["lo"], "that network has nothing but itself");

    let program = assert_cmd::cargo::cargo_bin("downbeat");
    for name in DEMO {
        for asked in
            [&["check"][..], &["check", "--format", "html"], &["timeline"], &["streams", "--format", "json"]]
        {
            let capture = in_project("captures").join(name);
            let usual = Command::new(&program).args(asked).arg(&capture).output().unwrap();
            let cut_off =
                Command::new("unshare").args(alone).arg(&program).args(asked).arg(&capture).output().unwrap();
            assert!(!usual.stdout.is_empty());
            assert!(usual == cut_off, "{name}, {asked:?}");
        }
    }
}
