//! The pages of the rules in `docs/rules/`: each is about a rule that there is, says the same five things, and says what
//! the rule says.

use std::collections::BTreeSet;
use std::fs;

use downbeat::findings::rules;

use crate::support::judged::in_project;

const PARTS: [&str; 5] =
    ["## What it means", "## What shows it", "## What it cannot know", "## What to do", "## Sources"];

fn in_one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// `text` as a list item, 80 columns wide.
fn item(text: &str) -> String {
    let mut lines = vec!["-".to_owned()];
    for word in text.split_whitespace() {
        match lines.last_mut() {
            Some(line) if line.chars().count() + word.chars().count() < 80 => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(format!("  {word}")),
        }
    }
    lines.join("\n") + "\n"
}

/// The page with what the rule says in the places that repeat it.
fn brought_up_to_date(page: &str, rule: &dyn downbeat::findings::Rule) -> String {
    let mut parts: Vec<String> = page.split("\n## ").map(str::to_owned).collect();
    let summary = rule.summary();
    let sentence = summary[..1].to_uppercase() + &summary[1..] + ".";
    parts[0] = format!(
        "# {}\n\n{}\n",
        rule.id(),
        item(&sentence).trim_start_matches("- ").replace("\n  ", "\n").trim()
    );
    for part in &mut parts {
        let said = match part.lines().next() {
            Some("What to do") => rule.next(),
            Some("Sources") => rule.sources(),
            _ => continue,
        };
        if !said.is_empty() {
            let heading = part.lines().next().unwrap().to_owned();
            let items: String = said.iter().map(|text| item(text)).collect();
            *part = format!("{heading}\n\n{items}");
        }
    }
    parts.join("\n## ")
}

/// `DOWNBEAT_WRITE_PAGES=1` brings what pages repeat of their rules up to date.
#[test]
fn every_page_carries_the_parts_the_summary_the_steps_and_the_sources_of_its_rule() {
    let mut compared = 0;
    let mut unsaid = Vec::new();
    let mut met = BTreeSet::new();
    for entry in fs::read_dir(in_project("docs/rules")).unwrap() {
        let path = entry.unwrap().path();
        let id = path.file_stem().unwrap().to_str().unwrap().to_owned();
        let rule = rules().find(|rule| rule.id() == id).unwrap_or_else(|| panic!("no rule {id}"));
        let mut page = fs::read_to_string(&path).unwrap();
        if std::env::var_os("DOWNBEAT_WRITE_PAGES").is_some() {
            page = brought_up_to_date(&page, rule);
            fs::write(&path, &page).unwrap();
        }
        assert!(page.starts_with(&format!("# {id}\n")), "{id}");
        let parts: Vec<&str> = page.lines().filter(|line| line.starts_with("## ")).collect();
        assert_eq!(parts, PARTS, "{id}");
        let text = in_one_line(&page);
        for said in rule.next().iter().chain(rule.sources()).chain([&rule.summary()]) {
            if !text.to_lowercase().contains(&in_one_line(said).to_lowercase()) {
                unsaid.push(format!("{id}: {said}"));
            }
            compared += 1;
        }
        met.insert(id);
    }
    assert!(unsaid.is_empty(), "{}", unsaid.join("\n"));
    assert!(compared > 200, "{compared}");
    let without: Vec<&str> = rules().map(|rule| rule.id()).filter(|id| !met.contains(*id)).collect();
    assert!(without.is_empty(), "no page: {without:?}");
}

#[test]
fn no_two_rules_share_an_id() {
    let ids: Vec<&str> = rules().map(|rule| rule.id()).collect();
    let different: BTreeSet<&str> = ids.iter().copied().collect();
    assert_eq!(ids.len(), different.len());
}
