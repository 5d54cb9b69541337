//! The measured series as tables and pictures in a folder, for other programs.
//!
//! Samples are written as they are read, so a capture of any size needs no more memory than a report of it. The folder is
//! filled beside its place and renamed: it is whole or not there.

mod columnar;
mod delimited;
mod folder;
mod manifest;
mod measured;
mod raster;
mod readme;
mod sheet;
mod table;
mod tables;
mod told;

pub use manifest::{ColumnEntry, FileEntry, Manifest, SCHEMA};
pub use readme::{conventions, description};
pub use table::{Column, Kind, Table};
pub use tables::TABLES;

use std::fs;
use std::io;
use std::path::Path;
use std::sync::Arc;

use self::folder::Folder;
use self::manifest::MANIFEST;
use self::measured::Measured;
use self::raster::Raster;
use crate::analysis::Analysis;
use crate::analysis::Remains;
use crate::pseudonyms::Pseudonyms;
use crate::report;
use crate::report::Document;
use crate::report::plain;
use crate::units::CaptureTime;
use crate::units::Nanos;

/// What is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Formats {
    /// Tables as comma-separated values.
    pub csv: bool,
    /// Tables as Parquet.
    pub parquet: bool,
    /// Plots as SVG.
    pub svg: bool,
    /// Plots as PNG.
    pub png: bool,
}

/// An export in the making. Dropped before its end, it leaves nothing.
pub struct Export {
    folder: Folder,
    formats: Formats,
    window: Nanos,
    measured: Measured,
    pseudonyms: Option<Arc<Pseudonyms>>,
}

impl Export {
    /// Begins an export to the folder `place`; rates are told in windows of `window`, which divides a second. `pseudonyms` are
    /// those of the settings of the reading that it will be of.
    ///
    /// # Errors
    /// Where `place` is there and holds something other than an earlier export, or cannot be written.
    pub fn begin(
        place: &Path,
        formats: Formats,
        window: Nanos,
        pseudonyms: Option<Arc<Pseudonyms>>,
    ) -> io::Result<Self> {
        let folder = Folder::begin(place)?;
        let measured = Measured::create(formats, window, folder.path(), pseudonyms.as_ref())?;
        Ok(Self { folder, formats, window, measured, pseudonyms })
    }

    /// The folder that is filled for now. Whoever ends the program without dropping this has to take that folder away.
    #[must_use]
    pub fn beside(&self) -> &Path {
        self.folder.path()
    }

    /// Writes what a reading has kept, see [`crate::analysis::Reading::take_journal`].
    ///
    /// # Errors
    /// Where it cannot be written.
    pub fn take(&mut self, remains: &Remains, origin: Option<CaptureTime>) -> io::Result<()> {
        self.measured.take(remains, origin).map_err(|error| in_folder(self.folder.place(), &error))
    }

    /// Writes the rest and puts the folder in its place.
    ///
    /// # Errors
    /// Where it cannot be written.
    pub fn finish(self, analysis: &Analysis, document: &Document) -> io::Result<Manifest> {
        let place = self.folder.place().to_owned();
        self.write_rest(analysis, document).map_err(|error| in_folder(&place, &error))
    }

    fn write_rest(mut self, analysis: &Analysis, document: &Document) -> io::Result<Manifest> {
        if self.pseudonyms != analysis.settings.pseudonyms {
            return Err(io::Error::other("the reading has other stand-ins for addresses than its export"));
        }
        self.measured.take(&analysis.remains, analysis.origin)?;
        let folder = self.folder.path();
        let mut files = Vec::new();
        self.measured.finish(&mut files)?;
        told::write(analysis, document, (self.formats, folder), &mut files)?;
        let order = |file: &FileEntry| TABLES.iter().position(|table| Some(table.name) == file.table);
        files.sort_by_key(|file| (file.format, order(file)));
        pictures(analysis, document, (self.formats, folder), &mut files)?;
        files.push(FileEntry::of_other(
            "README.md".to_owned(),
            "markdown",
            "what every file and column is".to_owned(),
        ));
        let manifest = Manifest {
            schema: SCHEMA,
            version: env!("CARGO_PKG_VERSION"),
            captures: document.captures.iter().map(|capture| plain(&capture.file)).collect(),
            window_ns: self.window.0,
            files,
        };
        write_file(&folder.join("README.md"), readme::write(&manifest).as_bytes())?;
        let mut json = serde_json::to_vec_pretty(&manifest).map_err(io::Error::other)?;
        json.push(b'\n');
        write_file(&folder.join(MANIFEST), &json)?;
        self.folder.put()?;
        Ok(manifest)
    }
}

fn in_folder(place: &Path, error: &io::Error) -> io::Error {
    io::Error::new(error.kind(), format!("{}: nothing was written there: {error}", place.display()))
}

fn pictures(
    analysis: &Analysis,
    document: &Document,
    (formats, folder): (Formats, &Path),
    files: &mut Vec<FileEntry>,
) -> io::Result<()> {
    if !formats.svg && !formats.png {
        return Ok(());
    }
    let series = report::series(analysis);
    let raster = formats.png.then(Raster::new);
    // The same pictures in the same order, with letters that the font has.
    let mut drawn = raster.iter().flat_map(|raster| {
        let pictures = report::pictures_with(document, &series, |letter| raster.has(letter));
        pictures.into_iter().map(|picture| raster.png(&picture.svg))
    });
    for picture in report::pictures(document, &series) {
        if formats.svg {
            let file = format!("{}.svg", picture.name);
            write_file(&folder.join(&file), picture.svg.as_bytes())?;
            files.push(FileEntry::of_other(file, "svg", picture.title.clone()));
        }
        if let Some(octets) = drawn.next() {
            let file = format!("{}.png", picture.name);
            write_file(&folder.join(&file), &octets?)?;
            files.push(FileEntry::of_other(file, "png", picture.title));
        }
    }
    Ok(())
}

/// A file that is on the disk when this returns.
fn write_file(path: &Path, octets: &[u8]) -> io::Result<()> {
    let mut file = fs::File::create_new(path)?;
    io::Write::write_all(&mut file, octets)?;
    file.sync_all()
}
