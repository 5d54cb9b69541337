//! What can be typed. `--help` comes from here.

mod anonymity;
mod export;
mod lettering;

pub(crate) use anonymity::Anonymity;
pub(crate) use export::Export;
pub(crate) use export::Written;
pub(crate) use lettering::Lettering;

use std::path::Path;
use std::path::PathBuf;

use clap::Args;
use clap::Parser;
use clap::Subcommand;
use clap::ValueEnum;
use downbeat::analysis::Bound;
use downbeat::findings::Severity;
use downbeat::fit::KeepFree;
use downbeat::fit::Planned;
use downbeat::units::BitsPerSecond;

use super::values::bound;
use super::values::keep_free;
use super::values::planned;
use super::values::rate;

use super::threads::ThreadsArgument;

/// Reads packet captures from audio/video-over-IP networks and says whether the network's clock is healthy.
#[derive(Debug, Parser)]
#[command(name = "downbeat", version, about, long_about = None, arg_required_else_help = true)]
pub(crate) struct Arguments {
    #[command(subcommand)]
    pub(crate) command: Command,
}

#[derive(Debug, Subcommand)]
pub(crate) enum Command {
    /// Verdict, clock domains, elections, devices, and what is wrong with evidence and next steps
    Check(Check),
    /// Every event in time order, related ones as one incident with its probable cause first
    Timeline(Timeline),
    /// What differs between two captures, or two saved reports: leaders, data, devices, delays, findings
    Compare(Compare),
    /// The measured series as tables (CSV, Parquet) and the plots as pictures, in a folder
    Export(Export),
    /// What a finding means, what it cannot know, what to do, and where that comes from
    Explain(Explain),
    /// A first site file from a capture of a good day, to be edited
    Site(SiteCommand),
    /// What a shell needs to complete commands and options
    Completions(Completions),
    /// The manual page, for `man -l -`
    Man(Manual),
    /// Every stream and source: rates, loss, jitter, marking, media clock, and the link's load
    Streams(Streams),
    /// Whether what is planned fits on this link: load now, load then, and the arithmetic
    Fit(Fit),
}

const AFTER_CHECK: &str = "\
Exit status: 0 nothing at or above --fail-on; 1 findings at or above it; \
2 no report possible; 3 cannot tell (no PTP in the capture, too little to judge, or \
reading stopped by Ctrl+C with nothing found until then).

Ctrl+C ends the reading and gives the report of what was read so far, marked as partial; once more, it ends the \
program (130).

The report is advice for people who know the site. Changing clock settings, switches or cabling on a live \
system interrupts it and can hurt where sound or machinery depends on it.";

const AFTER_STREAMS: &str = "\
Exit status: 0 the report was written; 2 no report possible; 3 reading was stopped by Ctrl+C, so that it is of a part.

Bit rates are those of the wire: each frame with its check sequence, preamble and gap. One capture shows one link.";

const AFTER_FIT: &str = "\
Exit status: 0 it fits; 1 it does not, or only if peaks do not meet; 2 no report possible; 3 cannot tell (less than a \
second was captured).

A load of exactly what may be used fits; loads are rounded up, so that what reads as the limit is within it.

Rates are those of the wire: each frame with its check sequence, preamble and gap. One capture shows one link: every \
link that the streams cross has to be looked at.";

#[derive(Debug, Args)]
#[command(after_help = AFTER_CHECK)]
pub(crate) struct Check {
    /// How the report is written
    #[arg(long, value_enum, default_value_t = ReportFormat::Text)]
    pub(crate) format: ReportFormat,

    #[command(flatten)]
    pub(crate) lettering: Lettering,

    #[command(flatten)]
    pub(crate) reading: ReadingArguments,

    /// The least severity that makes the exit status 1
    #[arg(long, value_enum, value_name = "SEVERITY", default_value_t = FailOn::Major)]
    pub(crate) fail_on: FailOn,
}

#[derive(Debug, Args)]
#[command(after_help = AFTER_STREAMS)]
pub(crate) struct Streams {
    /// How the report is written
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub(crate) format: Format,

    #[command(flatten)]
    pub(crate) lettering: Lettering,

    #[command(flatten)]
    pub(crate) reading: ReadingArguments,
}

#[derive(Debug, Args)]
#[command(after_help = AFTER_FIT)]
pub(crate) struct Fit {
    /// How the report is written
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub(crate) format: Format,

    #[command(flatten)]
    pub(crate) lettering: Lettering,

    #[command(flatten)]
    pub(crate) reading: ReadingArguments,

    /// Streams to add, besides those that the site file plans: a name, what each takes on the wire, and how many
    /// (`camera=8Mx10`); may be given several times
    #[arg(long, value_name = "NAME=RATE[xCOUNT]", value_parser = planned, required_unless_present = "site")]
    pub(crate) add: Vec<Planned>,

    /// The part of the link that has to stay free: 0.25 or 25%; without it, a quarter
    #[arg(long, value_name = "FRACTION", value_parser = keep_free)]
    pub(crate) keep_free: Option<KeepFree>,
}

const AFTER_TIMELINE: &str = "\
Exit status: 0 the timeline was written; 2 it could not be; 3 there is no PTP in the capture, or reading \
was stopped by Ctrl+C, so that it is of a part.

Events of one domain or device that follow one another within 10 s are one incident. Its cause is looked for among \
all of its events, also among those that are not shown.";

#[derive(Debug, Args)]
#[command(after_help = AFTER_TIMELINE)]
pub(crate) struct Timeline {
    /// Captures: pcap or pcapng, plain, gzip or zstd; `-` is standard input; several files, a folder or a
    /// quoted pattern are joined in time order as one capture
    #[arg(value_name = "FILE", required = true)]
    pub(crate) files: Vec<PathBuf>,

    /// Only events of this domain: a number, or a version 1 name; may be given several times
    #[arg(long, value_name = "N")]
    pub(crate) domain: Vec<String>,

    /// Only events of this device: MAC or IP address, clock, or name; may be given several times
    #[arg(long, value_name = "DEVICE")]
    pub(crate) device: Vec<String>,

    /// Only events of this kind, such as leader-changed; may be given several times
    #[arg(long, value_name = "KIND")]
    pub(crate) kind: Vec<String>,

    /// How the timeline is written
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub(crate) format: Format,

    #[command(flatten)]
    pub(crate) lettering: Lettering,

    /// Write the timeline to this file instead of standard output
    #[arg(long, value_name = "FILE")]
    pub(crate) out: Option<PathBuf>,

    /// Look at frames from here on: RFC 3339, or seconds from the first frame
    #[arg(long, value_name = "TIME", value_parser = bound, allow_negative_numbers = true)]
    pub(crate) from: Option<Bound>,

    /// Look at frames up to here: RFC 3339, or seconds from the first frame
    #[arg(long, value_name = "TIME", value_parser = bound, allow_negative_numbers = true)]
    pub(crate) until: Option<Bound>,

    /// What the site's devices are called
    #[arg(long, value_name = "FILE")]
    pub(crate) site: Option<PathBuf>,

    #[command(flatten)]
    pub(crate) threads: ThreadsArgument,

    #[command(flatten)]
    pub(crate) anonymity: Anonymity,
}

impl Timeline {
    pub(crate) fn reading(&self) -> ReadingArguments {
        ReadingArguments {
            files: self.files.clone(),
            out: self.out.clone(),
            from: self.from,
            until: self.until,
            domain: None,
            link_speed: None,
            site: self.site.clone(),
            threads: self.threads,
            anonymity: self.anonymity.clone(),
        }
    }
}

const AFTER_COMPARE: &str = "\
Exit status: 0 no change at or above --fail-on; 1 a change at or above it; 2 no comparison possible; 3 one of the two \
holds no PTP.

A delay has shifted where each median lies outside the other's 5th to 95th percentile, of 20 samples or more on each \
side; jitter where median and 95th percentile have both doubled or halved, of 100 or more; and in both cases by more \
than the step of the stamps.";

#[derive(Debug, Args)]
#[command(after_help = AFTER_COMPARE)]
pub(crate) struct Compare {
    /// The good day: a capture, a folder, a quoted pattern, or a report saved with `check --format json`
    #[arg(value_name = "BEFORE")]
    pub(crate) before: PathBuf,

    /// The other day, likewise
    #[arg(value_name = "AFTER")]
    pub(crate) after: PathBuf,

    /// How the comparison is written
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub(crate) format: Format,

    #[command(flatten)]
    pub(crate) lettering: Lettering,

    /// Write the comparison to this file instead of standard output
    #[arg(long, value_name = "FILE")]
    pub(crate) out: Option<PathBuf>,

    /// Look at each capture from here on: RFC 3339, or seconds from its first frame
    #[arg(long, value_name = "TIME", value_parser = bound, allow_negative_numbers = true)]
    pub(crate) from: Option<Bound>,

    /// Look at each capture up to here, likewise
    #[arg(long, value_name = "TIME", value_parser = bound, allow_negative_numbers = true)]
    pub(crate) until: Option<Bound>,

    /// The site's PTP domain, for captures; without it, the one that most devices follow in
    #[arg(long, value_name = "N", allow_negative_numbers = true)]
    pub(crate) domain: Option<u8>,

    /// What is expected of the site, and what its devices are called, for captures
    #[arg(long, value_name = "FILE")]
    pub(crate) site: Option<PathBuf>,

    /// The least weight of a change that makes the exit status 1
    #[arg(long, value_enum, value_name = "SEVERITY", default_value_t = FailOn::Major)]
    pub(crate) fail_on: FailOn,

    #[command(flatten)]
    pub(crate) threads: ThreadsArgument,

    #[command(flatten)]
    pub(crate) anonymity: Anonymity,
}

impl Compare {
    pub(crate) fn reading(&self, side: &Path) -> ReadingArguments {
        ReadingArguments {
            files: vec![side.to_path_buf()],
            out: self.out.clone(),
            from: self.from,
            until: self.until,
            domain: self.domain,
            link_speed: None,
            site: self.site.clone(),
            threads: self.threads,
            anonymity: self.anonymity.clone(),
        }
    }
}

#[derive(Debug, Args)]
pub(crate) struct Completions {
    /// The shell
    #[arg(value_enum)]
    pub(crate) shell: clap_complete::Shell,
}

#[derive(Debug, Args)]
pub(crate) struct Manual {
    /// One command's page; without it, the program's
    #[arg(value_name = "COMMAND")]
    pub(crate) command: Option<String>,
}

const AFTER_EXPLAIN: &str = "Exit status: 0 it was written; 2 no finding is called that.";

#[derive(Debug, Args)]
#[command(after_help = AFTER_EXPLAIN)]
pub(crate) struct Explain {
    /// A finding's id, as the report gives it; without it, all of them with one line each
    #[arg(value_name = "FINDING-ID")]
    pub(crate) id: Option<String>,

    /// How it is written
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub(crate) format: Format,

    #[command(flatten)]
    pub(crate) lettering: Lettering,

    /// Write it to this file instead of standard output
    #[arg(long, value_name = "FILE")]
    pub(crate) out: Option<PathBuf>,
}

const AFTER_SITE: &str = "\
Exit status: 0 the file was written; 2 it could not be.

It holds what the capture shows: read it, name the devices, and take out what is not meant to stay so. Then \
`downbeat check --site FILE` says what differs.";

#[derive(Debug, Args)]
#[command(after_help = AFTER_SITE)]
pub(crate) struct SiteCommand {
    /// Captures of a good day: pcap or pcapng, plain, gzip or zstd; `-` is standard input; several files, a folder or
    /// a quoted pattern are joined in time order as one capture
    #[arg(value_name = "FILE", required = true)]
    pub(crate) files: Vec<PathBuf>,

    /// Write the site file there instead of to standard output
    #[arg(long, value_name = "FILE")]
    pub(crate) out: Option<PathBuf>,

    /// The site's PTP domain; without it, the one that most devices follow in
    #[arg(long, value_name = "N", allow_negative_numbers = true)]
    pub(crate) domain: Option<u8>,

    #[command(flatten)]
    pub(crate) threads: ThreadsArgument,

    #[command(flatten)]
    pub(crate) anonymity: Anonymity,
}

impl SiteCommand {
    pub(crate) fn reading(&self) -> ReadingArguments {
        ReadingArguments {
            files: self.files.clone(),
            out: self.out.clone(),
            from: None,
            until: None,
            domain: self.domain,
            link_speed: None,
            site: None,
            threads: self.threads,
            anonymity: self.anonymity.clone(),
        }
    }
}

/// What is read, and how the report is written.
#[derive(Debug, Args)]
pub(crate) struct ReadingArguments {
    /// Captures: pcap or pcapng, plain, gzip or zstd; `-` is standard input; several files, a folder or a
    /// quoted pattern are joined in time order as one capture
    #[arg(value_name = "FILE", required = true)]
    pub(crate) files: Vec<PathBuf>,

    /// Write the report to this file instead of standard output
    #[arg(long, value_name = "FILE")]
    pub(crate) out: Option<PathBuf>,

    /// Look at frames from here on: RFC 3339, or seconds from the first frame
    #[arg(long, value_name = "TIME", value_parser = bound, allow_negative_numbers = true)]
    pub(crate) from: Option<Bound>,

    /// Look at frames up to here: RFC 3339, or seconds from the first frame
    #[arg(long, value_name = "TIME", value_parser = bound, allow_negative_numbers = true)]
    pub(crate) until: Option<Bound>,

    /// The site's PTP domain; without it, the one that most devices follow in
    #[arg(long, value_name = "N", allow_negative_numbers = true)]
    pub(crate) domain: Option<u8>,

    /// What is expected of the site, and what its devices are called
    #[arg(long, value_name = "FILE")]
    pub(crate) site: Option<PathBuf>,

    /// Speed of the link the capture was taken on, decimal bits a second (100M, 1G, 2.5G); without it, the
    /// capture file's word, else 1G
    #[arg(long, value_name = "RATE", value_parser = rate)]
    pub(crate) link_speed: Option<BitsPerSecond>,

    #[command(flatten)]
    pub(crate) threads: ThreadsArgument,

    #[command(flatten)]
    pub(crate) anonymity: Anonymity,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum Format {
    /// For people: 80 columns, on a terminal up to 160
    Text,
    /// For programs: see docs/json.md
    Json,
}

/// The ways in which `check` writes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum ReportFormat {
    /// For people: 80 columns, on a terminal up to 160
    Text,
    /// For programs: downbeat.report/1
    Json,
    /// One page with plots that needs nothing else
    Html,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum FailOn {
    Critical,
    Major,
    Minor,
    Never,
}

impl ReadingArguments {
    /// Says why the span that is asked for holds nothing, where that is plain from its ends.
    pub(crate) fn refuse_empty_span(&self) -> Result<(), String> {
        let reversed = match (self.from, self.until) {
            (Some(Bound::FromStart(from)), Some(Bound::FromStart(until))) => until < from,
            (Some(Bound::At(from)), Some(Bound::At(until))) => until < from,
            _ => false,
        };
        if reversed {
            Err("--until lies before --from; nothing is left to look at".to_owned())
        } else {
            Ok(())
        }
    }
}

impl FailOn {
    pub(crate) const fn severity(self) -> Option<Severity> {
        match self {
            Self::Critical => Some(Severity::Critical),
            Self::Major => Some(Severity::Major),
            Self::Minor => Some(Severity::Minor),
            Self::Never => None,
        }
    }
}
