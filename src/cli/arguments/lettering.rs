//! What text for people may be written with.

use clap::Args;

/// For every command that writes text.
#[derive(Debug, Clone, Copy, Args)]
pub(crate) struct Lettering {
    /// Write the text with ASCII alone; without it, where the terminal's locale is not UTF-8
    #[arg(long)]
    pub(crate) ascii: bool,
}
