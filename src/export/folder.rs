//! A folder that is whole or not there: it is filled beside its place and renamed.

use std::ffi::OsString;
use std::fs;
use std::io;
use std::io::ErrorKind;
use std::path::Path;
use std::path::PathBuf;

use serde::Deserialize;

use super::manifest::MANIFEST;
use super::manifest::SCHEMA;

/// A folder in the making. Dropped before it is put in place, it leaves nothing.
#[derive(Debug)]
pub(super) struct Folder {
    place: PathBuf,
    beside: PathBuf,
    is_placed: bool,
}

/// What of an earlier export's manifest tells its files.
#[derive(Deserialize)]
struct Earlier {
    schema: String,
    files: Vec<EarlierFile>,
}

#[derive(Deserialize)]
struct EarlierFile {
    file: String,
}

fn about(path: &Path, error: &io::Error) -> io::Error {
    io::Error::new(error.kind(), format!("{}: {error}", path.display()))
}

/// Whether a folder may be replaced: it is empty, or holds an earlier export and nothing else.
fn is_free(place: &Path) -> io::Result<bool> {
    let mut names = Vec::new();
    for entry in fs::read_dir(place)? {
        names.push(entry?.file_name());
    }
    if names.is_empty() {
        return Ok(true);
    }
    if !names.iter().any(|name| name == MANIFEST) {
        return Ok(false);
    }
    let text = fs::read(place.join(MANIFEST))?;
    let Ok(earlier) = serde_json::from_slice::<Earlier>(&text) else { return Ok(false) };
    let is_of_it = |name: &OsString| {
        name == MANIFEST || earlier.files.iter().any(|known| name.to_str() == Some(&known.file))
    };
    Ok(earlier.schema == SCHEMA && names.iter().all(is_of_it))
}

/// The place with what a user may have typed behind its name taken off (`out/`, `out/.`).
fn tidy(place: &Path) -> PathBuf {
    place.components().collect()
}

impl Folder {
    /// Makes a folder beside `place`.
    pub(super) fn begin(place: &Path) -> io::Result<Self> {
        let place = tidy(place);
        let Some(name) = place.file_name() else {
            return Err(io::Error::new(
                ErrorKind::InvalidInput,
                format!("{}: name a folder of its own for the export", place.display()),
            ));
        };
        if place.symlink_metadata().is_ok() {
            if !place.is_dir() {
                return Err(io::Error::new(
                    ErrorKind::AlreadyExists,
                    format!("{}: this is there and is no folder", place.display()),
                ));
            }
            if !is_free(&place).map_err(|error| about(&place, &error))? {
                return Err(io::Error::new(
                    ErrorKind::AlreadyExists,
                    format!(
                        "{}: this folder holds something else; name another with --to, or empty it",
                        place.display()
                    ),
                ));
            }
        }
        let mut partial = OsString::from(".");
        partial.push(name);
        partial.push(format!(".{}.partial", std::process::id()));
        let beside = place.with_file_name(partial);
        fs::create_dir(&beside).map_err(|error| about(&beside, &error))?;
        Ok(Self { place, beside, is_placed: false })
    }

    /// Where files are written for now.
    pub(super) fn path(&self) -> &Path {
        &self.beside
    }

    /// Where they will be.
    pub(super) fn place(&self) -> &Path {
        &self.place
    }

    /// Puts it in its place; what was there before goes only then.
    pub(super) fn put(mut self) -> io::Result<()> {
        let mut old = self.beside.clone().into_os_string();
        old.push(".old");
        let old = PathBuf::from(old);
        let had_one = self.place.is_dir();
        if had_one {
            // Somebody may have put something into it meanwhile.
            if !is_free(&self.place)? {
                return Err(io::Error::new(
                    ErrorKind::AlreadyExists,
                    format!("{}: this folder was filled meanwhile", self.place.display()),
                ));
            }
            fs::rename(&self.place, &old).map_err(|error| about(&self.place, &error))?;
        }
        if let Err(error) = fs::rename(&self.beside, &self.place) {
            if had_one {
                drop(fs::rename(&old, &self.place));
            }
            return Err(about(&self.place, &error));
        }
        self.is_placed = true;
        if had_one {
            drop(fs::remove_dir_all(&old));
        }
        Ok(())
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        if !self.is_placed {
            drop(fs::remove_dir_all(&self.beside));
        }
    }
}
