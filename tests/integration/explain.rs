//! `downbeat explain`: every rule has a page that says all that is asked of one, with the sources that the rule names.

use std::collections::BTreeSet;
use std::fs;
use std::path::PathBuf;
use std::process::Output;

use assert_cmd::Command;
use downbeat::findings;
use downbeat::findings::rules;
use downbeat::report;
use serde_json::Value;

use crate::support::judged;
use crate::support::judged::in_project;

const HEADINGS: [&str; 5] =
    ["What it means", "What shows it", "What it cannot know", "What to do", "Sources"];

/// The text of a page under a heading, in one line.
fn section<'p>(page: &'p str, heading: &str) -> &'p str {
    let mark = format!("\n## {heading}\n");
    let text = page.split(&mark).nth(1).unwrap_or_else(|| panic!("no {heading} in {page}"));
    text.split("\n## ").next().unwrap().trim()
}

fn in_one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The texts in quotes of a piece of Rust.
fn literals(code: &str) -> Vec<String> {
    let mut literals = Vec::new();
    let mut rest = code;
    while let Some((_, after)) = rest.split_once('"') {
        let mut end = 0;
        let octets = after.as_bytes();
        while octets[end] != b'"' {
            end += if octets[end] == b'\\' { 2 } else { 1 };
        }
        // A line break behind a backslash, and the blanks after it, are no part of the text.
        let joined: Vec<&str> = after[..end]
            .split("\\\n")
            .enumerate()
            .map(|(n, part)| if n > 0 { part.trim_start() } else { part })
            .collect();
        literals.push(joined.concat());
        rest = &after[end + 1..];
    }
    literals
}

/// The lists that a rule's file gives under this name: `sources: vec![…]`.
fn lists(code: &str, name: &str) -> Vec<String> {
    let mark = format!("{name}: vec![");
    code.split(&mark).skip(1).flat_map(|rest| literals(rest.split("],").next().unwrap())).collect()
}

/// The file of a rule, in the folder of its group.
fn file_of(id: &str) -> PathBuf {
    let name = format!("{}.rs", id.replace('-', "_"));
    let entries = fs::read_dir(in_project("src/findings")).unwrap();
    let groups = entries.map(|entry| entry.unwrap().path()).filter(|path| path.is_dir());
    let found: Vec<PathBuf> = groups.map(|group| group.join(&name)).filter(|file| file.is_file()).collect();
    let [file] = found.as_slice() else { panic!("{id}: {found:?}") };
    file.clone()
}

#[test]
fn every_page_says_all_and_fits_a_terminal() {
    for rule in rules() {
        let page = findings::page(rule.id()).unwrap_or_else(|| panic!("{} has no page", rule.id()));
        assert!(page.starts_with(&format!("# {}\n\n", rule.id())), "{}", rule.id());
        let summary = page.lines().skip(2).take_while(|line| !line.is_empty()).collect::<Vec<_>>().join(" ");
        assert_eq!(summary.to_lowercase(), format!("{}.", rule.summary()).to_lowercase());
        let headings: Vec<&str> = page.lines().filter_map(|line| line.strip_prefix("## ")).collect();
        assert_eq!(headings, HEADINGS, "{}", rule.id());
        for heading in HEADINGS {
            assert!(section(page, heading).len() > 15, "{}: {heading}", rule.id());
        }
        for line in page.lines() {
            assert!(line.chars().count() <= 80, "{}: {line}", rule.id());
        }
    }
}

#[test]
fn every_page_names_the_sources_and_steps_that_the_rule_names() {
    let mut seen = 0;
    let mut lacking = Vec::new();
    for rule in rules() {
        let page = findings::page(rule.id()).unwrap();
        let (sources, steps) =
            (in_one_line(section(page, "Sources")), in_one_line(section(page, "What to do")));
        let code = fs::read_to_string(file_of(rule.id())).unwrap();
        let own = |texts: &[&str]| texts.iter().map(|text| (*text).to_owned()).collect::<Vec<_>>();
        let named = [own(rule.sources()), lists(&code, "sources")].concat();
        assert!(!named.is_empty(), "{}: no list of sources was read", rule.id());
        for source in &named {
            lacking.extend(
                (!sources.contains(&in_one_line(source))).then(|| format!("{}: {source}", rule.id())),
            );
            seen += 1;
        }
        for step in [own(rule.next()), lists(&code, "next")].concat() {
            lacking.extend((!steps.contains(&in_one_line(&step))).then(|| format!("{}: {step}", rule.id())));
        }
    }
    assert!(lacking.is_empty(), "{lacking:#?}");
    assert!(seen > rules().count(), "{seen}");
}

/// What the demo captures' findings really carry, whatever way the rule put it together.
#[test]
fn findings_carry_sources_and_steps_of_their_page() {
    let mut fired = BTreeSet::new();
    for name in judged::DEMO {
        for finding in judged::demo(name).value()["findings"].as_array().unwrap() {
            let id = finding["id"].as_str().unwrap();
            let page = in_one_line(findings::page(id).unwrap());
            for key in ["sources", "next"] {
                for text in finding[key].as_array().unwrap() {
                    assert!(page.contains(&in_one_line(text.as_str().unwrap())), "{id} {key}: {text}");
                }
            }
            fired.insert(id.to_owned());
        }
    }
    assert!(fired.len() >= 5, "{fired:?}");
}

#[test]
fn no_page_is_without_a_rule() {
    let ids: BTreeSet<String> = rules().map(|rule| format!("{}.md", rule.id())).collect();
    let pages = fs::read_dir(in_project("docs/rules")).unwrap();
    let pages: BTreeSet<String> =
        pages.map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
    assert_eq!(pages, ids);
}

fn explain(arguments: &[&str]) -> Output {
    Command::cargo_bin("downbeat").unwrap().arg("explain").args(arguments).output().unwrap()
}

fn printed(output: &Output) -> &str {
    std::str::from_utf8(&output.stdout).unwrap()
}

#[test]
fn without_an_id_all_rules_are_listed() {
    let output = explain(&[]);
    assert_eq!(output.status.code(), Some(0));
    for rule in rules() {
        assert!(printed(&output).lines().any(|line| line == rule.id()), "{}", rule.id());
    }
    assert!(printed(&output).lines().all(|line| line.chars().count() <= 80));
}

#[test]
fn with_an_id_its_page_is_printed_and_a_slip_is_answered_with_the_nearest() {
    let output = explain(&["no-grandmaster"]);
    assert_eq!(output.status.code(), Some(0));
    assert!(printed(&output).starts_with("no-grandmaster\n"));
    for heading in HEADINGS {
        assert!(printed(&output).lines().any(|line| line == heading), "{heading}");
    }
    let slip = explain(&["no-grandmastr"]);
    assert_eq!(slip.status.code(), Some(2));
    assert!(slip.stdout.is_empty());
    assert!(String::from_utf8(slip.stderr).unwrap().contains("no-grandmaster"));
}

#[test]
fn the_json_answer_fits_its_schema() {
    let committed = "docs/explain.schema.json";
    if std::env::var_os("DOWNBEAT_WRITE_SCHEMA").is_some() {
        fs::write(in_project(committed), report::explain_schema()).unwrap();
    }
    assert_eq!(fs::read_to_string(in_project(committed)).unwrap(), report::explain_schema());
    let schema: Value = serde_json::from_str(&report::explain_schema()).unwrap();
    let validator = jsonschema::validator_for(&schema).unwrap();
    let all: Value = serde_json::from_slice(&explain(&["--format", "json"]).stdout).unwrap();
    assert!(validator.is_valid(&all));
    assert_eq!(all["rules"].as_array().unwrap().len(), rules().count());
    let one: Value = serde_json::from_slice(&explain(&["version-mix", "--format", "json"]).stdout).unwrap();
    assert!(validator.is_valid(&one));
    assert_eq!(one["rules"][0]["id"], "version-mix");
    let mut wrong = one;
    wrong["rules"][0]["page"] = Value::Null;
    assert!(!validator.is_valid(&wrong));
}
