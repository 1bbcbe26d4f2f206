//! What the office decides on: entries that are parked, and those that were set aside.
//!
//! Whoever decides says why the entry lay there when they looked. If that has changed since, they are
//! told and nothing happens; the same decision again is answered as the first time.

use super::judge::{self, Weighed};
use super::parked::{Waiting, read_again};
use super::refusal::EntryRefusal;
use super::{Author, Incoming, Verdict, clocks, envelope, gather, record, storable, take};
use crate::auth::Office;
use crate::error::Error;
use crate::ids::{MemberId, fresh};
use crate::store::JsonText;
use crate::store::entries::{self, EntryRecord, NewEntry};
use crate::store::parked::{self, ParkedRecord};
use crate::store::set_aside::{self, SetAside};
use crate::store::{TrailRow, Tx, accounts};
use chrono::{DateTime, Utc};
use serde_json::{Value, json};
use uuid::Uuid;

/// What shall become of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Decision {
    /// Book it now, in its author's name.
    Book,
    /// Never book it.
    Drop,
}

/// The code of an entry the office has dropped.
const DROPPED: &str = "dropped_by_office";

/// Something the office may decide on.
#[derive(Debug, Clone)]
pub struct Kept {
    /// A parked entry's id, or the place of a set-aside one on its list.
    pub id: Uuid,
    /// The entry's own id.
    pub entry_id: Uuid,
    /// Whether it was set aside, and not judged.
    pub set_aside: bool,
    /// Why it is kept.
    pub reason: String,
    /// The same in a sentence.
    pub sentence: String,
    /// Its author.
    pub member_id: Uuid,
    /// The lane it came by.
    pub lane_id: Option<Uuid>,
    /// Its kind.
    pub kind: String,
    /// When it happened.
    pub happened_at: DateTime<Utc>,
    /// Since when it is kept.
    pub since: DateTime<Utc>,
    /// What happened.
    pub body: Value,
}

impl From<EntryRecord> for Kept {
    fn from(entry: EntryRecord) -> Self {
        Self {
            id: entry.entry_id,
            entry_id: entry.entry_id,
            set_aside: false,
            reason: entry.code.unwrap_or_default(),
            sentence: entry.sentence.unwrap_or_default(),
            member_id: entry.member_id,
            lane_id: entry.lane_id,
            kind: entry.kind,
            happened_at: entry.happened_at,
            since: entry.received_at,
            body: entry.body,
        }
    }
}

impl TryFrom<SetAside> for Kept {
    type Error = Error;

    fn try_from(aside: SetAside) -> Result<Self, Error> {
        let entry: Incoming = serde_json::from_value(aside.entry).map_err(Error::internal)?;
        let sentence = match aside.why.as_str() {
            "device_revoked" => "It came from a phone that was revoked.",
            _ => "It came from a lane that two phones shared. It may still arrive by a lane of its own.",
        };
        Ok(Self {
            id: aside.set_aside_id,
            entry_id: aside.entry_id,
            set_aside: true,
            reason: aside.why,
            sentence: sentence.to_owned(),
            member_id: aside.member_id,
            lane_id: Some(aside.lane_id),
            kind: entry.kind,
            happened_at: entry.happened_at,
            since: aside.set_aside_at,
            body: entry.body,
        })
    }
}

/// What the office may decide on, in order of ids, parked and set aside alike.
///
/// # Errors
/// Those of the database.
pub async fn list(tx: &mut Tx, _: Office, after: Option<Uuid>, limit: i64) -> Result<Vec<Kept>, Error> {
    let parked = entries::list(tx, Some("parked"), after, limit).await?;
    let mut all: Vec<Kept> = parked.into_iter().map(Kept::from).collect();
    for aside in set_aside::list(tx, after, limit).await? {
        all.push(aside.try_into()?);
    }
    all.sort_unstable_by_key(|kept| kept.id);
    all.truncate(usize::try_from(limit).unwrap_or(0));
    Ok(all)
}

/// Carries a decision out, and answers the verdict that is now final.
///
/// # Errors
/// [`Error::NotFound`]; [`Error::Conflict`] when it is kept for another reason by now, or has another
/// verdict; [`Error::Refused`] when it cannot be booked, and stays as it is.
pub async fn decide(
    tx: &mut Tx,
    by: Office,
    id: Uuid,
    decision: Decision,
    reason: &str,
    now: DateTime<Utc>,
) -> Result<Verdict, Error> {
    let by = by.who().member;
    if let Some(held) = parked::lock(tx, id).await? {
        unchanged(&held.code, reason)?;
        return on_parked(tx, by, held, decision, now).await;
    }
    if let Some(entry) = entries::find_many(tx, &[id]).await?.into_iter().next() {
        return as_before(&entry, decision);
    }
    let aside = set_aside::lock(tx, id).await?;
    match aside.decision.as_deref() {
        None => {
            unchanged(&aside.why, reason)?;
            on_set_aside(tx, by, &aside, decision, now).await
        }
        Some("booked") if decision == Decision::Book => Ok(Verdict::Taken),
        Some("dropped") if decision == Decision::Drop => Ok(dropped()),
        Some(word) => Err(decided(&format!("It has {word} meanwhile."))),
    }
}

fn dropped() -> Verdict {
    Verdict::Refused(EntryRefusal::new(DROPPED, "The office decided not to book this entry."))
}

fn decided(sentence: &str) -> Error {
    Error::conflict("already_decided", format!("{sentence} Read the list again."))
}

fn unchanged(now: &str, seen: &str) -> Result<(), Error> {
    if now == seen {
        return Ok(());
    }
    Err(Error::conflict("kept_for_another_reason", format!("It is kept for {now} now. Read the list again.")))
}

/// The answer on an entry that has its verdict.
fn as_before(entry: &EntryRecord, decision: Decision) -> Result<Verdict, Error> {
    let was_dropped = entry.verdict == "refused" && entry.code.as_deref() == Some(DROPPED);
    match decision {
        Decision::Drop if was_dropped => Ok(dropped()),
        Decision::Book if !was_dropped && entry.verdict != "refused" => Ok(Verdict::Taken),
        Decision::Book | Decision::Drop => Err(decided(&format!("The entry is {} by now.", entry.verdict))),
    }
}

async fn on_parked(
    tx: &mut Tx,
    by: MemberId,
    held: ParkedRecord,
    decision: Decision,
    now: DateTime<Utc>,
) -> Result<Verdict, Error> {
    let id = held.id;
    let mut asked = read_again(&held)?;
    let author = asked.author;
    let mut waiting = Waiting::find(tx, std::slice::from_ref(&asked)).await?;
    waiting.hold(held);
    let mut desk = gather::gather(tx, std::iter::once(&asked).chain(waiting.asked())).await?;
    let weighed = match decision {
        Decision::Book => judge::weigh(&mut desk, &mut asked, true, now)?,
        Decision::Drop => Weighed { verdict: dropped(), basis: None, booked_line: None },
    };
    let verdict = weighed.verdict.clone();
    if decision == Decision::Book
        && !verdict.is_booked()
        && let Some(why) = verdict.refusal()
    {
        return Err(refused(why.clone()));
    }
    waiting.decide(&mut desk, id, weighed);
    waiting.wake(&mut desk, now)?;
    record::record(tx, desk, waiting, author, None, now).await?;
    entries::note_decider(tx, id, by, now).await?;
    Ok(verdict)
}

fn refused(why: EntryRefusal) -> Error {
    Error::Refused { code: why.code.into_owned(), sentence: why.sentence, pointer: why.pointer }
}

async fn on_set_aside(
    tx: &mut Tx,
    by: MemberId,
    aside: &SetAside,
    decision: Decision,
    now: DateTime<Utc>,
) -> Result<Verdict, Error> {
    let member = accounts::find_member(tx, MemberId(aside.member_id)).await?;
    let author =
        Author { member: member.member_id, role: member.role, home_place: aside.place_id, removed_at: None };
    let mut entry: Incoming = serde_json::from_value(aside.entry.clone()).map_err(Error::internal)?;
    let n = entry.n.take();
    entry.needs = Vec::new();
    // The id may stand for something else: that is how two phones were found out.
    let known = entries::find_known(tx, &[entry.id]).await?;
    if known.get(&entry.id).is_some_and(|known| known.digest == aside.digest) {
        return Err(decided("It has arrived meanwhile."));
    }
    let own_id = known.is_empty();
    if !own_id {
        entry.id = fresh();
    }
    let digest = aside.digest.as_slice().try_into().map_err(Error::internal)?;
    let id = entry.id;
    let verdict = match decision {
        Decision::Book => {
            let verdicts = take(tx, author, None, &[entry], &[digest], now).await?;
            match verdicts.into_iter().next() {
                Some(Verdict::Refused(why) | Verdict::Parked(why)) => return Err(refused(why)),
                Some(Verdict::Reused(_)) | None => return Err(Error::internal("a fresh entry was known")),
                Some(verdict) => verdict,
            }
        }
        Decision::Drop => {
            if own_id {
                keep_dropped(tx, author, &entry, aside, now).await?;
            }
            dropped()
        }
    };
    let (word, booked_as) = match decision {
        Decision::Book => ("booked", Some(id)),
        Decision::Drop => ("dropped", None),
    };
    set_aside::decide(tx, aside.set_aside_id, word, booked_as, by, now).await?;
    if own_id {
        let why = verdict.refusal();
        let body = json!({
            "lane_id": aside.lane_id,
            "n": n,
            "verdict": verdict.word(),
            "code": why.map(|why| &why.code),
            "sentence": why.map(|why| &why.sentence),
        });
        tx.tell(TrailRow::here(aside.member_id, "verdict", id, body));
    }
    Ok(verdict)
}

/// Keeps a dropped entry under its id, so that it stays dropped when it arrives by another lane.
async fn keep_dropped(
    tx: &mut Tx,
    author: Author,
    entry: &Incoming,
    aside: &SetAside,
    now: DateTime<Utc>,
) -> Result<(), Error> {
    let verdict = dropped();
    let why = verdict.refusal();
    let when = clocks::when(entry, aside.set_aside_at);
    let new = NewEntry {
        id: entry.id,
        n: None,
        kind: storable::text(&entry.kind),
        form: entry.form,
        place_id: author.home_place,
        happened_at: when.at,
        body: JsonText::of(&*storable::document(&entry.body))?,
        digest: aside.digest.clone(),
        basis: None,
        verdict: verdict.word(),
        code: why.map(|why| why.code.clone().into_owned()),
        sentence: why.map(|why| why.sentence.clone()),
        envelope: envelope::of(entry, when.device_at)?,
        answer: None,
        booked_line: None,
    };
    entries::append(tx, vec![new], author.member, None, 0, now).await
}
