//! `downbeat site`, and the site file that other commands read.

use std::fs::File;
use std::io::Read;
use std::path::Path;

use downbeat::findings;
use downbeat::report;
use downbeat::site;
use downbeat::site::Site;

use super::arguments::SiteCommand;
use super::document;
use super::exit::Status;
use super::output;

/// Octets of a site file that are read: some ten thousand devices (chosen). A capture named by mistake is longer.
const LONGEST: u64 = 1 << 20;

/// Reads a site file; what is wrong with it is told line by line.
pub(crate) fn read(path: &Path) -> Result<Site, String> {
    let mut text = String::new();
    let read = File::open(path).and_then(|file| file.take(LONGEST + 1).read_to_string(&mut text));
    let octets = read.map_err(|error| format!("{}: {error}", path.display()))?;
    if u64::try_from(octets).is_ok_and(|octets| octets > LONGEST) {
        return Err(format!("{}: too long for a site file", path.display()));
    }
    site::parse(&text).map_err(|problems| {
        for problem in &problems {
            eprintln!("downbeat: {}", report::plain(&format!("{}: {problem}", path.display())));
        }
        let things = if problems.len() == 1 {
            "1 thing is".to_owned()
        } else {
            format!("{} things are", problems.len())
        };
        format!("{}: {things} wrong with this site file", path.display())
    })
}

/// Writes a first site file.
pub(crate) fn run(site: &SiteCommand) -> Result<Status, String> {
    let (document, judgement) = document::read(&site.reading())?;
    document::refuse_partial(document.span.partial)?;
    output::deliver(site.out.as_deref(), |mut out| report::write_site_file(&document, &mut out))?;
    if judgement.verdict == findings::Verdict::Sound {
        return Ok(Status::Clear);
    }
    eprintln!(
        "downbeat: this capture is no good day ({}): what is written down from it needs a second look",
        report::plain(&document.verdict_because)
    );
    Ok(Status::Clear)
}
