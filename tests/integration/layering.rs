//! The direction of data is a test: which module may import which, and how long a file may be.

use std::fs;
use std::path::{Path, PathBuf};

/// Each module of the library with the modules it may import besides itself.
const MAY_IMPORT: &[(&str, &[&str])] = &[
    ("units", &[]),
    ("bytes", &[]),
    ("nearest", &[]),
    ("tables", &["units"]),
    ("statistics", &["units"]),
    ("capture", &["units", "bytes"]),
    ("frame", &["units", "bytes", "capture"]),
    ("ptp", &["units", "bytes"]),
    // Knows how addresses and names are written, and nothing of where they come from.
    ("pseudonyms", &["units"]),
    // Siblings of ptp: none knows another.
    ("rtp", &["units", "bytes"]),
    // What IGMP and MLD share; it reads nothing itself.
    ("membership", &["units", "bytes"]),
    ("igmp", &["units", "bytes", "membership"]),
    ("mld", &["units", "bytes", "membership"]),
    ("sap", &["units", "bytes"]),
    ("rtsp", &[]),
    ("sdp", &["units", "bytes"]),
    ("lldp", &["units", "bytes"]),
    ("dns", &["units", "bytes"]),
    ("dhcp", &["units", "bytes"]),
    ("arp", &["units", "bytes"]),
    ("avtp", &["units", "bytes"]),
    ("timing", &["units", "statistics"]),
    (
        "observations",
        &[
            "units", "bytes", "tables", "capture", "frame", "ptp", "igmp", "mld", "sap", "rtsp", "lldp",
            "dns", "dhcp", "arp",
        ],
    ),
    ("domains", &["units", "tables", "statistics", "timing", "ptp", "observations"]),
    ("profiles", &["units", "tables", "statistics", "ptp", "observations", "domains", "nearest"]),
    ("site", &["units", "ptp", "domains", "profiles", "nearest"]),
    ("clock", &["units", "statistics", "timing", "domains"]),
    // The scale on which all that follows says how sure it is.
    ("strength", &[]),
    ("viewpoint", &["units", "tables", "capture", "frame", "ptp", "observations", "domains", "strength"]),
    ("names", &["units", "lldp", "dns", "dhcp", "observations"]),
    (
        "streams",
        &[
            "units",
            "tables",
            "bytes",
            "statistics",
            "timing",
            "capture",
            "frame",
            "ptp",
            "rtp",
            "avtp",
            "sdp",
            "clock",
        ],
    ),
    (
        "devices",
        &[
            "units",
            "timing",
            "ptp",
            "sdp",
            "observations",
            "domains",
            "clock",
            "strength",
            "viewpoint",
            "names",
            "site",
            "streams",
        ],
    ),
    ("multicast", &["units", "frame", "membership", "igmp", "mld", "observations", "viewpoint"]),
    (
        "analysis",
        &[
            "units",
            "bytes",
            "statistics",
            "capture",
            "frame",
            "observations",
            "timing",
            "domains",
            "profiles",
            "site",
            "clock",
            "viewpoint",
            "names",
            "sdp",
            "streams",
            "devices",
            "multicast",
            // Whose names are exchanged as they come in.
            "ptp",
            "lldp",
            "dns",
            "dhcp",
            "pseudonyms",
        ],
    ),
    ("fit", &["units", "statistics", "observations", "domains", "streams", "analysis"]),
    (
        "findings",
        &[
            "nearest",
            "profiles",
            "site",
            "units",
            "statistics",
            "timing",
            "ptp",
            "observations",
            "domains",
            "profiles",
            "clock",
            "viewpoint",
            "devices",
            "sdp",
            "streams",
            "multicast",
            "analysis",
            "fit",
        ],
    ),
    (
        "report",
        &[
            "units",
            "statistics",
            "ptp",
            "capture",
            "observations",
            "analysis",
            "timing",
            "domains",
            "profiles",
            "clock",
            "viewpoint",
            "streams",
            "devices",
            "multicast",
            "findings",
            "fit",
            "pseudonyms",
        ],
    ),
    ("timeline", &["nearest", "report"]),
    ("compare", &["findings", "report"]),
    (
        "export",
        &["units", "timing", "observations", "domains", "streams", "analysis", "report", "pseudonyms"],
    ),
    // The program: of the library it sees what every user sees, `downbeat::…`.
    ("main", &["cli"]),
    ("cli", &[]),
];

/// Lines of a file outside its trailing test module (chosen).
const MOST_LINES: usize = 500;

/// A source file: its path under `src` and its text.
struct Source {
    path: PathBuf,
    text: String,
}

impl Source {
    fn module(&self) -> String {
        let first = self.path.components().next().unwrap();
        Path::new(first.as_os_str()).file_stem().unwrap().to_str().unwrap().to_owned()
    }

    /// How many `super` lead from this file's module to the crate's root.
    fn depth(&self) -> usize {
        let parts = self.path.components().count();
        if self.path.ends_with("mod.rs") { parts - 1 } else { parts }
    }

    /// Lines before the trailing test module, and the lines of that module.
    fn split_tests(&self) -> (Vec<&str>, Vec<&str>) {
        let lines: Vec<&str> = self.text.lines().collect();
        let is_start = |at: &usize| {
            lines[*at] == "#[cfg(test)]" && lines.get(at + 1).is_some_and(|line| line.starts_with("mod "))
        };
        let start = (0..lines.len()).rev().find(is_start).unwrap_or(lines.len());
        (lines[..start].to_vec(), lines[start..].to_vec())
    }
}

fn collect(root: &Path, under: &Path, into: &mut Vec<Source>) {
    for entry in fs::read_dir(root.join(under)).unwrap() {
        let path = under.join(entry.unwrap().file_name());
        let full = root.join(&path);
        if full.is_dir() {
            collect(root, &path, into);
        } else if full.extension().is_some_and(|extension| extension == "rs") {
            into.push(Source { path, text: fs::read_to_string(full).unwrap() });
        }
    }
}

fn sources() -> Vec<Source> {
    let mut sources = Vec::new();
    collect(&Path::new(env!("CARGO_MANIFEST_DIR")).join("src"), Path::new(""), &mut sources);
    sources.sort_by(|one, other| one.path.cmp(&other.path));
    sources
}

fn is_word(character: char) -> bool {
    character.is_alphanumeric() || character == '_'
}

/// What follows each `word` in `line` where that stands as a path's first part.
fn after<'a>(line: &'a str, word: &'a str) -> impl Iterator<Item = &'a str> {
    line.match_indices(word).filter_map(move |(at, _)| {
        let before = line[..at].chars().next_back();
        let is_first = !before.is_some_and(|before| is_word(before) || before == ':' || before == '$');
        is_first.then(|| &line[at + word.len()..])
    })
}

fn broken_in_line(own: &str, allowed: &[&str], depth: usize, line: &str) -> Option<String> {
    let code = line.trim();
    if code.starts_with("//") {
        return None;
    }
    for rest in after(code, "crate::") {
        let name = rest.split(|character| !is_word(character)).next().unwrap_or_default();
        if name.is_empty() {
            return Some("write one path per line, without a group or glob".to_owned());
        }
        if name != own && !allowed.contains(&name) {
            return Some(format!("{own} may not import {name}"));
        }
    }
    for rest in after(code, "super::") {
        let mut supers = 1;
        let mut rest = rest;
        while let Some(further) = rest.strip_prefix("super::") {
            supers += 1;
            rest = further;
        }
        if supers >= depth {
            return Some("super leads out of the module; write crate:: and the module".to_owned());
        }
    }
    None
}

fn broken_imports(source: &Source) -> Vec<String> {
    let own = source.module();
    if own == "lib" {
        return Vec::new();
    }
    let Some((_, allowed)) = MAY_IMPORT.iter().find(|(module, _)| *module == own) else {
        return vec![format!("{}: module {own} is not in the table", source.path.display())];
    };
    let (code, tests) = source.split_tests();
    let lines = code.iter().map(|line| (source.depth(), line));
    let test_lines = tests.iter().map(|line| (source.depth() + 1, line));
    lines
        .chain(test_lines)
        .filter_map(|(depth, line)| {
            let why = broken_in_line(&own, allowed, depth, line)?;
            Some(format!("{}: {why}: {}", source.path.display(), line.trim()))
        })
        .collect()
}

fn too_long(source: &Source) -> Option<String> {
    let lines = source.split_tests().0.len();
    (lines > MOST_LINES).then(|| format!("{}: {lines} lines before its tests", source.path.display()))
}

fn planted(path: &str, text: &str) -> Source {
    Source { path: PathBuf::from(path), text: text.to_owned() }
}

#[test]
fn modules_import_only_what_the_table_allows() {
    let sources = sources();
    assert!(sources.len() > 20, "only {} files were read", sources.len());
    let imports: usize = sources.iter().map(|source| source.text.matches("use crate::").count()).sum();
    assert!(imports > 20, "only {imports} imports were seen");
    let broken: Vec<String> = sources.iter().flat_map(broken_imports).collect();
    assert!(broken.is_empty(), "{}", broken.join("\n"));
}

#[test]
fn no_file_is_longer_than_one_can_read() {
    let long: Vec<String> = sources().iter().filter_map(too_long).collect();
    assert!(long.is_empty(), "{}", long.join("\n"));
}

#[test]
fn the_table_is_free_of_circles() {
    for (place, (module, allowed)) in MAY_IMPORT.iter().enumerate() {
        let earlier: Vec<&str> = MAY_IMPORT[..place].iter().map(|(module, _)| *module).collect();
        if *module != "main" {
            assert!(allowed.iter().all(|other| earlier.contains(other)), "{module} imports a later module");
        }
    }
}

#[test]
fn a_planted_line_against_the_table_is_caught() {
    for (path, line) in [
        ("bytes.rs", "use crate::findings::Rule;"),
        ("frame/ip.rs", "    let message = crate::ptp::decode(octets);"),
        ("frame/ip.rs", "use crate::{bytes, units};"),
        ("frame/ip.rs", "use crate::*;"),
        ("frame/ip.rs", "use super::super::units::Nanos;"),
        ("frame/mod.rs", "use super::units::Nanos;"),
        ("ptp/v2/header.rs", "    pub(in crate::frame) fn escape() {}"),
        ("cli/run.rs", "use crate::report::Document;"),
        ("main.rs", "use crate::units::Nanos;"),
        ("surprise.rs", "fn nothing() {}"),
        ("frame/ip.rs", "#[cfg(test)]\nmod tests {\n    use crate::ptp;\n}"),
    ] {
        assert_eq!(broken_imports(&planted(path, line)).len(), 1, "{path}: {line}");
    }
    for (path, line) in [
        ("frame/ip.rs", "use crate::units::Nanos;"),
        ("frame/ip.rs", "use super::Frame;"),
        ("frame/ip.rs", "//! See `crate::ptp::decode`."),
        ("ptp/v2/header.rs", "use super::super::Note;"),
        ("frame/mod.rs", "#[cfg(test)]\nmod tests {\n    use super::*;\n}"),
        ("cli/run.rs", "use downbeat::units::Nanos;"),
        ("lib.rs", "pub use crate::findings::Rule;"),
    ] {
        assert_eq!(broken_imports(&planted(path, line)), Vec::<String>::new(), "{path}: {line}");
    }
}

#[test]
fn a_planted_long_file_is_caught_and_tests_do_not_count() {
    let long = "fn line() {}\n".repeat(MOST_LINES + 1);
    assert!(too_long(&planted("bytes.rs", &long)).is_some());
    let tests = "    fn line() {}\n".repeat(MOST_LINES * 2);
    let text = format!("fn line() {{}}\n\n#[cfg(test)]\nmod tests {{\n{tests}}}\n");
    assert_eq!(too_long(&planted("bytes.rs", &text)), None);
}
