//! The pages of the rules in `docs/rules/` say what the rules say.

use std::fs;

use downbeat::findings::rules;

use crate::support::judged::in_project;

fn in_one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn every_page_carries_the_summary_the_steps_and_the_sources_of_its_rule() {
    let mut compared = 0;
    for entry in fs::read_dir(in_project("docs/rules")).unwrap() {
        let path = entry.unwrap().path();
        let id = path.file_stem().unwrap().to_str().unwrap();
        let rule = rules().find(|rule| rule.id() == id).unwrap_or_else(|| panic!("no rule {id}"));
        let page = fs::read_to_string(&path).unwrap();
        assert!(page.starts_with(&format!("# {id}\n")), "{id}");
        let text = in_one_line(&page);
        for said in rule.next().iter().chain(rule.sources()) {
            assert!(text.contains(&in_one_line(said)), "{id}: {said}");
            compared += 1;
        }
        let summary = in_one_line(rule.summary());
        assert!(text.to_lowercase().contains(&summary.to_lowercase()), "{id}: {summary}");
    }
    assert!(compared > 80, "{compared}");
}
