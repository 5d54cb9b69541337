//! What can be typed so that a report can be passed on.

use std::sync::Arc;
use std::sync::OnceLock;

use clap::Args;
use downbeat::pseudonyms::Key;
use downbeat::pseudonyms::Pseudonyms;

/// Characters that a key has at least (chosen: what is shorter can be found by trying).
const SHORTEST_KEY: usize = 16;

/// Of a run without a key that was typed; one for all that it reads.
static DRAWN: OnceLock<Key> = OnceLock::new();

#[derive(Debug, Clone, Args)]
pub(crate) struct Anonymity {
    /// Write invented addresses, clock identities and names instead of the site's: the same one for the same original within
    /// this run. Times, rates, VLANs, domain numbers, ports and
    /// the SSRCs of streams stay
    #[arg(long)]
    pub(crate) anonymise: bool,

    /// The text that decides which one stands for which, so that several runs fit one another; without it, every run draws its
    /// own. Keep it: whoever has it can find originals by trying them
    #[arg(long, value_name = "TEXT", requires = "anonymise", value_parser = long_enough)]
    pub(crate) anonymise_key: Option<String>,
}

impl Anonymity {
    pub(crate) fn pseudonyms(&self) -> Option<Arc<Pseudonyms>> {
        self.anonymise.then(|| {
            let key = self.anonymise_key.as_deref().map(Key::of);
            Arc::new(Pseudonyms::new(key.unwrap_or_else(|| *DRAWN.get_or_init(Key::drawn))))
        })
    }
}

fn long_enough(text: &str) -> Result<String, String> {
    if text.chars().count() < SHORTEST_KEY {
        return Err(format!("give {SHORTEST_KEY} characters or more, which nobody can guess"));
    }
    Ok(text.to_owned())
}
