//! The pages of the rules: each is about a rule that there is, and says the same five things.

use std::collections::BTreeSet;
use std::fs;

use downbeat::findings;

use crate::support::judged::in_project;

const PARTS: [&str; 5] =
    ["## What it means", "## What shows it", "## What it cannot know", "## What to do", "## Sources"];

#[test]
fn each_page_is_about_a_rule_and_has_all_its_parts() {
    let rules: BTreeSet<&str> = findings::rules().map(|rule| rule.id()).collect();
    let pages = fs::read_dir(in_project("docs/rules")).unwrap().map(|entry| entry.unwrap().path());
    let mut met = 0;
    for page in pages {
        let id = page.file_stem().unwrap().to_str().unwrap().to_owned();
        assert!(rules.contains(id.as_str()), "{id} is no rule");
        let text = fs::read_to_string(&page).unwrap();
        assert_eq!(text.lines().next(), Some(format!("# {id}").as_str()));
        let parts: Vec<&str> = text.lines().filter(|line| line.starts_with("## ")).collect();
        assert_eq!(parts, PARTS, "{id}");
        met += 1;
    }
    assert!(met > 30, "{met} pages");
}

#[test]
fn no_two_rules_share_an_id() {
    let ids: Vec<&str> = findings::rules().map(|rule| rule.id()).collect();
    let different: BTreeSet<&str> = ids.iter().copied().collect();
    assert_eq!(ids.len(), different.len());
}
