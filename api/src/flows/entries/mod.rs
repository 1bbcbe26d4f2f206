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
pub mod decide;
pub mod envelope;
pub mod facts;
mod forms;
mod gather;
mod incoming;
mod job_command;
mod judge;
mod pad_retire;
mod pad_wash;
mod pads;
mod parked;
mod photo;
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
use crate::store::entries::{Decided, Known, NewEntry};
use crate::sync::rules::stamp::Stamp;
use chrono::{DateTime, Utc};
use facts::Fact;
use parked::Waiting;
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};
use std::borrow::{Borrow, Cow};
use std::collections::{HashMap, HashSet};
use uuid::Uuid;

pub use cards::Author;
pub use incoming::{Flaw, Incoming};
pub use judge::digest;
pub(super) use record::{told_level, told_pad};
pub use refusal::EntryRefusal;

/// An entry on its way to a verdict.
#[derive(Debug)]
struct Asked<'a> {
    entry: Cow<'a, Incoming>,
    digest: [u8; 32],
    read: judge::Read,
    author: Author,
    lane: Option<LaneId>,
    /// When it came in, if that was before.
    came_at: Option<DateTime<Utc>>,
}

impl<'a> Asked<'a> {
    fn new(entry: Cow<'a, Incoming>, digest: [u8; 32], author: Author, lane: Option<LaneId>) -> Self {
        Self { read: judge::read(&entry), entry, digest, author, lane, came_at: None }
    }

    /// The entries it names: itself and those it needs.
    fn names(&self) -> impl Iterator<Item = Uuid> + use<'_, 'a> {
        std::iter::once(self.entry.id).chain(self.entry.needs.iter().copied())
    }
}

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
    /// The number or the id was used before for something else.
    Reused(EntryRefusal),
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
            Self::Reused(_) => "reused",
        }
    }

    /// Why it was not taken, or not as it was sent.
    #[must_use]
    pub const fn refusal(&self) -> Option<&EntryRefusal> {
        match self {
            Self::Refused(why)
            | Self::Parked(why)
            | Self::Reused(why)
            | Self::Adjusted(why)
            | Self::Yielded(why, _) => Some(why),
            Self::Taken => None,
        }
    }

    /// Fields that lost to a later value.
    #[must_use]
    pub fn lost(&self) -> &[String] {
        match self {
            Self::Yielded(_, lost) => lost,
            Self::Taken | Self::Adjusted(_) | Self::Refused(_) | Self::Parked(_) | Self::Reused(_) => &[],
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

    /// The number stands for another entry: this one may come in a lane of its own.
    #[must_use]
    pub fn number_reused() -> Self {
        let sentence = "Its number stands for another entry of this lane: two phones hand over as one. \
                        It is set aside. Enrol again and send it in a lane of its own.";
        Self::Reused(EntryRefusal::new("number_reused", sentence))
    }

    /// The id stands for something else, for ever.
    #[must_use]
    pub fn id_reused() -> Self {
        let sentence = "Its id stands for something else. Make a fresh id for a new fact.";
        Self::Reused(EntryRefusal::new("id_reused", sentence))
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
    Photo(photo::Basis),
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
/// [`digest`] says. Entries that were parked, and wait for one of these, are judged with them.
///
/// # Errors
/// Those of the database. What is wrong with an entry is its verdict, never an error.
pub async fn take<'a>(
    tx: &mut Tx,
    author: Author,
    lane: Option<LaneId>,
    batch: &'a [impl Borrow<Incoming>],
    digests: &[[u8; 32]],
    now: DateTime<Utc>,
) -> Result<Vec<Verdict>, Error> {
    let new = |(entry, digest): (&'a _, &[u8; 32])| Asked::new(Cow::Borrowed(entry), *digest, author, lane);
    let asked: Vec<Asked<'a>> = batch.iter().map(Borrow::borrow).zip(digests).map(new).collect();
    let ids: Vec<Uuid> = asked.iter().map(|asked| asked.entry.id).collect();
    let mut waiting = Waiting::find(tx, &asked).await?;
    let mut desk = gather::gather(tx, asked.iter().chain(waiting.asked())).await?;
    waiting.wake(&mut desk, now)?;
    let mut verdicts = Vec::with_capacity(asked.len());
    for mut asked in asked {
        let verdict = judge::judge(&mut desk, &mut asked, now)?;
        if matches!(verdict, Verdict::Parked(_)) {
            waiting.add(&desk, asked);
        } else {
            waiting.wake(&mut desk, now)?;
        }
        verdicts.push(verdict);
    }
    // Some of these were parked first and booked when the parent came, further down the batch.
    let judged_again = waiting.judged_again();
    for (id, verdict) in ids.iter().zip(&mut verdicts) {
        if let Some(last) = judged_again.get(id) {
            verdict.clone_from(last);
        }
    }
    record::record(tx, desk, waiting, author, lane, now).await?;
    Ok(verdicts)
}

/// What an entry says, whole, as it can be kept.
///
/// # Errors
/// [`Error::Internal`] when it cannot be written as JSON.
pub fn document(entry: &Incoming) -> Result<Value, Error> {
    Ok(storable::document(&serde_json::to_value(entry).map_err(Error::internal)?).into_owned())
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
    /// What each entry that is parked here waits for.
    waits: HashMap<Uuid, Vec<Uuid>>,
    /// Other verdicts for entries that were parked before.
    decided: Vec<Decided>,
    /// How many entries were booked.
    booked: i32,
}

/// What a member's id is to the audience of their own entries.
const fn own(member: MemberId) -> Uuid {
    member.0
}
