//! The records of a committed capture, to be changed and read again.

use std::fs;
use std::path::Path;

use downbeat::analysis::Reading;
use downbeat::analysis::Settings;
use downbeat::capture::Input;
use downbeat::capture::Joined;
use downbeat::capture::JoinedSummary;
use downbeat::capture::LinkType;
use downbeat::capture::Record;
use downbeat::findings;
use downbeat::report;
use downbeat::units::CaptureTime;

/// A record that owns its octets.
#[derive(Clone)]
pub(crate) struct Kept {
    pub(crate) number: u64,
    pub(crate) time: Option<CaptureTime>,
    pub(crate) link: LinkType,
    pub(crate) interface: u32,
    pub(crate) original_len: u32,
    pub(crate) fcs_octets: Option<u8>,
    pub(crate) octets: Vec<u8>,
}

impl Kept {
    pub(crate) fn record(&self) -> Record<'_> {
        Record {
            number: self.number,
            time: self.time,
            link: self.link,
            interface: self.interface,
            original_len: self.original_len,
            fcs_octets: self.fcs_octets,
            octets: &self.octets,
        }
    }
}

pub(crate) struct Capture {
    pub(crate) file: Vec<u8>,
    pub(crate) records: Vec<Kept>,
}

impl Capture {
    pub(crate) fn open(name: &str) -> Self {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("captures").join(name);
        Self::of(fs::read(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display())))
    }

    pub(crate) fn of(file: Vec<u8>) -> Self {
        let mut joined = joined(&file);
        let mut records = Vec::new();
        while let Some((_, record)) = joined.next_record() {
            records.push(Kept {
                number: record.number,
                time: record.time,
                link: record.link,
                interface: record.interface,
                original_len: record.original_len,
                fcs_octets: record.fcs_octets,
                octets: record.octets.to_vec(),
            });
        }
        Self { file, records }
    }

    pub(crate) fn summary(&self) -> JoinedSummary {
        let mut joined = joined(&self.file);
        while joined.next_record().is_some() {}
        joined.finish()
    }

    /// The report of a reading, as JSON.
    pub(crate) fn report(&self, reading: Reading) -> String {
        let analysis = reading.finish(self.summary());
        let judgement = findings::judge(&analysis);
        let mut json = Vec::new();
        report::write_json(&report::document(&analysis, &judgement), &mut json).unwrap();
        String::from_utf8(json).unwrap()
    }

    /// The report of other records in this capture's place, as JSON.
    pub(crate) fn report_of(&self, records: &[Kept]) -> String {
        let mut reading = Reading::new(Settings::default());
        for record in records {
            reading.push(0, &record.record());
        }
        self.report(reading)
    }
}

fn joined(file: &[u8]) -> Joined {
    Joined::new(vec![Input::once("capture", std::io::Cursor::new(file.to_vec()))])
}
