//! What is wrong, how surely, and what to do: small rules over an [`Analysis`](crate::analysis::Analysis), one a
//! file, in groups that list theirs; [`rules`] has them all.
//!
//! A rule reads the analysis and nothing else, calls no other rule, and says "cannot tell" where the capture
//! could not have shown the thing.

mod capture;
mod causes;
mod circumstances;
mod delay;
mod elections;
mod finding;
mod followers;
mod leading;
mod load;
mod loss;
mod media;
mod media_witness;
mod multicast;
mod pages;
mod quality;
mod rates;
mod redundancy;
mod rule;
mod security;
mod site;
mod transmit_cycle;
mod transport;
mod verdict;
mod words;
mod yardstick;

pub use finding::{Evidence, Finding, Severity};
pub use pages::{nearest_id, page};
pub use rule::{Outcome, Rule};
pub use verdict::{Judgement, Verdict, judge};

/// Every rule; the order is that of the output within one severity.
pub fn rules() -> impl Iterator<Item = &'static dyn Rule> {
    let groups = [
        elections::RULES,
        quality::RULES,
        followers::RULES,
        delay::RULES,
        rates::RULES,
        transport::RULES,
        multicast::RULES,
        media::RULES,
        load::RULES,
        redundancy::RULES,
        security::RULES,
        site::RULES,
        capture::RULES,
    ];
    groups.into_iter().flatten().copied()
}
