//! Who could lead at the end of a capture: the elected clock, its rivals, and those that yielded.

use super::candidate::Candidate;
use super::comparison::DecidedBy;
use super::comparison::compare;
use super::domain::Domain;
use super::key::ClockId;

/// `clockClass` of a clock that only follows and never leads (1588-2008 Table 5, from memory).
const FOLLOWER_ONLY_CLASS: u8 = 255;

/// The clocks that could lead, best first.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Standing {
    /// One offer for each grandmaster, best first.
    pub candidates: Vec<Candidate>,
}

impl Standing {
    /// Of the clocks that were announcing at the end, or had yielded to a better one.
    #[must_use]
    pub fn at_end(domain: &Domain) -> Self {
        let mut best_offers: Vec<Candidate> = Vec::new();
        let heard = domain.election.announcers().values();
        let able = heard
            .filter(|announcer| announcer.can_qualify())
            .filter(|announcer| domain.election.alive_at_end(announcer) || announcer.yielded())
            .map(|announcer| announcer.candidate)
            .chain(domain.silent_candidates());
        for candidate in able.filter(can_lead) {
            let known = best_offers.iter_mut().find(|known| known.grandmaster == candidate.grandmaster);
            match known {
                Some(known) if compare(&candidate, known, None).verdict.order().is_lt() => *known = candidate,
                Some(_) => {}
                None => best_offers.push(candidate),
            }
        }
        // Not a library sort: the v1 comparison is no total order (variances count as similar in a window), and
        // a sort may panic on one that is not.
        let mut candidates: Vec<Candidate> = Vec::new();
        for offer in best_offers {
            let beaten = |known: &Candidate| compare(&offer, known, None).verdict.order().is_lt();
            let at = candidates.iter().position(beaten).unwrap_or(candidates.len());
            candidates.insert(at, offer);
        }
        Self { candidates }
    }

    /// The best, which should lead.
    #[must_use]
    pub fn rightful(&self) -> Option<ClockId> {
        self.candidates.first().map(|candidate| candidate.grandmaster)
    }

    /// The field on which the best beats the next.
    #[must_use]
    pub fn decided_by(&self) -> Option<DecidedBy> {
        match self.candidates.as_slice() {
            [] => None,
            [_] => Some(DecidedBy::OnlyCandidate),
            [best, next, ..] => Some(compare(best, next, None).decided_by),
        }
    }

    /// Everybody but `leader`, best first.
    pub fn succession(&self, leader: Option<ClockId>) -> impl Iterator<Item = ClockId> {
        self.candidates
            .iter()
            .map(|candidate| candidate.grandmaster)
            .filter(move |clock| Some(*clock) != leader)
    }
}

fn can_lead(candidate: &Candidate) -> bool {
    match candidate.data {
        super::DataSet::V1(data) => data.stratum != u8::MAX,
        super::DataSet::V2(data) => data.clock_class != FOLLOWER_ONLY_CLASS,
    }
}
