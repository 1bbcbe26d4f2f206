//! What a phone keeps through a crash, and the single steps by which it changes.
//!
//! Each [`Change`] is one transaction of the phone's own database: it happens whole or not at all. What a
//! reply means is a list of them, in an order in which the phone may be cut off after any one.

use super::json::Json;
use super::wire::{Entry, Row, RowState, Word};
use dropwise::sync::rules::stamp::Hlc;
use std::collections::BTreeMap;
use std::ops::Bound::{Excluded, Unbounded};
use uuid::Uuid;

/// A record as one audience sees it. The same record may be seen by two for a while.
pub type Key = (Uuid, String, Uuid);

/// An entry the phone still answers for: not judged, or judged and not yet safe.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Kept {
    /// The entry.
    pub entry: Entry,
    /// The server's word, once heard.
    pub verdict: Option<Word>,
    /// Whether it must be handed over, for the first time or again.
    pub owed: bool,
    /// Whether everything shown has been read after the verdict.
    pub shown: bool,
    /// Whether it has come back and stands among what is shown.
    pub back: bool,
}

/// The latest state of a record.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Record {
    /// Its place in the trail.
    pub position: i64,
    /// Whether its audience still sees it.
    pub state: RowState,
    /// What it says.
    pub body: Json,
}

/// Where the phone is in reading.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Reading {
    /// It goes on from a bookmark.
    Trail {
        /// Which.
        bookmark: String,
    },
    /// It makes a fresh copy.
    Copying {
        /// How far; none before the first page.
        token: Option<String>,
        /// Only what this older bookmark did not cover.
        from: Option<String>,
    },
}

/// Everything durable.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Store {
    /// Whose phone it is.
    pub member: Uuid,
    /// The lane in use.
    pub lane: Uuid,
    /// Whether the server has said yes to it.
    pub enrolled: bool,
    /// The number of the next entry.
    pub next_n: i64,
    /// By number, without a gap from the first to the last.
    pub kept: BTreeMap<i64, Kept>,
    /// The last word heard on each entry of this phone.
    pub verdicts: BTreeMap<Uuid, Word>,
    /// What is shown: a state the server's trail really was in.
    pub records: BTreeMap<Key, Record>,
    /// What was read since, shown together once the trail has been read to its end.
    pub incoming: BTreeMap<Key, Record>,
    /// How often what is shown was replaced.
    pub edition: u64,
    /// Whether `incoming` will take the place of all records.
    pub rebuilding: bool,
    /// Where reading goes on.
    pub reading: Reading,
    /// The history the server was in.
    pub era: Option<String>,
    /// The last reply's sealed text.
    pub receipt: Option<String>,
    /// Up to which number of the lane everything is safe.
    pub safe_through: i64,
    /// The hybrid clock.
    pub clock: Hlc,
    /// Phone's clock less the server's (ms).
    pub drift_ms: i64,
    /// Told to forget what it read, and to read no more.
    pub wiped: bool,
}

/// One durable step.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Change {
    /// An entry was written.
    Write(Entry, Hlc),
    /// The lane is the server's too.
    Enrolled,
    /// Another lane: everything still answered for is numbered anew and handed over again.
    NewLane(Uuid),
    /// The server's word on an entry.
    Judge(i64, Uuid, Word),
    /// Judged entries from this number on are handed over again.
    Owe(i64),
    /// Everything up to this number is safe.
    Safe(i64),
    /// The receipt to show.
    Receipt(String),
    /// The server's history.
    Era(String),
    /// The phone's clock less the server's (ms).
    Drift(i64),
    /// Rows were read.
    Arrive(Vec<Row>),
    /// The trail goes on here.
    Bookmark(String),
    /// The copy goes on here.
    Token(String),
    /// Stamps were seen.
    Clock(Hlc),
    /// Everything read is shown.
    Publish,
    /// Start a whole copy.
    CopyAll,
    /// Start a copy of what an older bookmark did not cover, and forget these audiences.
    CopyNew(Option<String>, Vec<Uuid>),
    /// Forget everything read.
    Wipe,
}

impl Store {
    /// A phone fresh out of its box.
    #[must_use]
    pub fn new(member: Uuid, lane: Uuid) -> Self {
        Self {
            member,
            lane,
            enrolled: false,
            next_n: 1,
            kept: BTreeMap::new(),
            verdicts: BTreeMap::new(),
            records: BTreeMap::new(),
            incoming: BTreeMap::new(),
            edition: 0,
            rebuilding: true,
            reading: Reading::Copying { token: None, from: None },
            era: None,
            receipt: None,
            safe_through: 0,
            clock: Hlc::new(lane),
            drift_ms: 0,
            wiped: false,
        }
    }

    /// The first number to hand over.
    #[must_use]
    pub fn first_owed(&self) -> Option<i64> {
        self.kept.iter().find(|(_, kept)| kept.owed).map(|(n, _)| *n)
    }

    /// How many entries are to be handed over.
    #[must_use]
    pub fn owed(&self) -> usize {
        self.kept.values().filter(|kept| kept.owed).count()
    }

    /// Whether an entry of this phone has come back and stands among what is shown.
    #[must_use]
    pub fn shows_entry(&self, id: Uuid) -> bool {
        shows_entry(&self.records, &self.audiences(), id)
    }

    /// Whose rows are shown: a handful.
    fn audiences(&self) -> Vec<Uuid> {
        let mut found = vec![];
        let mut next = self.records.keys().next();
        while let Some((audience, _, _)) = next {
            found.push(*audience);
            let beyond = (*audience, char::MAX.to_string(), Uuid::max());
            next = self.records.range((Excluded(beyond), Unbounded)).next().map(|(key, _)| key);
        }
        found
    }

    /// Carries one step out.
    pub fn apply(&mut self, change: Change) {
        match change {
            Change::Write(entry, clock) => {
                self.next_n = entry.n + 1;
                self.clock = clock;
                let kept = Kept { verdict: None, owed: true, shown: false, back: false, entry };
                self.kept.insert(kept.entry.n, kept);
            }
            Change::Enrolled => self.enrolled = true,
            Change::NewLane(lane) => self.take_lane(lane),
            Change::Judge(n, id, word) => {
                self.verdicts.insert(id, word);
                if let Some(kept) = self.kept.get_mut(&n).filter(|kept| kept.entry.id == id) {
                    (kept.verdict, kept.owed) = (Some(word), false);
                }
            }
            Change::Owe(from) => {
                for (_, kept) in self.kept.range_mut(from..) {
                    (kept.owed, kept.shown) = (true, false);
                }
            }
            Change::Safe(n) => {
                self.safe_through = self.safe_through.max(n);
                self.let_go();
            }
            Change::Receipt(text) => self.receipt = Some(text),
            Change::Era(era) => self.era = Some(era),
            Change::Drift(ms) => self.drift_ms = ms,
            Change::Arrive(rows) => rows.into_iter().for_each(|row| self.arrive(row)),
            Change::Bookmark(bookmark) => self.reading = Reading::Trail { bookmark },
            Change::Token(token) => {
                if let Reading::Copying { token: stands, .. } = &mut self.reading {
                    *stands = Some(token);
                }
            }
            Change::Clock(clock) => self.clock = clock,
            Change::Publish => self.publish(),
            Change::CopyAll => {
                self.incoming.clear();
                self.rebuilding = true;
                self.reading = Reading::Copying { token: None, from: None };
            }
            Change::CopyNew(from, drop) => {
                self.records.retain(|(audience, _, _), _| !drop.contains(audience));
                self.incoming.retain(|(audience, _, _), _| !drop.contains(audience));
                self.reading = Reading::Copying { token: None, from };
            }
            Change::Wipe => {
                self.records.clear();
                self.incoming.clear();
                self.wiped = true;
            }
        }
    }

    /// Numbers begin at 1 again; ids, and thereby what the server has already judged, stay.
    fn take_lane(&mut self, lane: Uuid) {
        let last = self.clock.last();
        self.clock = Hlc::new(lane);
        if let Some(last) = last {
            self.clock.hear(last, last.ms);
        }
        let kept = std::mem::take(&mut self.kept);
        self.next_n = 1;
        for mut kept in kept.into_values() {
            kept.entry.n = self.next_n;
            kept.owed = true;
            self.kept.insert(self.next_n, kept);
            self.next_n += 1;
        }
        (self.lane, self.enrolled, self.receipt, self.safe_through) = (lane, false, None, 0);
    }

    /// The higher position wins, wherever it was read.
    fn arrive(&mut self, row: Row) {
        let key = (row.audience_id, row.kind, row.id);
        let shown = self.records.get(&key).filter(|_| !self.rebuilding);
        let held = self.incoming.get(&key).or(shown).map_or(-1, |record| record.position);
        if row.position > held {
            let record = Record { position: row.position, state: row.state, body: row.body };
            self.incoming.insert(key, record);
        }
    }

    fn publish(&mut self) {
        self.edition += 1;
        if std::mem::take(&mut self.rebuilding) {
            self.records.clear();
        }
        for (key, record) in std::mem::take(&mut self.incoming) {
            if record.state != RowState::Here {
                self.records.remove(&key);
                continue;
            }
            if key.1 == "verdict" || key.1 == "entry" {
                self.decided(key.2, &record.body);
            }
            self.records.insert(key, record);
        }
        let audiences = self.audiences();
        for kept in self.kept.values_mut() {
            kept.back = shows_entry(&self.records, &audiences, kept.entry.id);
            kept.shown |= !kept.owed;
        }
        self.let_go();
    }

    /// What has come back tells the verdict as it is now: a parked entry may have been decided on, and a
    /// restored server may have forgotten that it was.
    fn decided(&mut self, id: Uuid, body: &Json) {
        if !self.verdicts.contains_key(&id) {
            return;
        }
        let word = body.value().get("verdict").and_then(|word| serde_json::from_value(word.clone()).ok());
        if let Some(word) = word {
            self.verdicts.insert(id, word);
            if let Some(kept) = self.kept.values_mut().find(|kept| kept.entry.id == id && !kept.owed) {
                kept.verdict = Some(word);
            }
        }
    }

    /// Safe and shown: the server answers for it from now on. What is parked is shown by no row and stays until
    /// it is decided on. Only from the front, so that what is kept has no gap.
    fn let_go(&mut self) {
        while let Some(first) = self.kept.first_entry() {
            let kept = first.get();
            let shown = kept.shown && kept.verdict != Some(Word::Parked);
            if *first.key() > self.safe_through || kept.owed || !(shown || self.wiped) {
                break;
            }
            first.remove();
        }
    }
}

/// An entry is told to its author or to the van it was about.
fn shows_entry(records: &BTreeMap<Key, Record>, audiences: &[Uuid], id: Uuid) -> bool {
    audiences.iter().any(|audience| records.contains_key(&(*audience, "entry".to_owned(), id)))
}
