//! Captures through the whole library, from octets to the report.

use std::fs;
use std::io::Cursor;
use std::path::Path;
use std::path::PathBuf;

use downbeat::analysis::Analysis;
use downbeat::analysis::Reading;
use downbeat::analysis::Settings;
use downbeat::capture::Input;
use downbeat::capture::Joined;
use downbeat::findings;
use downbeat::findings::Judgement;
use downbeat::findings::Severity;
use downbeat::report;
use serde_json::Value;

/// The evenings of the invented theatre.
pub(crate) const DEMO: [&str; 7] = [
    "playhouse-healthy.pcapng",
    "playhouse-leader-lost.pcapng",
    "playhouse-multicast.pcapng",
    "playhouse-quality-drop.pcapng.gz",
    "playhouse-two-leaders.pcapng",
    "playhouse-v1-beside-v2.pcap",
    "playhouse-wrong-domain.pcapng",
];

/// What is written of a capture.
pub(crate) struct Judged {
    pub(crate) text: String,
    pub(crate) json: String,
    /// What `downbeat site` writes.
    pub(crate) site_file: String,
}

impl Judged {
    pub(crate) fn value(&self) -> Value {
        serde_json::from_str(&self.json).unwrap()
    }
}

/// A file or folder of the project.
pub(crate) fn in_project(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(name)
}

/// A demo capture, called by its bare name.
pub(crate) fn demo(name: &str) -> Judged {
    files(&[(name, fs::read(in_project("captures").join(name)).unwrap())])
}

/// The captures directly in a folder: name and octets, by name.
pub(crate) fn captures_in(folder: &Path) -> Vec<(String, Vec<u8>)> {
    let names = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap());
    let mut names: Vec<String> = names.filter(|name| name.contains(".pcap")).collect();
    names.sort();
    let read = |name: String| {
        let octets = fs::read(folder.join(&name)).unwrap();
        (name, octets)
    };
    names.into_iter().map(read).collect()
}

/// Captures of these names and octets as one.
pub(crate) fn files(files: &[(&str, Vec<u8>)]) -> Judged {
    with(Settings::default(), files)
}

pub(crate) fn with(settings: Settings, files: &[(&str, Vec<u8>)]) -> Judged {
    said_of(&analysis_with(settings, files))
}

/// What is known of captures of these names and octets as one.
pub(crate) fn analysis(files: &[(&str, Vec<u8>)]) -> Analysis {
    analysis_with(Settings::default(), files)
}

pub(crate) fn analysis_with(settings: Settings, files: &[(&str, Vec<u8>)]) -> Analysis {
    let inputs = files.iter().map(|(name, octets)| {
        let octets = octets.clone();
        Input::reopening(*name, move || Ok(Box::new(Cursor::new(octets.clone()))))
    });
    let mut joined = Joined::new(inputs.collect());
    let mut reading = Reading::new(settings);
    while let Some((file, record)) = joined.next_record() {
        reading.push(file, &record);
    }
    reading.finish(joined.finish())
}

/// What every finding of every test has: words, what shows it, what to do, sources, and devices that are there.
fn hold(analysis: &Analysis, judgement: &Judgement) {
    let is_known = |key: &String| analysis.devices.iter().any(|device| device.key == *key);
    for finding in &judgement.findings {
        let id = finding.id;
        assert!(!finding.title.is_empty(), "{id} says nothing");
        assert!(!finding.evidence.is_empty(), "{id}: nothing shows it: {}", finding.title);
        // What is counted beyond those that are named is there.
        assert!(
            finding.evidence.iter().all(|shown| !shown.text.contains(" and 0 more")),
            "{id}: {:?}",
            finding.evidence
        );
        assert!(finding.evidence.iter().all(|shown| !shown.text.is_empty()), "{id}: {:?}", finding.evidence);
        assert!(
            finding.severity == Severity::Info || !finding.next.is_empty(),
            "{id}: nothing to do: {}",
            finding.title
        );
        assert!(!finding.sources.is_empty(), "{id} has no source: {}", finding.title);
        assert!(finding.device.iter().all(is_known), "{id}: {:?} is no device", finding.device);
        assert!(finding.affected.iter().all(is_known), "{id}: {:?} are no devices", finding.affected);
        assert!(
            finding.affected.iter().all(|key| Some(key) != finding.device.as_ref()),
            "{id}: {:?}",
            finding.device
        );
    }
}

/// Both reports of what was found.
pub(crate) fn said_of(analysis: &Analysis) -> Judged {
    let judgement = findings::judge(analysis);
    hold(analysis, &judgement);
    let document = report::document(analysis, &judgement);
    let mut text = Vec::new();
    report::write_text(&document, &mut text).unwrap();
    let mut json = Vec::new();
    report::write_json(&document, &mut json).unwrap();
    let mut site_file = Vec::new();
    report::write_site_file(&document, &mut site_file).unwrap();
    Judged {
        text: String::from_utf8(text).unwrap(),
        json: String::from_utf8(json).unwrap(),
        site_file: String::from_utf8(site_file).unwrap(),
    }
}
