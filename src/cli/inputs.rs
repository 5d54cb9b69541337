//! From what is named to what can be read: files, folders, patterns, standard input.

use std::collections::BTreeSet;
use std::fs;
use std::fs::File;
use std::io;
use std::io::Read;
use std::path::Path;
use std::path::PathBuf;

use downbeat::capture::Error;
use downbeat::capture::Input;
use downbeat::capture::Reader;

use super::patterns;
use super::pipe::Pipe;
use super::progress::Progress;

/// What was named, with what could not be taken.
pub(crate) struct Found {
    pub(crate) inputs: Vec<Input>,
    pub(crate) warnings: Vec<String>,
    /// The files among them, without links and detours.
    files: BTreeSet<PathBuf>,
}

impl Found {
    /// Whether `path` is one of the files, so that writing there would destroy it.
    pub(crate) fn holds(&self, path: &Path) -> bool {
        fs::canonicalize(path).is_ok_and(|canonical| self.files.contains(&canonical))
    }
}

/// Finds the captures that `named` stands for, each once. A folder gives the captures directly in it.
pub(crate) fn find(named: &[PathBuf], progress: &Progress) -> Result<Found, String> {
    let mut found = Found { inputs: Vec::new(), warnings: Vec::new(), files: BTreeSet::new() };
    let mut files = Vec::new();
    let mut takes_stdin = false;
    for name in named {
        if name.as_os_str() == "-" {
            if !takes_stdin {
                takes_stdin = true;
                found.inputs.push(piped("-", || Ok(io::stdin()), progress));
            }
        } else if name.is_dir() {
            folder(name, &mut files, &mut found.warnings)?;
        } else if name.exists() {
            files.push(name.clone());
        } else if let Err(text) = linked(name).and_then(|()| pattern(name, &mut files)) {
            if named.len() == 1 {
                return Err(text);
            }
            // Told with the files that cannot be read, and the rest go on.
            let name = name.display().to_string();
            let why = text.strip_prefix(&format!("{name}: ")).unwrap_or(&text).to_owned();
            found.inputs.push(Input::reopening(name, move || Err(io::Error::other(why.clone()))));
        }
    }
    for file in files {
        let canonical = fs::canonicalize(&file).unwrap_or_else(|_| file.clone());
        if !found.files.insert(canonical) {
            found.warnings.push(format!("{}: named more than once, read once", file.display()));
            continue;
        }
        progress.expect(fs::metadata(&file).map_or(0, |metadata| metadata.len()));
        found.inputs.push(input(file, progress.clone()));
    }
    Ok(found)
}

/// Whether two paths lead to one file.
pub(crate) fn is_same(one: &Path, other: &Path) -> bool {
    match (fs::canonicalize(one), fs::canonicalize(other)) {
        (Ok(one), Ok(other)) => one == other,
        _ => false,
    }
}

fn input(file: PathBuf, progress: Progress) -> Input {
    let name = file.display().to_string();
    // A pipe can be read once only; asking for its first record and opening it again would lose it.
    let is_regular = fs::metadata(&file).is_ok_and(|metadata| metadata.is_file());
    if is_regular {
        Input::seekable(name, move || Ok(progress.wrap_file(File::open(&file)?)))
    } else {
        piped(&name, move || File::open(file), &progress)
    }
}

/// What can be read once and may keep whoever reads it waiting.
fn piped<R: Read>(
    name: &str,
    open: impl FnOnce() -> io::Result<R> + Send + 'static,
    progress: &Progress,
) -> Input {
    match Pipe::new(open) {
        Ok(pipe) => Input::once(name, progress.wrap(pipe)),
        Err(error) => {
            let kind = error.kind();
            let text = error.to_string();
            Input::reopening(name, move || Err(io::Error::new(kind, text.clone())))
        }
    }
}

/// The captures directly in a folder, by name; told apart by content, so a README beside them does no harm.
fn folder(folder: &Path, files: &mut Vec<PathBuf>, warnings: &mut Vec<String>) -> Result<(), String> {
    let entries = fs::read_dir(folder).map_err(|error| format!("{}: {error}", folder.display()))?;
    let mut paths: Vec<PathBuf> = Vec::new();
    for entry in entries {
        match entry {
            Ok(entry) => paths.push(entry.path()),
            Err(error) => warnings.push(format!("{}: {error}", folder.display())),
        }
    }
    paths.sort();
    let before = files.len();
    for path in paths.into_iter().filter(|path| path.is_file()) {
        let opened = File::open(&path).map_err(|source| Error::Io { offset: 0, source });
        match opened.and_then(Reader::new) {
            Err(Error::NotACapture { .. } | Error::Empty) => {}
            // Whatever else is wrong with it is said when it is read.
            Ok(_) | Err(_) => files.push(path),
        }
    }
    if files.len() == before {
        warnings.push(format!("{}: no capture in this folder", folder.display()));
    }
    Ok(())
}

/// A link that leads nowhere is there, and so is no pattern and no misspelt name.
fn linked(name: &Path) -> Result<(), String> {
    if !name.is_symlink() {
        return Ok(());
    }
    match fs::metadata(name) {
        Ok(_) => Ok(()),
        Err(error) if error.kind() == io::ErrorKind::NotFound => {
            Err(format!("{}: this link points to a file that is not there", name.display()))
        }
        Err(error) => Err(format!("{}: this link cannot be followed: {error}", name.display())),
    }
}

fn pattern(pattern: &Path, files: &mut Vec<PathBuf>) -> Result<(), String> {
    let text = pattern.to_string_lossy();
    if !text.contains(['*', '?', '[']) {
        return Err(format!("{text}: there is no such file or folder"));
    }
    let mut matched = patterns::files(pattern).map_err(|error| format!("{text}: {error}"))?;
    if matched.is_empty() {
        return Err(format!("{text}: no file has such a name"));
    }
    matched.sort();
    matched.dedup();
    files.append(&mut matched);
    Ok(())
}

/// A source that can cross threads.
pub(crate) type Source = Box<dyn Read + Send>;
