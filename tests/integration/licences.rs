//! Every package that is built in has a licence that deny.toml allows, and comes from the one registry.

use std::collections::BTreeSet;
use std::fs;
use std::process::Command;

use serde_json::Value;

use crate::support::judged::in_project;

/// The list `allow` of deny.toml.
fn allowed() -> BTreeSet<String> {
    let text = fs::read_to_string(in_project("deny.toml")).unwrap();
    let (_, list) = text.split_once("\nallow = [").unwrap();
    let (list, _) = list.split_once(']').unwrap();
    list.split(',')
        .map(|name| name.trim().trim_matches('"').to_owned())
        .filter(|name| !name.is_empty())
        .collect()
}

/// Whether an expression can be met (SPDX 2.3 Annex D; `/` is how older packages write OR). OR binds less than AND.
fn is_met(expression: &str, allowed: &BTreeSet<String>) -> bool {
    let expression = expression.replace('/', " OR ");
    // The only parentheses in use are around a choice that more has to be met with.
    if let Some((inner, rest)) = expression.strip_prefix('(').and_then(|text| text.split_once(')')) {
        return is_met(inner, allowed)
            && rest.trim().strip_prefix("AND ").is_none_or(|more| is_met(more, allowed));
    }
    expression.split(" OR ").any(|choice| choice.split(" AND ").all(|each| allowed.contains(each.trim())))
}

#[test]
fn expressions_are_met_as_they_say() {
    let allowed: BTreeSet<String> = ["MIT", "Zlib"].map(str::to_owned).into();
    for (expression, met) in [
        ("MIT", true),
        ("GPL-3.0-only", false),
        ("GPL-3.0-only OR MIT", true),
        ("MIT/Apache-2.0", true),
        ("MIT AND GPL-3.0-only", false),
        ("MIT AND Zlib", true),
        ("(MIT OR Apache-2.0) AND GPL-3.0-only", false),
        ("(MIT OR Apache-2.0) AND Zlib", true),
        ("", false),
    ] {
        assert_eq!(is_met(expression, &allowed), met, "{expression}");
    }
}

#[test]
fn every_package_may_be_shipped() {
    let allowed = allowed();
    assert!(allowed.contains("MIT") && !allowed.iter().any(|name| name.contains("GPL")), "{allowed:?}");
    let output = Command::new(env!("CARGO"))
        .args(["metadata", "--offline", "--locked", "--format-version", "1"])
        // What is built here has been fetched; what other systems need may not have been.
        .args(["--filter-platform", "x86_64-unknown-linux-gnu"])
        .current_dir(in_project(""))
        .output()
        .unwrap();
    if !output.status.success() && String::from_utf8_lossy(&output.stderr).contains("failed to download") {
        println!("passed over: not every package for x86_64-unknown-linux-gnu is at hand");
        return;
    }
    assert!(output.status.success(), "{output:?}");
    let metadata: Value = serde_json::from_slice(&output.stdout).unwrap();
    let packages = metadata["packages"].as_array().unwrap();
    assert!(packages.len() > 100, "{}", packages.len());
    for package in packages {
        let name = package["name"].as_str().unwrap();
        let licence = package["license"].as_str().unwrap_or_default();
        assert!(is_met(licence, &allowed), "{name} has the licence {licence:?}");
        let source = package["source"].as_str();
        let is_usual = source == Some("registry+https://github.com/rust-lang/crates.io-index");
        assert!(is_usual || source.is_none() && name == "downbeat", "{name} comes from {source:?}");
    }
}
