//! Entries: facts from the field, each judged once and booked in the transaction that keeps it.
//!
//! A batch is worked in three steps, never back: **gather** (everything the batch looks at, locked and
//! read in a handful of queries), **judge and book** (pure, in memory, entry by entry, one refusal never
//! stopping the next), **record** (whole columns at a time). Five hundred entries cost the round trips
//! of one.

mod books;
mod bottle;
mod canonical;
mod card_edit;
mod cards;
mod clocks;
mod container_open;
pub mod envelope;
pub mod facts;
mod gather;
mod incoming;
mod job_command;
mod judge;
mod pad_retire;
mod pad_wash;
mod pads;
mod receipt;
mod record;
pub mod refusal;
mod reversal;
mod section_work;
mod stock_count;
mod stock_move;
mod storable;
mod table;
mod trip;
mod weigh_in;
mod work_time;

pub mod rebuild;

use crate::error::Error;
use crate::flows::cards::writing::Writing;
use crate::ids::{LaneId, MemberId};
use crate::store::Tx;
use crate::store::books::ContainerLevel;
use crate::store::entries::{Known, NewEntry};
use crate::sync::rules::stamp::Stamp;
use chrono::{DateTime, Utc};
use facts::Fact;
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};
use std::borrow::Borrow;
use std::collections::{HashMap, HashSet};
use uuid::Uuid;

pub use cards::Author;
pub use incoming::{Flaw, Incoming};
pub use judge::digest;
pub(super) use record::{told_level, told_pad};
pub use refusal::EntryRefusal;

/// The newest form of every kind this server knows.
const FORM: i16 = 1;

/// The server's final answer to one entry.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Verdict {
    /// Stored and booked.
    Taken,
    /// Booked, with something changed by the server, and what that was.
    Adjusted(EntryRefusal),
    /// Booked, but these fields already hold a later value; what lost is kept for the office.
    Yielded(EntryRefusal, Vec<String>),
    /// Final; never changes for that id.
    Refused(EntryRefusal),
    /// Kept safe until a person decides, or a newer server understands it.
    Parked(EntryRefusal),
    /// The id or number was used before for something else.
    Reused,
}

impl Verdict {
    /// The word in replies and tables.
    #[must_use]
    pub const fn word(&self) -> &'static str {
        match self {
            Self::Taken => "taken",
            Self::Adjusted(_) => "adjusted",
            Self::Yielded(..) => "yielded",
            Self::Refused(_) => "refused",
            Self::Parked(_) => "parked",
            Self::Reused => "reused",
        }
    }

    /// Why it was not taken, or not as it was sent.
    #[must_use]
    pub const fn refusal(&self) -> Option<&EntryRefusal> {
        match self {
            Self::Refused(why) | Self::Parked(why) | Self::Adjusted(why) | Self::Yielded(why, _) => Some(why),
            Self::Taken | Self::Reused => None,
        }
    }

    /// Fields that lost to a later value.
    #[must_use]
    pub fn lost(&self) -> &[String] {
        match self {
            Self::Yielded(_, lost) => lost,
            Self::Taken | Self::Adjusted(_) | Self::Refused(_) | Self::Parked(_) | Self::Reused => &[],
        }
    }

    /// Whether the entry is in the books.
    #[must_use]
    pub const fn is_booked(&self) -> bool {
        matches!(self, Self::Taken | Self::Adjusted(_) | Self::Yielded(..))
    }

    /// What of it the entry's own columns do not hold, to be stored beside them.
    fn answer(&self) -> Option<Value> {
        let pointer = self.refusal().and_then(|why| why.pointer.as_deref());
        match (pointer, self.lost()) {
            (None, []) => None,
            (Some(pointer), []) => Some(json!({ "pointer": pointer })),
            (_, lost) => Some(json!({ "lost": lost })),
        }
    }

    /// The verdict that was given before.
    #[must_use]
    pub fn of(known: &Known) -> Self {
        let answer = |name| known.answer.as_ref().and_then(|answer| answer.get(name));
        let why = || EntryRefusal {
            code: known.code.clone().unwrap_or_default().into(),
            sentence: known.sentence.clone().unwrap_or_default(),
            pointer: answer("pointer").and_then(Value::as_str).map(str::to_owned),
        };
        let lost = || {
            let fields = answer("lost").and_then(Value::as_array).into_iter().flatten();
            fields.filter_map(Value::as_str).map(str::to_owned).collect()
        };
        match known.verdict.as_str() {
            "taken" => Self::Taken,
            "adjusted" => Self::Adjusted(why()),
            "yielded" => Self::Yielded(why(), lost()),
            "parked" => Self::Parked(why()),
            _ => Self::Refused(why()),
        }
    }
}

/// What the cards said when an entry was booked. With it, the books can be rebuilt from entries alone.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", content = "said", rename_all = "snake_case")]
enum Basis {
    SectionWork(section_work::Basis),
    ContainerOpen(container_open::Basis),
    WeighIn(weigh_in::Basis),
    Pad(pads::PadBasis),
    Trip(trip::Basis),
    WorkTime(work_time::Basis),
    CardEdit(card_edit::Basis),
    JobCommand(job_command::Basis),
    /// The fact alone says everything.
    Fact,
}

/// An entry booked before, as a reversal needs to know it.
#[derive(Debug, Clone)]
struct Earlier {
    fact: Fact,
    basis: Basis,
    member_id: Uuid,
    reversed: bool,
}

/// Judges and books a batch in order, in the caller's transaction. `digests`: of each entry, what
/// [`digest`] says.
///
/// # Errors
/// Those of the database. What is wrong with an entry is its verdict, never an error.
pub async fn take(
    tx: &mut Tx,
    author: Author,
    lane: Option<LaneId>,
    batch: &[impl Borrow<Incoming>],
    digests: &[[u8; 32]],
    now: DateTime<Utc>,
) -> Result<Vec<Verdict>, Error> {
    let batch: Vec<&Incoming> = batch.iter().map(Borrow::borrow).collect();
    let read: Vec<judge::Read> = batch.iter().copied().map(judge::read).collect();
    let mut desk = gather::gather(tx, author, &batch, &read).await?;
    desk.lane = lane;
    let mut verdicts = Vec::with_capacity(batch.len());
    for (entry, read) in batch.into_iter().zip(digests).zip(read) {
        verdicts.push(judge::judge(&mut desk, author, entry, read, now)?);
    }
    record::record(tx, desk, author, lane, now).await?;
    Ok(verdicts)
}

/// Everything a batch looks at, and everything it makes.
#[derive(Debug)]
struct Desk {
    cards: cards::Cards,
    books: books::Books,
    weighed: HashMap<Uuid, Vec<ContainerLevel>>,
    earlier: HashMap<Uuid, Earlier>,
    /// Entries of these ids that are stored already, with their digests.
    known: HashMap<Uuid, Known>,
    /// Entries to store.
    new: Vec<NewEntry>,
    /// Entries that turned out reversed, and by which.
    reversed: Vec<(Uuid, Uuid)>,
    /// Which van or member may see each new entry.
    told: Vec<(Uuid, Uuid, Value)>,
    /// Cards that are written field by field, held for it.
    writings: HashMap<Uuid, Writing>,
    /// Ids the batch names whose cards have been deleted.
    deleted: HashSet<Uuid>,
    /// The lane the batch came by; none for a desk.
    lane: Option<LaneId>,
    /// The last stamp that arrival time stood in for: what was written in a row stays in that order.
    replaced: Option<Stamp>,
}

/// What a member's id is to the audience of their own entries.
const fn own(member: MemberId) -> Uuid {
    member.0
}
