//! The simulated server: the protocol's rules over tables in memory. What the real server shares with it
//! is `dropwise::sync::rules`.
//!
//! A transaction begins and commits as separate steps, so that others may be read in between. Nothing is
//! random here: what needs a lot drawn is given a number.

pub mod judge;
pub mod levels;
pub mod office;
pub mod reading;
pub mod tables;
pub mod telling;
pub mod trail;

use crate::phone::wire::{Entry, Handover, HandoverReply, Problem, Reply, Request, Verdict, Word};
use crate::sim::faults::Fault;
use chrono::{DateTime, Utc};
use dropwise::sync::rules::lane::{self, Digest, Judged, LaneState, Reused, Sent};
use dropwise::sync::rules::stamp::{Stamp, arrival};
use judge::{Changed, MONTH_MS};
use std::collections::BTreeMap;
use std::hash::{DefaultHasher, Hash, Hasher};
use std::sync::Arc;
use tables::{Fleet, Lane, Stored};
use uuid::Uuid;

/// Most entries per handover.
pub const ENTRIES: usize = 20;
/// Most rows per page.
pub const ROOM: usize = 12;
/// Positions set aside for a transaction by a server that stamps early.
const EARLY: i64 = 1_000;

/// Who asks: as the session says, never as the request says.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Asker {
    /// The business.
    pub fleet: Uuid,
    /// The person.
    pub member: Uuid,
}

/// The process and its database.
#[derive(Debug, Clone)]
pub struct Server {
    /// The mistake it makes, if any.
    pub fault: Option<Fault>,
    /// Each business's tables.
    pub fleets: BTreeMap<Uuid, Fleet>,
    /// What the database is: changes when it is restored as a server can see.
    pub database: u64,
    backup: Option<(u64, BTreeMap<Uuid, Fleet>)>,
    /// Numbers that were never used before, across restores: stands for randomness.
    fresh: u64,
    /// How many eras were rotated because a phone proved a restore.
    pub proofs: u64,
}

/// What a commit showed to whoever watches.
#[derive(Debug, Default)]
pub struct Committed {
    /// Positions given to its rows, in order.
    pub positions: Vec<i64>,
    /// The era they are in.
    pub era: String,
}

impl Server {
    /// An empty server.
    #[must_use]
    pub fn new(fault: Option<Fault>) -> Self {
        Self { fault, fleets: BTreeMap::new(), database: 1, backup: None, fresh: 1, proofs: 0 }
    }

    fn fresh(&mut self) -> u64 {
        self.fresh += 1;
        self.fresh
    }

    /// Takes a backup of everything committed.
    pub fn back_up(&mut self) {
        self.backup = Some((self.database, self.fleets.clone()));
    }

    /// Whether there is one.
    #[must_use]
    pub fn has_backup(&self) -> bool {
        self.backup.is_some()
    }

    /// Puts the newest backup in the place of the database. `seen`: the server can tell, and starts a
    /// new era; else only a phone can.
    pub fn restore(&mut self, seen: bool) {
        let Some((database, fleets)) = self.backup.clone() else { return };
        (self.database, self.fleets) = (database, fleets);
        if seen {
            self.rotate_all();
        }
    }

    /// The operator says that this is another history.
    pub fn rotate_all(&mut self) {
        if self.fault != Some(Fault::EraOff) {
            self.database = self.fresh();
        }
    }

    fn rotate(&mut self, fleet: Uuid) {
        self.proofs += 1;
        let fresh = self.fresh();
        if let Some(fleet) = self.fleets.get_mut(&fleet).filter(|_| self.fault != Some(Fault::EraOff)) {
            fleet.era = fresh;
        }
    }

    /// The era of a fleet.
    #[must_use]
    pub fn era(&self, fleet: Uuid) -> [u8; 16] {
        let part = self.fleets.get(&fleet).map_or(0, |fleet| fleet.era);
        ((u128::from(self.database) << 64) | u128::from(part)).to_be_bytes()
    }

    /// The era as phones are told it.
    #[must_use]
    pub fn era_text(&self, fleet: Uuid) -> String {
        format!("{:032x}", u128::from_be_bytes(self.era(fleet)))
    }

    /// A transaction begins. What it answers belongs to its commit.
    pub fn begin(&mut self, fleet: Uuid) -> Option<i64> {
        let early = self.fault == Some(Fault::HeadStampedEarly);
        let fleet = self.fleets.get_mut(&fleet).filter(|_| early)?;
        let first = fleet.trail.head;
        fleet.trail.head += EARLY;
        Some(first)
    }

    /// Writes the trail as the last thing a transaction does.
    pub fn commit(&mut self, fleet: Uuid, changed: Vec<Changed>, first: Option<i64>) -> Committed {
        let era = self.era_text(fleet);
        let tell_left = self.fault != Some(Fault::LeftRowsDropped);
        let Some(fleet) = self.fleets.get_mut(&fleet) else { return Committed::default() };
        let news = fleet.news(changed);
        Committed { positions: fleet.trail.write(news, first, tell_left), era }
    }

    /// Answers what reads; `None` for what needs a transaction.
    pub fn answer_reading(&mut self, who: Asker, request: &Request, now_ms: i64) -> Option<Reply> {
        match request {
            Request::Trail { after, room, lane_id } => {
                Some(self.read_trail(who, after.as_deref(), *room, *lane_id, now_ms))
            }
            Request::FreshCopy { token, from, room } => {
                Some(self.fresh_copy(who, token.as_deref(), from.as_deref(), *room, now_ms))
            }
            Request::Enrol { .. } | Request::Handover(_) => None,
        }
    }

    /// Enrols a lane.
    pub fn enrol(&mut self, who: Asker, lane: Uuid) -> Reply {
        let Some(fleet) = self.fleets.get_mut(&who.fleet) else { return problem(401, "unauthorized") };
        let new =
            || Lane { member: who.member, last_n: 0, frozen: false, judged: BTreeMap::new(), aside: vec![] };
        let held = fleet.lanes.entry(lane).or_insert_with(new);
        if held.member == who.member { Reply::Enrolled } else { problem(409, "id_taken") }
    }

    /// Takes a run of entries; `overloaded_after`: it can judge only so many new ones now.
    pub fn hand_over(
        &mut self,
        who: Asker,
        sent: &Handover,
        overloaded_after: usize,
        now_ms: i64,
        changed: &mut Vec<Changed>,
    ) -> Reply {
        let fault = self.fault;
        self.look_at_receipt(who.fleet, sent);
        let era = self.era_text(who.fleet);
        let safe = self.safe_through(who.fleet, sent.lane_id);
        let Some(fleet) = self.fleets.get_mut(&who.fleet) else { return problem(401, "unauthorized") };
        if sent.entries.len() > ENTRIES {
            return problem(413, "too_many_entries");
        }
        let Some(lane) = fleet.lanes.get(&sent.lane_id).filter(|lane| lane.member == who.member) else {
            return problem(404, "not_found");
        };
        if lane.frozen {
            return problem(409, "lane_frozen");
        }
        let removed = fleet.members.get(&who.member).and_then(|member| member.removed_ms);
        let run: Vec<Sent> =
            sent.entries.iter().map(|e| Sent { n: e.n, id: e.id, digest: digest(e) }).collect();
        let known = |id: Uuid| fleet.entries.get(&id).map(|stored| stored.digest);
        let judged = |n: i64| {
            let (id, _) = lane.judged.get(&n)?;
            Some(Judged { id: *id, digest: known(*id)? })
        };
        let mut plan = lane::plan(LaneState { last_n: lane.last_n }, &run, &judged, &known);
        if fault == Some(Fault::DedupeOff) {
            let repeats = std::mem::take(&mut plan.repeats);
            plan.fresh.extend(repeats);
            plan.fresh.sort_unstable();
        }
        let mut verdicts: BTreeMap<usize, Verdict> = BTreeMap::new();
        for at in &plan.repeats {
            let entry = &sent.entries[*at];
            let stored = &fleet.entries[&entry.id];
            let mut word = stored.word;
            if word == Word::Taken && fault == Some(Fault::VerdictChangesOnReplay) {
                word = Word::Refused;
            }
            verdicts.insert(*at, verdict(entry, word, stored.code, &stored.lost));
        }
        let mut expected = plan.expected;
        let mut judged: BTreeMap<i64, i64> = BTreeMap::new();
        for (count, at) in plan.fresh.iter().enumerate() {
            let entry = &sent.entries[*at];
            if count == overloaded_after {
                verdicts.insert(*at, verdict(entry, Word::Later, None, &[]));
                verdicts.retain(|other, _| other <= at);
                expected = entry.n;
                break;
            }
            let (word, stored) = fleet.take(who, sent.lane_id, entry, removed, now_ms, fault, changed);
            judged.insert(entry.n, fleet.judgements);
            verdicts.insert(*at, verdict(entry, word, stored.code, &stored.lost));
        }
        if let Some(proof) = plan.froze {
            let entry = &sent.entries[proof.at];
            let code = match proof.reused {
                Reused::Number => "number_reused",
                Reused::Id => "id_reused",
            };
            verdicts.insert(proof.at, verdict(entry, Word::Reused, Some(code), &[]));
        }
        if let Some(lane) = fleet.lanes.get_mut(&sent.lane_id) {
            let mut last = lane.judged.values().next_back().map_or(0, |(_, judged)| *judged);
            for entry in sent.entries.iter().filter(|entry| (lane.last_n + 1..expected).contains(&entry.n)) {
                last = judged.get(&entry.n).copied().unwrap_or(last);
                lane.judged.insert(entry.n, (entry.id, last));
            }
            lane.last_n = lane.last_n.max(expected - 1);
            if plan.froze.is_some() {
                lane.frozen = true;
                lane.aside.extend(plan.set_aside(run.len()).into_iter().map(|at| sent.entries[at].id));
            }
        }
        let last = fleet.lanes.get(&sent.lane_id).and_then(|lane| lane.judged.get(&(expected - 1)));
        let last = last.map_or(Uuid::nil(), |(id, _)| *id);
        Reply::Handover(HandoverReply {
            verdicts: verdicts.into_values().collect(),
            expected,
            frozen: plan.froze.is_some(),
            safe_through: if fault == Some(Fault::SafeTooEarly) { Some(expected - 1) } else { safe },
            receipt: Some(format!("{era}.{}.{}.{last}", sent.lane_id, expected - 1)),
            era: Some(era),
            wipe: removed.is_some(),
            retry_after_s: Some(5),
            server_time: instant(now_ms),
        })
    }

    /// A receipt of this era that says more of a lane than the lane itself proves a restored database.
    fn look_at_receipt(&mut self, fleet: Uuid, sent: &Handover) {
        let parts: Option<(String, Uuid, i64, Uuid)> = sent.receipt.as_deref().and_then(|receipt| {
            let mut parts = receipt.split('.');
            let (era, lane) = (parts.next()?.to_owned(), parts.next()?.parse().ok()?);
            Some((era, lane, parts.next()?.parse().ok()?, parts.next()?.parse().ok()?))
        });
        let Some((era, lane, n, last)) = parts else { return };
        let lane = self.fleets.get(&fleet).and_then(|fleet| fleet.lanes.get(&lane));
        // The number alone is no proof when a copy of the phone has used it again since.
        let stands = lane.and_then(|lane| lane.judged.get(&n)).map(|(id, _)| *id);
        if era == self.era_text(fleet) && n > 0 && stands != Some(last) {
            self.rotate(fleet);
        }
    }

    /// What a backup holds of a lane, as long as the lane is the one that was backed up.
    #[must_use]
    pub fn safe_through(&self, fleet: Uuid, lane: Uuid) -> Option<i64> {
        let (_, fleets) = self.backup.as_ref()?;
        Some(fleets.get(&fleet)?.lanes.get(&lane)?.last_n)
    }
}

impl Fleet {
    /// One entry that was never judged: by who sends it, by its clock, then by what it says.
    #[expect(clippy::too_many_arguments, reason = "everything a verdict depends on, in one place")]
    pub fn take(
        &mut self,
        who: Asker,
        lane: Uuid,
        entry: &Entry,
        removed_ms: Option<i64>,
        now_ms: i64,
        fault: Option<Fault>,
        changed: &mut Vec<Changed>,
    ) -> (Word, Stored) {
        let said = Stamp::parse(&entry.stamp, lane);
        let said = said.unwrap_or_else(|| Stamp::at(entry.made_at.timestamp_millis() - entry.drift_ms, lane));
        let arrived = arrival(said, now_ms);
        self.clock.hear(arrived.stamp, now_ms);
        let mut stored = Stored {
            entry: Arc::new(entry.clone()),
            said: Arc::new(entry.body.value()),
            digest: digest(entry),
            author: who.member,
            lane,
            stamp: arrived.stamp,
            word: Word::Parked,
            code: None,
            lost: vec![],
            judged: 0,
            waits_for: None,
            reversed_by: None,
            month: arrived.stamp.ms.div_euclid(MONTH_MS),
        };
        let Some(removed_ms) = removed_ms else {
            return self.judge(stored, None, fault, arrived.adjusted, changed);
        };
        // Made before the removal: the office decides. Made after it: final.
        self.judgements += 1;
        let before = arrived.stamp.ms <= removed_ms;
        stored.word = if before { Word::Parked } else { Word::Refused };
        stored.code = Some("author_removed");
        stored.judged = self.judgements;
        if !(before && fault == Some(Fault::ParkedLost)) {
            self.entries.insert(entry.id, stored.clone());
        }
        changed.push(Changed::Entry(entry.id));
        if !before {
            self.free(entry.id, fault, changed);
        }
        (stored.word, stored)
    }
}

/// What recognises a repeat: everything the entry says; not its number, nor its lane.
fn digest(entry: &Entry) -> Digest {
    let mut hasher = DefaultHasher::new();
    (&entry.kind, entry.form, entry.happened_at, entry.body.text(), &entry.stamp).hash(&mut hasher);
    let mut digest = [0; 32];
    digest[..8].copy_from_slice(&hasher.finish().to_be_bytes());
    digest
}

fn verdict(entry: &Entry, word: Word, code: Option<&'static str>, lost: &[String]) -> Verdict {
    Verdict { n: entry.n, id: entry.id, verdict: word, code: code.map(str::to_owned), lost: lost.to_vec() }
}

/// A problem document.
#[must_use]
pub fn problem(status: u16, code: &str) -> Reply {
    Reply::Problem(Problem { status, code: code.to_owned(), ..Problem::default() })
}

fn instant(ms: i64) -> DateTime<Utc> {
    DateTime::from_timestamp_millis(ms).unwrap_or(DateTime::UNIX_EPOCH)
}
