//! The election as a capture shows it: who announces, who leads, from when to when, and who leads beside a
//! better clock.
//!
//! Invariant: at most one tenure is open, and its clock was the best of the qualified announcers heard within
//! their own receipt timeout. Memory: one [`Announcer`] a sending port, one [`Tenure`] a change of leader.

use std::collections::BTreeMap;

use super::announcer::Announcer;
use super::announcer::Offer;
use super::candidate::Candidate;
use super::comparison::DecidedBy;
use super::comparison::compare;
use super::key::ClockId;
use super::key::PortId;
use super::tenure::EndedBy;
use super::tenure::Rivalry;
use super::tenure::Tenure;
use crate::observations::Place;
use crate::units::CaptureTime;

/// One domain's election.
#[derive(Debug, Clone, Default)]
pub struct Election {
    announcers: BTreeMap<PortId, Announcer>,
    closed: Vec<Tenure>,
    open: Option<Tenure>,
    rivalries: Vec<Rivalry>,
}

impl Election {
    /// Takes in an offer (v2 Announce, v1 Sync) heard at `place`, whose time is `now`.
    pub(crate) fn hear(&mut self, now: CaptureTime, place: Place, offer: Offer) {
        self.expire(now);
        let sender = offer.candidate.sender;
        match self.announcers.get_mut(&sender) {
            Some(announcer) => announcer.hear(now, place, offer),
            None => {
                self.announcers.insert(sender, Announcer::new(now, place, offer));
            }
        }
        self.evaluate(now, place);
        self.watch_rival(now, place, sender);
    }

    /// Takes in a Sync, which tells whether a clock that announces also gives time.
    pub(crate) fn hear_sync(&mut self, now: CaptureTime, sender: PortId) {
        if let Some(announcer) = self.announcers.get_mut(&sender) {
            announcer.last_sync = Some(now);
        }
    }

    /// Ends the reading at `end`, the capture's last instant, seen at `place`.
    pub(crate) fn finish(&mut self, end: CaptureTime, place: Place) {
        self.expire(end);
        if let Some(mut tenure) = self.open.take() {
            tenure.close(end, place, EndedBy::CaptureEnd);
            self.closed.push(tenure);
        }
    }

    /// Tenures in time order; the last is open until the reading ends.
    pub fn tenures(&self) -> impl Iterator<Item = &Tenure> {
        self.closed.iter().chain(self.open.as_ref())
    }

    /// The tenure that holds at the end of what was read.
    #[must_use]
    pub fn current(&self) -> Option<&Tenure> {
        self.open.as_ref().or_else(|| self.closed.last().filter(|last| last.ended_by == EndedBy::CaptureEnd))
    }

    /// The elected grandmaster at the end of what was read.
    #[must_use]
    pub fn leader(&self) -> Option<ClockId> {
        self.current().map(|tenure| tenure.clock)
    }

    /// Ports that have offered a grandmaster.
    #[must_use]
    pub const fn announcers(&self) -> &BTreeMap<PortId, Announcer> {
        &self.announcers
    }

    /// Clocks that went on leading beside a better one, beyond a hand-over.
    #[must_use]
    pub fn rivalries(&self) -> &[Rivalry] {
        &self.rivalries
    }

    /// The best offer among `ports`, with its runner-up's deciding field.
    #[must_use]
    pub fn best_of<'a>(offers: impl Iterator<Item = &'a Candidate>) -> Option<&'a Candidate> {
        offers.min_by(|a, b| compare(a, b, None).verdict.order())
    }

    /// Whether a port that has fallen silent yielded to a better clock rather than being lost.
    #[must_use]
    pub fn yielded(&self, announcer: &Announcer) -> bool {
        let given_up = announcer.lost_at();
        self.tenures().any(|tenure| {
            tenure.clock != announcer.candidate.grandmaster
                && tenure.from <= given_up
                && tenure.until.is_none_or(|until| until >= announcer.last)
                && compare(&tenure.candidate, &announcer.candidate, None).verdict.order().is_lt()
        })
    }

    /// Closes the tenure of a leader that was not heard for longer than its receipt timeout, and opens that
    /// of the best clock that went on announcing meanwhile.
    fn expire(&mut self, now: CaptureTime) {
        while let Some(mut tenure) = self.open.take() {
            let carriers = || self.announcers.values().filter(|a| a.candidate.grandmaster == tenure.clock);
            let Some(last) = carriers().max_by_key(|a| a.lost_at()).filter(|a| a.lost_at() < now) else {
                self.open = Some(tenure);
                return;
            };
            let (silent_since, timeout, deadline) = (last.last, last.timeout_at(), last.lost_at());
            tenure.close(silent_since, last.last_place, last.silence_reason());
            self.closed.push(tenure);
            // Strictly later: the lost leader itself is still "alive" at its own deadline.
            let survivors = || self.announcers.values().filter(|a| a.lost_at() > deadline);
            if let Some(best) = Self::best_announcer(survivors()) {
                let from = if best.run_first > silent_since { best.run_first } else { timeout };
                let against = survivors().filter(|a| a.candidate.grandmaster != best.candidate.grandmaster);
                let won = won_on(&best.candidate, against.map(|a| &a.candidate));
                self.open = Some(Tenure::new(best.candidate, from, best.run_first_place, won));
            }
        }
    }

    fn best_announcer<'a>(announcers: impl Iterator<Item = &'a Announcer>) -> Option<&'a Announcer> {
        announcers.min_by(|a, b| compare(&a.candidate, &b.candidate, None).verdict.order())
    }

    fn evaluate(&mut self, now: CaptureTime, place: Place) {
        let alive = || self.announcers.values().filter(|a| a.is_alive(now));
        let Some(mut tenure) = self.open.take() else {
            if let Some(best) = Self::best_announcer(alive()) {
                let against = alive().filter(|a| a.candidate.grandmaster != best.candidate.grandmaster);
                let won = won_on(&best.candidate, against.map(|a| &a.candidate));
                self.open = Some(Tenure::new(best.candidate, best.run_first, best.run_first_place, won));
            }
            return;
        };
        let carrier = Self::best_announcer(alive().filter(|a| a.candidate.grandmaster == tenure.clock));
        let Some(carrier) = carrier else {
            // Its announcers are alive and now offer another grandmaster: they chose it, nobody has to qualify.
            if let Some(best) = Self::best_announcer(alive()) {
                let better = compare(&best.candidate, &tenure.candidate, None);
                let reason = if better.verdict.order().is_lt() {
                    EndedBy::BetterClock
                } else {
                    EndedBy::AnnounceTimeout
                };
                let next = Tenure::new(
                    best.candidate,
                    now,
                    place,
                    (better.decided_by, Some(tenure.candidate.grandmaster)),
                );
                tenure.close(now, place, reason);
                self.closed.push(tenure);
                self.open = Some(next);
            }
            return;
        };
        let leading = carrier.candidate;
        let best = Self::best_announcer(alive().filter(|a| a.is_qualified()));
        match best.filter(|best| best.candidate.grandmaster != tenure.clock) {
            Some(best) if compare(&best.candidate, &leading, None).verdict.order().is_lt() => {
                let decided = compare(&best.candidate, &leading, None).decided_by;
                let won = (decided, Some(tenure.clock));
                if best.present_from_start && best.run_count == 1 && self.closed.is_empty() {
                    // Both were announcing when the capture began; the worse one was only heard first.
                    self.open = Some(Tenure::new(best.candidate, best.run_first, best.run_first_place, won));
                    return;
                }
                let was_better = compare(&tenure.candidate, &best.candidate, None).verdict.order().is_lt();
                let reason = if carrier.sync_stopped(now) {
                    EndedBy::SyncStopped
                } else if was_better {
                    EndedBy::QualityChange
                } else {
                    EndedBy::BetterClock
                };
                let next = Tenure::new(best.candidate, now, place, won);
                tenure.close(now, place, reason);
                self.closed.push(tenure);
                self.open = Some(next);
            }
            _ => {
                tenure.latest = leading;
                if tenure.won_on == DecidedBy::OnlyCandidate {
                    // A better clock that is about to take over is nobody the leader has won against.
                    let beaten = alive().filter(|a| {
                        a.candidate.grandmaster != tenure.clock
                            && compare(&leading, &a.candidate, None).verdict.order().is_lt()
                    });
                    (tenure.won_on, tenure.won_against) = won_on(&leading, beaten.map(|a| &a.candidate));
                }
                self.open = Some(tenure);
            }
        }
    }

    fn watch_rival(&mut self, now: CaptureTime, place: Place, sender: PortId) {
        let Some(tenure) = &self.open else { return };
        let Some(announcer) = self.announcers.get_mut(&sender) else { return };
        if announcer.candidate.grandmaster == tenure.clock {
            announcer.beside_since = None;
            return;
        }
        let (since, since_place) = *announcer.beside_since.get_or_insert((now, place));
        if now.since(since) < announcer.hand_over() {
            return;
        }
        let decided_by = compare(&tenure.latest, &announcer.candidate, None).decided_by;
        let known = self.rivalries.iter_mut().rev().find(|r| r.port == sender && r.since == since);
        if let Some(rivalry) = known {
            rivalry.until = now;
            rivalry.until_place = place;
            rivalry.count += 1;
        } else {
            self.rivalries.push(Rivalry {
                port: sender,
                clock: announcer.candidate.grandmaster,
                leader: tenure.clock,
                decided_by,
                since,
                since_place,
                until: now,
                until_place: place,
                count: 1,
            });
        }
    }
}

/// The field on which `winner` beats the best of `others`, and that one's grandmaster.
fn won_on<'a>(
    winner: &Candidate,
    others: impl Iterator<Item = &'a Candidate>,
) -> (DecidedBy, Option<ClockId>) {
    match Election::best_of(others) {
        Some(second) => (compare(winner, second, None).decided_by, Some(second.grandmaster)),
        None => (DecidedBy::OnlyCandidate, None),
    }
}
