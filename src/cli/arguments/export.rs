//! What can be typed for an export.

use std::path::PathBuf;

use clap::Args;
use clap::ValueEnum;
use downbeat::units::Nanos;

use super::Format;
use super::ReadingArguments;

const AFTER_EXPORT: &str = "\
Exit status: 0 it was written; 2 it was not, and the folder is as it was before.

The folder's README.md says what every file and column is, with unit and source. A folder that holds an earlier export \
and nothing else is replaced; any other is left alone.";

#[derive(Debug, Args)]
#[command(after_help = AFTER_EXPORT)]
pub(crate) struct Export {
    /// The folder to write; it is whole or not there
    #[arg(long, value_name = "DIR", required = true)]
    pub(crate) to: PathBuf,

    /// What is written, with commas between
    #[arg(long, value_enum, value_name = "KIND", value_delimiter = ',', default_values = ["csv", "png"])]
    pub(crate) write: Vec<Written>,

    /// How long the windows are in which rates are told
    #[arg(long, value_enum, value_name = "WIDTH", default_value = "1s")]
    pub(crate) window: Window,

    /// How the list of what was written is written
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub(crate) format: Format,

    #[command(flatten)]
    pub(crate) reading: ReadingArguments,
}

/// What an export holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum Written {
    /// Tables as comma-separated values
    Csv,
    /// Tables as Parquet
    Parquet,
    /// Plots as SVG
    Svg,
    /// Plots as PNG
    Png,
}

/// How long a window is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum Window {
    #[value(name = "1s")]
    Second,
    #[value(name = "100ms")]
    HundredMilliseconds,
    #[value(name = "10ms")]
    TenMilliseconds,
    #[value(name = "1ms")]
    Millisecond,
}

impl Window {
    pub(crate) const fn nanos(self) -> Nanos {
        Nanos(match self {
            Self::Second => 1_000_000_000,
            Self::HundredMilliseconds => 100_000_000,
            Self::TenMilliseconds => 10_000_000,
            Self::Millisecond => 1_000_000,
        })
    }
}
