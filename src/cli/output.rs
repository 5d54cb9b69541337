//! Where the report goes: standard output, or a file that is whole or not there.

use std::fs;
use std::fs::File;
use std::io;
use std::io::BufWriter;
use std::io::Write;
use std::io::stdout;
use std::path::Path;
use std::path::PathBuf;
use std::process;
use std::sync::Mutex;
use std::sync::MutexGuard;
use std::sync::PoisonError;

/// Writes what `write` writes. A closed pipe is quiet success; a file is written beside and renamed.
pub(crate) fn deliver(
    out: Option<&Path>,
    write: impl FnOnce(&mut dyn Write) -> io::Result<()>,
) -> Result<(), String> {
    match out {
        None => {
            let mut to = BufWriter::new(stdout().lock());
            match write(&mut to).and_then(|()| to.flush()) {
                Err(error) if error.kind() == io::ErrorKind::BrokenPipe => {
                    // The rest of the buffer has nowhere to go; dropping it would try again.
                    drop(to.into_parts());
                    Ok(())
                }
                outcome => outcome.map_err(|error| format!("standard output: {error}")),
            }
        }
        Some(path) => to_file(path, write).map_err(|error| format!("{}: {error}", path.display())),
    }
}

fn to_file(path: &Path, write: impl FnOnce(&mut dyn Write) -> io::Result<()>) -> io::Result<()> {
    if path.exists() && !path.is_file() {
        // A device or a named pipe cannot be renamed over.
        let mut to = BufWriter::new(File::create(path)?);
        return write(&mut to).and_then(|()| to.flush());
    }
    let Some(name) = path.file_name() else {
        return Err(io::Error::new(io::ErrorKind::InvalidInput, "this is no file name"));
    };
    let mut partial = std::ffi::OsString::from(".");
    partial.push(name);
    partial.push(format!(".{}.partial", process::id()));
    let beside = path.with_file_name(partial);
    let making = Making::of(&beside);
    let written = File::create(&beside).and_then(|file| {
        let mut to = BufWriter::new(file);
        write(&mut to)?;
        // Some disks say only now that they are full.
        to.into_inner().map_err(io::IntoInnerError::into_error)?.sync_all()
    });
    let outcome = written.and_then(|()| fs::rename(&beside, path));
    drop(making);
    if outcome.is_err() {
        drop(fs::remove_file(&beside));
    }
    outcome
}

/// The file or folder beside its place, while it is being written.
fn in_the_making() -> MutexGuard<'static, Option<PathBuf>> {
    static BESIDE: Mutex<Option<PathBuf>> = Mutex::new(None);
    BESIDE.lock().unwrap_or_else(PoisonError::into_inner)
}

/// As long as this lives, something is being written that [`abandon`] takes away.
pub(crate) struct Making;

impl Making {
    /// Of what is written at `beside`.
    pub(crate) fn of(beside: &Path) -> Self {
        *in_the_making() = Some(beside.to_owned());
        Self
    }
}

impl Drop for Making {
    fn drop(&mut self) {
        *in_the_making() = None;
    }
}

/// Takes away what is half-written and ends the program.
pub(crate) fn abandon(status: i32) -> ! {
    // Held to the end, so that the program does not end in another way before all is gone.
    let making = in_the_making();
    if let Some(beside) = making.as_deref() {
        take_away(beside);
    }
    process::exit(status)
}

fn take_away(beside: &Path) {
    if beside.is_dir() {
        // In one step out of the way: it can then neither be filled further nor be put in its place meanwhile.
        let gone = beside.with_extension("gone");
        if fs::rename(beside, &gone).is_ok() {
            drop(fs::remove_dir_all(gone));
        }
    } else {
        drop(fs::remove_file(beside));
    }
}
