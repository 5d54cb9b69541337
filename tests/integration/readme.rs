//! What README says is what the program does.

use std::fs;

use assert_cmd::Command;

use crate::support::judged::in_project;

fn readme() -> String {
    fs::read_to_string(in_project("README.md")).unwrap()
}

fn printed(arguments: &[&str]) -> String {
    let mut command = Command::cargo_bin("downbeat").unwrap();
    let output = command.current_dir(in_project("")).args(arguments).output().unwrap();
    String::from_utf8(output.stdout).unwrap()
}

/// The long options in a text.
fn options(text: &str) -> Vec<String> {
    let mut found: Vec<String> = text
        .split(|c: char| !(c.is_ascii_lowercase() || c == '-'))
        .filter(|word| word.starts_with("--") && !word.ends_with('-'))
        .map(str::to_owned)
        .collect();
    found.sort();
    found.dedup();
    found
}

#[test]
fn the_readme_lists_the_options_of_the_help() {
    let readme = readme();
    let section = readme.split("\n## Options\n").nth(1).and_then(|rest| rest.split("\n## ").next()).unwrap();
    let mut in_help = options(&printed(&["check", "--help"]));
    in_help.retain(|option| option != "--help");
    assert!(in_help.len() >= 6, "{in_help:?}");
    assert_eq!(options(section), in_help);
}

/// README shows the beginning of the report of the command it names, and its table of devices.
#[test]
fn the_sample_is_what_the_program_prints() {
    let readme = readme();
    let sample = readme.split("<!-- sample: checked by a test -->\n```text\n").nth(1).unwrap();
    let sample = sample.split("```\n<!-- end of sample -->").next().unwrap();
    let command =
        readme.split("cargo run --release -- ").nth(1).and_then(|rest| rest.lines().next()).unwrap();
    let printed = printed(&command.split(' ').collect::<Vec<_>>());
    assert!(sample.lines().count() > 5);
    assert!(printed.starts_with(sample), "README shows:\n{sample}\nprinted is:\n{printed}");
    let table = readme.split("<!-- table: checked by a test -->\n```text\n").nth(1).unwrap();
    let table = table.split("```\n<!-- end of table -->").next().unwrap();
    assert!(table.lines().count() > 5);
    assert!(printed.contains(&format!("\n\n{table}\n")), "README shows:\n{table}\nprinted is:\n{printed}");
}
