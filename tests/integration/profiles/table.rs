//! `docs/profiles.md` says what the code holds. `DOWNBEAT_WRITE_PROFILES=1 cargo test profiles` writes its tables anew.

use std::fmt::Write;
use std::path::Path;

use downbeat::profiles::PROFILES;

/// Before this line the page is written by hand.
const MARK: &str = "<!-- From here on written by: DOWNBEAT_WRITE_PROFILES=1 cargo test profiles -->\n";

fn tables() -> String {
    let mut text = MARK.to_owned();
    for profile in &PROFILES {
        write!(text, "\n## `{}`: {}\n\n", profile.name, profile.title).unwrap();
        text.push_str("| item | default | allowed | known | source |\n| --- | --- | --- | --- | --- |\n");
        for row in profile.rows {
            let default = row.want.default_text().unwrap_or_default();
            let allowed = row.want.allowed_text();
            let (item, known) = (row.want.item(), row.confidence.name());
            writeln!(text, "| {item} | {default} | {allowed} | {known} | {} |", row.source).unwrap();
        }
        let signature: Vec<String> = profile
            .signature
            .iter()
            .map(|want| {
                let value = want.default_text().unwrap_or_else(|| want.allowed_text());
                format!("{} {value}", want.item())
            })
            .collect();
        writeln!(text, "\nCharacteristic: {}.", signature.join("; ")).unwrap();
    }
    text
}

#[test]
fn the_page_of_profiles_says_what_the_code_holds() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/profiles.md");
    let page = std::fs::read_to_string(&path).unwrap();
    let at = page.find(MARK).expect("the page has its mark");
    if std::env::var_os("DOWNBEAT_WRITE_PROFILES").is_some() {
        std::fs::write(&path, format!("{}{}", &page[..at], tables())).unwrap();
        return;
    }
    assert!(page[at..] == tables(), "write it anew: DOWNBEAT_WRITE_PROFILES=1 cargo test profiles");
}
