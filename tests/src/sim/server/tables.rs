//! The simulated server's tables, in memory. What Postgres keeps for the real one.

use super::levels::Level;
use super::trail::Trail;
use crate::phone::wire::{Entry, Word};
use dropwise::sync::rules::job_state::State;
use dropwise::sync::rules::lane::Digest;
use dropwise::sync::rules::stamp::{Hlc, Stamp};
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;
use uuid::Uuid;

/// Somebody who works.
#[derive(Debug, Clone)]
pub struct Member {
    /// The van they work from.
    pub place: Uuid,
    /// How often that changed.
    pub scope: i64,
    /// Since when they are gone (ms).
    pub removed_ms: Option<i64>,
}

/// One installation of the app.
#[derive(Debug, Clone)]
pub struct Lane {
    /// Whose.
    pub member: Uuid,
    /// The last judged number.
    pub last_n: i64,
    /// Shared by two phones.
    pub frozen: bool,
    /// What each number stands for, and when it was judged.
    pub judged: BTreeMap<i64, (Uuid, i64)>,
    /// What a shared lane sent, for the office.
    pub aside: Vec<Uuid>,
}

/// An entry with its verdict.
#[derive(Debug, Clone)]
pub struct Stored {
    /// What was sent.
    pub entry: Arc<Entry>,
    /// What its body says.
    pub said: Arc<Value>,
    /// What it says, for recognising repeats.
    pub digest: Digest,
    /// Who wrote it.
    pub author: Uuid,
    /// The lane it was judged in.
    pub lane: Uuid,
    /// The stamp as the server keeps it.
    pub stamp: Stamp,
    /// The verdict now.
    pub word: Word,
    /// Why.
    pub code: Option<&'static str>,
    /// Fields that lost.
    pub lost: Vec<String>,
    /// The running number of its last judgement.
    pub judged: i64,
    /// What a parked entry waits for.
    pub waits_for: Option<Uuid>,
    /// By which entry it was taken back.
    pub reversed_by: Option<Uuid>,
    /// The month its figures are in.
    pub month: i64,
}

/// One value of one field.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Field {
    /// The value.
    pub value: String,
    /// When it was written.
    pub stamp: Stamp,
}

/// A value that lost.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Loser {
    /// In which field.
    pub field: String,
    /// What it was.
    pub value: String,
    /// When it was written.
    pub stamp: Stamp,
}

/// What kind of card.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CardKind {
    /// A van's work.
    Job,
    /// Something the whole fleet reads.
    Notice,
}

/// A record people edit.
#[derive(Debug, Clone)]
pub struct Card {
    /// Which kind.
    pub kind: CardKind,
    /// Whose van it is for; the fleet itself for a notice.
    pub place: Uuid,
    /// Where a job stands.
    pub state: State,
    /// Its fields.
    pub fields: BTreeMap<String, Field>,
    /// Values that lost.
    pub losers: Vec<Loser>,
    /// Entries that booked work on it.
    pub facts: BTreeSet<Uuid>,
    /// Taken away by the office.
    pub deleted: bool,
}

/// A real bottle, however many phones registered it.
#[derive(Debug, Clone)]
pub struct Bottle {
    /// Every record of it with its stamp and the van it was registered in; the earliest is the one.
    pub records: BTreeMap<(Stamp, Uuid), Uuid>,
    /// Where the office last put it.
    pub moved_to: Option<Uuid>,
    /// What is in it.
    pub level: Level,
}

impl Bottle {
    /// The record all others are aliases of.
    #[must_use]
    pub fn canonical(&self) -> Uuid {
        self.records.keys().next().map_or(Uuid::nil(), |(_, id)| *id)
    }

    /// The van it is in.
    #[must_use]
    pub fn place(&self) -> Uuid {
        self.moved_to.or_else(|| self.records.values().next().copied()).unwrap_or(Uuid::nil())
    }
}

/// One business.
#[derive(Debug, Clone)]
pub struct Fleet {
    /// Its id; also the audience of everybody in it.
    pub id: Uuid,
    /// The fleet's part of the era.
    pub era: u64,
    /// Who works in it.
    pub members: BTreeMap<Uuid, Member>,
    /// Its vans.
    pub places: Vec<Uuid>,
    /// Its phones' lanes.
    pub lanes: BTreeMap<Uuid, Lane>,
    /// Everything that was judged.
    pub entries: BTreeMap<Uuid, Stored>,
    /// How many judgements there were.
    pub judgements: i64,
    /// Jobs and notices.
    pub cards: BTreeMap<Uuid, Card>,
    /// Stock by item and place.
    pub stock: BTreeMap<(Uuid, Uuid), Level>,
    /// Bottles by the tag on them.
    pub bottles: BTreeMap<String, Bottle>,
    /// Which bottle a record stands for.
    pub tags: BTreeMap<Uuid, String>,
    /// What parked entries wait for.
    pub waiting: BTreeMap<Uuid, BTreeSet<Uuid>>,
    /// How many parked entries were decided on by what came later.
    pub decided_later: u64,
    /// Figures by month, as summed when booked.
    pub months: BTreeMap<i64, i64>,
    /// Months that take nothing any more.
    pub closed: BTreeSet<i64>,
    /// Whether this server knows the newest kind of entry.
    pub knows_newest: bool,
    /// The server's own clock of writing.
    pub clock: Hlc,
    /// What phones read.
    pub trail: Trail,
}
