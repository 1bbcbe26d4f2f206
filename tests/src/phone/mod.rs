//! The reference phone: everything a phone must do to never lose, double or block its owner's work, as a
//! state machine without a clock, a network or a disk.
//!
//! - [`Phone::write`] takes an intent down, [`Phone::wake`] says what to ask next, [`Phone::hear`] what
//!   came of it. Time and randomness are handed in.
//! - What a reply means is a list of durable steps ([`store::Change`]); [`Phone::settle_one`] carries one
//!   out. [`Phone::crash`] forgets everything that is not durable, between any two of them.
//! - Requests and replies are the wire's ([`wire`]): the same phone talks to the simulated server and, by
//!   [`over_http`], to the real one.
//!
//! Never: a rule of the server's. A phone believes verdicts and rows.

pub mod backoff;
pub mod json;
pub mod over_http;
pub mod overlay;
pub mod store;
pub mod wire;

use chrono::{DateTime, Utc};
use dropwise::sync::rules::stamp::{Hlc, Stamp};
use json::Json;
use rand::{Rng, RngExt};
use std::collections::{BTreeMap, VecDeque};
use store::{Change, Reading, Store};
use uuid::Uuid;
use wire::{Entry, Handover, HandoverReply, Problem, Reply, Request, Row, Word};

/// The phone's two clocks.
#[derive(Debug, Clone, Copy)]
pub struct Now {
    /// What it shows its owner (ms since 1970): may be wrong, may jump.
    pub wall_ms: i64,
    /// How long it has been running (ms): only ever grows.
    pub mono_ms: i64,
}

/// How much the phone asks for at once. The server publishes what it takes.
#[derive(Debug, Clone, Copy)]
pub struct Limits {
    /// Entries per handover.
    pub entries: usize,
    /// Bytes of entries' bodies per handover.
    pub bytes: usize,
    /// Rows per page.
    pub room: u32,
}

impl Default for Limits {
    fn default() -> Self {
        Self { entries: 500, bytes: 512 << 10, room: 500 }
    }
}

/// A phone: what is durable, what is about to be, and what a crash forgets.
#[derive(Debug, Clone)]
pub struct Phone {
    /// What is durable.
    pub store: Store,
    limits: Limits,
    todo: VecDeque<Change>,
    mind: Mind,
}

/// What a crash forgets.
#[derive(Debug, Clone)]
struct Mind {
    asked: Option<Asked>,
    failures: u32,
    not_before_ms: i64,
    /// Fewer than the limit after a 413.
    batch: usize,
    /// After a failure the other thing is tried first: one failing must not stop both.
    read_first: bool,
    /// Reading was answered 426, or 401 for good: handing over goes on.
    reads_nothing: bool,
}

/// What the phone is waiting for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Asked {
    Enrol,
    Handover,
    Reading,
}

impl Phone {
    /// A new phone of a member, on a lane it has just made up.
    #[must_use]
    pub fn new(member: Uuid, lane: Uuid, limits: Limits) -> Self {
        Self::from_store(Store::new(member, lane), limits)
    }

    /// A phone that has just been switched on.
    #[must_use]
    pub fn from_store(store: Store, limits: Limits) -> Self {
        Self { store, limits, todo: VecDeque::new(), mind: Mind::new(limits) }
    }

    /// The same phone as its owner finds it in the morning, or as a copy of it wakes up.
    #[must_use]
    pub fn switched_on_again(&self) -> Self {
        Self::from_store(self.store.clone(), self.limits)
    }

    /// It dies and is switched on again: what is durable is all there is.
    pub fn crash(&mut self) {
        self.todo.clear();
        self.mind = Mind::new(self.limits);
    }

    /// Carries out the next durable step; false when there is none.
    pub fn settle_one(&mut self) -> bool {
        match self.todo.pop_front() {
            Some(change) => {
                self.store.apply(change);
                true
            }
            None => false,
        }
    }

    /// Carries out every durable step.
    pub fn settle(&mut self) {
        while self.settle_one() {}
    }

    /// Durable steps not carried out yet.
    #[must_use]
    pub fn unsettled(&self) -> usize {
        self.todo.len()
    }

    /// Whether it is waiting for a reply.
    #[must_use]
    pub fn is_waiting(&self) -> bool {
        self.mind.asked.is_some()
    }

    /// The earliest time of its running clock (ms) at which it asks again.
    #[must_use]
    pub fn not_before_ms(&self) -> i64 {
        self.mind.not_before_ms
    }

    /// The network is back: there is no point in waiting any longer.
    pub fn network_is_back(&mut self) {
        self.mind.not_before_ms = 0;
    }

    /// A newer app was installed: reading may be tried again.
    pub fn app_is_updated(&mut self) {
        self.mind.reads_nothing = false;
    }

    /// Takes down an intent under a fresh id. It counts once it is settled.
    pub fn write(&mut self, now: Now, id: Uuid, kind: &str, body: &Json, needs: Vec<Uuid>) {
        // Numbers follow from what is durable.
        self.settle();
        let corrected = now.wall_ms - self.store.drift_ms;
        let mut clock = self.store.clock;
        let stamp = clock.tick(corrected).text();
        let seen = if kind == "card_edit" { self.seen(body) } else { BTreeMap::new() };
        let entry = Entry {
            n: self.store.next_n,
            id,
            kind: kind.to_owned(),
            form: 1,
            happened_at: instant(now.wall_ms),
            body: body.clone(),
            made_at: instant(now.wall_ms),
            stamp,
            drift_ms: self.store.drift_ms,
            seen,
            needs,
        };
        self.todo.push_back(Change::Write(entry, clock));
    }

    /// The stamps of the fields an edit sets, as far as they were read.
    fn seen(&self, body: &Json) -> BTreeMap<String, String> {
        let edit = body.value();
        let card = edit["card_id"].as_str().and_then(|id| id.parse::<Uuid>().ok());
        let read = self.store.records.iter().find(|((_, _, id), _)| Some(*id) == card);
        let (Some((_, record)), Some(set)) = (read, edit["set"].as_object()) else { return BTreeMap::new() };
        let stamps = record.body.value();
        let of = |field: &String| Some((field.clone(), stamps["stamps"][field].as_str()?.to_owned()));
        set.keys().filter_map(of).collect()
    }

    /// What to ask now, if anything: never two things at once, never before the last reply is durable.
    pub fn wake(&mut self, now: Now) -> Option<Request> {
        if !self.todo.is_empty() || self.is_waiting() || now.mono_ms < self.mind.not_before_ms {
            return None;
        }
        let store = &self.store;
        let reads = !store.wiped && !self.mind.reads_nothing && store.enrolled;
        let owed = store.first_owed();
        // A phone that was told to forget everything, and has handed over everything, needs no lane.
        let needs_a_lane = !store.wiped || owed.is_some();
        let (asked, request) = if needs_a_lane && !store.enrolled {
            (Asked::Enrol, Request::Enrol { lane_id: store.lane })
        } else if let Some(first) = owed.filter(|_| !(self.mind.read_first && reads)) {
            (Asked::Handover, Request::Handover(self.handover(first)))
        } else if reads {
            (Asked::Reading, self.reading())
        } else if store.enrolled && !store.kept.is_empty() {
            // It may not read, and what it handed over is not safe yet: an empty run tells how far that
            // is, and whether the server was restored and needs it all again.
            (Asked::Handover, Request::Handover(self.handover(store.next_n)))
        } else {
            return None;
        };
        self.mind.asked = Some(asked);
        Some(request)
    }

    /// Consecutive entries from the first that is owed; ones in between that were judged go along.
    fn handover(&self, first: i64) -> Handover {
        let mut bytes = 0;
        let fits = |entry: &&Entry| {
            bytes += entry.body.text().len() + 400;
            bytes <= self.limits.bytes || entry.n == first
        };
        let run = self.store.kept.range(first..).map(|(_, kept)| &kept.entry).take(self.mind.batch);
        Handover {
            lane_id: self.store.lane,
            receipt: self.store.receipt.clone(),
            entries: run.take_while(fits).cloned().collect(),
        }
    }

    fn reading(&self) -> Request {
        let room = self.limits.room;
        match &self.store.reading {
            Reading::Trail { bookmark } => {
                Request::Trail { after: Some(bookmark.clone()), room, lane_id: self.store.lane }
            }
            Reading::Copying { token, from } => {
                // The token knows what is being copied.
                let from = if token.is_some() { None } else { from.clone() };
                Request::FreshCopy { token: token.clone(), from, room }
            }
        }
    }

    /// What came of the request it is waiting for. Nothing is done yet: see [`Phone::settle_one`].
    pub fn hear(&mut self, now: Now, reply: Reply, rng: &mut impl Rng) {
        let Some(asked) = self.mind.asked.take() else { return };
        match (asked, reply) {
            (Asked::Enrol, Reply::Enrolled) => {
                self.went_well();
                self.todo.push_back(Change::Enrolled);
            }
            (Asked::Handover, Reply::Handover(reply)) => self.hear_verdicts(now, reply, rng),
            (Asked::Reading, Reply::Trail(page)) => {
                self.went_well();
                self.measure(now, page.server_time);
                self.look_at_era(page.era.as_ref());
                let judged = self.store.kept.values().rev().find(|kept| !kept.owed).map(|kept| kept.entry.n);
                // Of a lane it does not know the server knows nothing.
                let last = page.last_n.unwrap_or(0);
                if judged.is_some_and(|judged| last < judged) {
                    // The server knows less of this lane than it once said: it was restored.
                    self.todo.push_back(Change::Owe(last + 1));
                }
                self.todo.extend(self.heard(now, &page.rows).map(Change::Clock));
                self.todo.push_back(Change::Arrive(page.rows));
                // Rows first: a bookmark must never stand beyond what is kept.
                self.todo.push_back(Change::Bookmark(page.bookmark));
                self.todo.extend(page.era.map(Change::Era));
                if !page.more {
                    self.todo.push_back(Change::Publish);
                }
            }
            (Asked::Reading, Reply::FreshCopy(page)) => {
                self.went_well();
                self.measure(now, page.server_time);
                self.look_at_era(page.era.as_ref());
                self.todo.extend(self.heard(now, &page.rows).map(Change::Clock));
                if self.store.reading == (Reading::Copying { token: None, from: None }) {
                    // An earlier first page may have been kept without its token: the trail goes on from
                    // the later one's head, and what was deleted in between is told to nobody.
                    self.todo.push_back(Change::CopyAll);
                }
                self.todo.push_back(Change::Arrive(page.rows));
                self.todo.extend(page.era.map(Change::Era));
                self.todo.push_back(match (page.token, page.bookmark) {
                    (Some(token), _) => Change::Token(token),
                    (None, Some(bookmark)) => Change::Bookmark(bookmark),
                    (None, None) => Change::CopyAll,
                });
            }
            (asked, Reply::Problem(problem)) => self.hear_problem(now, asked, problem, rng),
            (asked, _) => self.went_wrong(now, asked, None, rng),
        }
    }

    fn hear_verdicts(&mut self, now: Now, reply: HandoverReply, rng: &mut impl Rng) {
        self.measure(now, reply.server_time);
        let later = reply.verdicts.iter().any(|verdict| verdict.verdict == Word::Later);
        if later {
            self.went_wrong(now, Asked::Handover, reply.retry_after_s, rng);
        } else {
            self.went_well();
        }
        for verdict in &reply.verdicts {
            if !matches!(verdict.verdict, Word::Later | Word::Reused) {
                self.todo.push_back(Change::Judge(verdict.n, verdict.id, verdict.verdict));
            }
        }
        if reply.frozen {
            self.todo.push_back(Change::NewLane(lane_id(rng)));
            return;
        }
        // What was judged once and is expected again was lost by the server: it was restored.
        let first_kept = self.store.kept.keys().next().copied().unwrap_or(self.store.next_n);
        if reply.expected < first_kept {
            self.todo.push_back(Change::NewLane(lane_id(rng)));
            return;
        }
        // In another history the numbers below it may be a copied phone's, and safe may be theirs.
        self.look_at_era(reply.era.as_ref());
        self.todo.push_back(Change::Owe(reply.expected));
        // The new era and the new receipt only once everything that follows from them is kept.
        self.todo.extend(reply.era.map(Change::Era));
        self.todo.extend(reply.receipt.map(Change::Receipt));
        self.todo.extend(reply.safe_through.map(Change::Safe));
        if reply.wipe && !self.store.wiped {
            self.todo.push_back(Change::Wipe);
        }
    }

    fn hear_problem(&mut self, now: Now, asked: Asked, problem: Problem, rng: &mut impl Rng) {
        let gone = asked == Asked::Reading && problem.status == 410;
        let lane_is_over = asked != Asked::Reading
            && (problem.code == "lane_frozen" || problem.status == 404 || problem.code == "id_taken");
        if gone {
            self.went_well();
            self.hear_gone(problem);
        } else if lane_is_over {
            self.went_well();
            self.todo.push_back(Change::NewLane(lane_id(rng)));
        } else {
            if asked == Asked::Reading && (problem.status == 426 || problem.code == "member_removed") {
                self.mind.reads_nothing = true;
            }
            if asked == Asked::Handover && problem.status == 413 {
                self.mind.batch = (self.mind.batch / 2).max(1);
            }
            self.went_wrong(now, asked, problem.retry_after_s, rng);
        }
    }

    /// The bookmark, or the copy's token, cannot be gone on from.
    fn hear_gone(&mut self, problem: Problem) {
        if problem.code == "restarted" {
            // Before the old bookmark, the only sign of it, is let go.
            self.todo.push_back(Change::Owe(0));
        }
        let from = match &self.store.reading {
            Reading::Trail { bookmark } => Some(bookmark.clone()),
            // A copy that cannot even begin will not begin next time either.
            Reading::Copying { token, from } => from.clone().filter(|_| token.is_some()),
        };
        let only_new = problem.next.as_deref() == Some("fresh_copy_from") && !self.store.rebuilding;
        self.todo.push_back(match from.filter(|_| only_new) {
            Some(from) => Change::CopyNew(Some(from), problem.drop),
            None => Change::CopyAll,
        });
    }

    /// Another history: whatever is not safe goes to it too. A phone that is copying has no bookmark that
    /// would be refused, so this is all it is told.
    fn look_at_era(&mut self, era: Option<&String>) {
        if self.store.era.is_some() && era.is_some_and(|era| self.store.era.as_ref() != Some(era)) {
            self.todo.push_back(Change::Owe(0));
        }
    }

    fn went_well(&mut self) {
        (self.mind.failures, self.mind.not_before_ms, self.mind.read_first) = (0, 0, false);
    }

    fn went_wrong(&mut self, now: Now, asked: Asked, asked_s: Option<u32>, rng: &mut impl Rng) {
        self.mind.failures += 1;
        let wait = backoff::wait_ms(self.mind.failures, asked_s, rng);
        self.mind.not_before_ms = now.mono_ms + wait;
        self.mind.read_first = asked == Asked::Handover;
    }

    fn measure(&mut self, now: Now, server_time: DateTime<Utc>) {
        let drift = now.wall_ms - server_time.timestamp_millis();
        // A second's difference is the network's.
        if (drift - self.store.drift_ms).abs() > 1_000 {
            self.todo.push_back(Change::Drift(drift));
        }
    }

    /// The clock after seeing these rows: whatever is written next is later than what was seen.
    fn heard(&self, now: Now, rows: &[Row]) -> Option<Hlc> {
        let mut clock = None;
        for row in rows {
            // The stamps are the only texts of their shape; nothing else in a row needs to be read here.
            let Some((_, stamps)) = row.body.text().split_once("\"stamps\"") else { continue };
            for stamp in stamps.split('"').filter_map(|text| Stamp::parse(text, self.store.lane)) {
                clock.get_or_insert(self.store.clock).hear(stamp, now.wall_ms - self.store.drift_ms);
            }
        }
        clock
    }
}

impl Mind {
    fn new(limits: Limits) -> Self {
        Self {
            asked: None,
            failures: 0,
            not_before_ms: 0,
            batch: limits.entries,
            read_first: false,
            reads_nothing: false,
        }
    }
}

/// A new lane's id.
fn lane_id(rng: &mut impl Rng) -> Uuid {
    uuid::Builder::from_random_bytes(rng.random()).into_uuid()
}

fn instant(ms: i64) -> DateTime<Utc> {
    DateTime::from_timestamp_millis(ms).unwrap_or(DateTime::UNIX_EPOCH)
}
