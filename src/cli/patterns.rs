//! File name patterns: `*`, `?`, `[…]` within a name, `**` for folders at any depth.
//!
//! Names are matched by the crate glob; its own walk follows links, and where two of them lead round it never ends.

use std::fs;
use std::path::Component;
use std::path::Path;
use std::path::PathBuf;

use glob::MatchOptions;
use glob::Pattern;
use glob::PatternError;

/// Hidden files are named as such or not at all, as in a shell (POSIX.1-2017 XCU 2.13.3, from memory).
const OPTIONS: MatchOptions =
    MatchOptions { case_sensitive: true, require_literal_separator: true, require_literal_leading_dot: true };

/// The files that a pattern names.
pub(crate) fn files(pattern: &Path) -> Result<Vec<PathBuf>, PatternError> {
    let mut found = vec![PathBuf::new()];
    for component in pattern.components() {
        let name = component.as_os_str().to_string_lossy();
        found = if !matches!(component, Component::Normal(_)) || !name.contains(['*', '?', '[']) {
            found.into_iter().map(|path| path.join(component)).collect()
        } else if name == "**" {
            found.into_iter().flat_map(with_folders_in).collect()
        } else {
            let pattern = Pattern::new(&name)?;
            found.iter().flat_map(|path| named(path, &pattern)).collect()
        };
    }
    found.retain(|path| path.is_file());
    Ok(found)
}

/// Whatever is in a folder by names that match.
fn named(folder: &Path, pattern: &Pattern) -> Vec<PathBuf> {
    let matches = |path: &PathBuf| {
        path.file_name().is_some_and(|name| pattern.matches_with(&name.to_string_lossy(), OPTIONS))
    };
    entries(folder).into_iter().filter(matches).collect()
}

/// A folder and all below it; links are not followed.
fn with_folders_in(top: PathBuf) -> Vec<PathBuf> {
    let mut folders = vec![top];
    let mut index = 0;
    while let Some(folder) = folders.get(index) {
        let is_shown =
            |path: &PathBuf| path.file_name().is_some_and(|name| !name.to_string_lossy().starts_with('.'));
        let below = entries(folder).into_iter().filter(|path| !path.is_symlink() && path.is_dir());
        let below: Vec<PathBuf> = below.filter(is_shown).collect();
        folders.extend(below);
        index += 1;
    }
    folders
}

/// What is in a folder; nothing where it is none or cannot be read.
fn entries(folder: &Path) -> Vec<PathBuf> {
    let place = if folder.as_os_str().is_empty() { Path::new(".") } else { folder };
    let entries = fs::read_dir(place).into_iter().flatten().filter_map(Result::ok);
    entries.map(|entry| folder.join(entry.file_name())).collect()
}
