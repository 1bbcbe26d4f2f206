//! What the office does at its desk, while phones are away.

use super::Server;
use super::judge::{Changed, MONTH_MS, NEWEST};
use super::tables::{Card, CardKind, Fleet};
use crate::phone::wire::Word;
use crate::sim::faults::Fault;
use dropwise::sync::rules::job_state::{State, may_edit};
use rand::RngExt;
use rand::rngs::Xoshiro256PlusPlus;
use rand::seq::IndexedRandom;
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// One thing the office does.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Deed {
    /// Writes a field of a job or notice.
    Edit,
    /// Gives a job to another van.
    MoveJob,
    /// Puts a bottle into another van.
    MoveBottle,
    /// Makes a new job or notice.
    Create,
    /// Takes away a draft; a record with facts stays.
    Delete,
    /// Settles or cancels a job.
    Settle,
    /// Sends a member to another van.
    MoveMember,
    /// Lets a member go.
    Remove,
    /// Decides on a parked entry.
    Decide,
    /// Closes a month.
    CloseMonth,
    /// Installs a server that knows the newest kind.
    Learn,
}

impl Fleet {
    /// Does it; answers with what changed.
    pub fn office(
        &mut self,
        deed: Deed,
        rng: &mut Xoshiro256PlusPlus,
        fresh: Uuid,
        now_ms: i64,
        fault: Option<Fault>,
    ) -> Vec<Changed> {
        match deed {
            Deed::Edit => self.edit(rng, now_ms, fault),
            Deed::Create => self.create(rng, fresh),
            Deed::MoveJob => {
                let place = *self.places.choose(rng).expect("vans");
                self.with_job(rng, |job| job.place = place)
            }
            Deed::Settle => {
                let to = if rng.random_bool(0.5) { State::Settled } else { State::Cancelled };
                self.with_job(rng, |job| {
                    if may_edit(job.state, to) {
                        job.state = to;
                    }
                })
            }
            Deed::Delete => self.with_job(rng, |job| job.deleted = job.facts.is_empty()),
            Deed::MoveBottle => {
                let place = *self.places.choose(rng).expect("vans");
                let tags: Vec<&String> = self.bottles.keys().collect();
                let Some(tag) = tags.choose(rng).map(|tag| (*tag).clone()) else { return vec![] };
                if let Some(bottle) = self.bottles.get_mut(&tag) {
                    bottle.moved_to = Some(place);
                }
                vec![Changed::Bottle(tag)]
            }
            Deed::MoveMember => {
                let place = *self.places.choose(rng).expect("vans");
                let members: Vec<Uuid> = self.members.keys().copied().collect();
                if let Some(member) = members.choose(rng).and_then(|id| self.members.get_mut(id))
                    && member.place != place
                {
                    member.place = place;
                    member.scope += 1;
                }
                vec![]
            }
            Deed::Remove => {
                let there: Vec<Uuid> =
                    self.members.iter().filter(|(_, m)| m.removed_ms.is_none()).map(|(id, _)| *id).collect();
                // Somebody has to stay.
                if there.len() > 1
                    && let Some(member) = there.choose(rng).and_then(|id| self.members.get_mut(id))
                {
                    member.removed_ms = Some(now_ms);
                }
                vec![]
            }
            Deed::Decide => self.decide_on_parked(rng, now_ms, fault),
            Deed::CloseMonth => {
                self.closed.insert(now_ms.div_euclid(MONTH_MS) - rng.random_range(1..=3));
                vec![]
            }
            Deed::Learn => self.learn(fault),
        }
    }

    fn cards_of(&self, kind: Option<CardKind>) -> Vec<Uuid> {
        let wanted = |card: &Card| !card.deleted && kind.is_none_or(|kind| card.kind == kind);
        self.cards.iter().filter(|(_, card)| wanted(card)).map(|(id, _)| *id).collect()
    }

    fn with_job(&mut self, rng: &mut Xoshiro256PlusPlus, change: impl FnOnce(&mut Card)) -> Vec<Changed> {
        let jobs = self.cards_of(Some(CardKind::Job));
        let Some(id) = jobs.choose(rng) else { return vec![] };
        if let Some(job) = self.cards.get_mut(id) {
            change(job);
        }
        vec![Changed::Card(*id)]
    }

    fn edit(&mut self, rng: &mut Xoshiro256PlusPlus, now_ms: i64, fault: Option<Fault>) -> Vec<Changed> {
        let cards = self.cards_of(None);
        let Some(id) = cards.choose(rng) else { return vec![] };
        let stamp = self.clock.tick(now_ms);
        let field = ["note", "label"].choose(rng).expect("fields");
        self.set(*id, field, &format!("office {}", stamp.text()), stamp, fault);
        vec![Changed::Card(*id)]
    }

    fn create(&mut self, rng: &mut Xoshiro256PlusPlus, fresh: Uuid) -> Vec<Changed> {
        let notice = rng.random_bool(0.2);
        let place = if notice { self.id } else { *self.places.choose(rng).expect("vans") };
        self.cards.insert(
            fresh,
            Card {
                kind: if notice { CardKind::Notice } else { CardKind::Job },
                place,
                state: State::Booked,
                fields: BTreeMap::new(),
                losers: vec![],
                facts: BTreeSet::new(),
                deleted: false,
            },
        );
        vec![Changed::Card(fresh)]
    }

    fn decide_on_parked(
        &mut self,
        rng: &mut Xoshiro256PlusPlus,
        now_ms: i64,
        fault: Option<Fault>,
    ) -> Vec<Changed> {
        let parked = self.entries.values().filter(|e| e.word == Word::Parked && e.waits_for.is_none());
        let parked: Vec<Uuid> = parked.map(|stored| stored.entry.id).collect();
        let Some(id) = parked.choose(rng) else { return vec![] };
        let mut stored = self.entries[id].clone();
        let mut changed = vec![];
        if rng.random_bool(0.5) {
            // Into the first month from now on that is open.
            let now = now_ms.div_euclid(MONTH_MS);
            let open = (now..).find(|month| !self.closed.contains(month));
            self.judge(stored, open, fault, false, &mut changed);
        } else {
            self.judgements += 1;
            (stored.word, stored.code, stored.judged) =
                (Word::Refused, Some("office_says_no"), self.judgements);
            self.entries.insert(*id, stored);
            changed.push(Changed::Entry(*id));
            self.free(*id, fault, &mut changed);
        }
        if self.entries[id].word != Word::Parked {
            changed.push(Changed::Verdict(*id));
        }
        changed
    }

    /// Entries of the kind that was unknown are judged now.
    fn learn(&mut self, fault: Option<Fault>) -> Vec<Changed> {
        self.knows_newest = true;
        let mut parked: Vec<_> = self
            .entries
            .values()
            .filter(|e| e.word == Word::Parked && e.entry.kind == NEWEST)
            .cloned()
            .collect();
        parked.sort_by_key(|stored| stored.judged);
        let mut changed = vec![];
        for stored in parked {
            let id = stored.entry.id;
            if self.judge(stored, None, fault, false, &mut changed).0 != Word::Parked {
                changed.push(Changed::Verdict(id));
            }
        }
        changed
    }
}

impl Server {
    /// Forgets tombstones up to a share of the trail.
    pub fn sweep(&mut self, fleet: Uuid, share: f64) {
        if let Some(fleet) = self.fleets.get_mut(&fleet) {
            #[expect(clippy::cast_possible_truncation, reason = "a share of a head is no larger than it")]
            let through = (fleet.trail.head as f64 * share) as i64;
            fleet.trail.sweep(through);
        }
    }
}
