//! Entries that are kept and not yet booked: what each waits for, and when it is judged again.
//!
//! A parked entry is judged again in the transaction that brings what it waits for, right after it: work
//! that was done before a weigh-in of the same batch is then booked before it, too. Of several that wait
//! for the same, lanes take turns in the order of their ids, each in the order of its numbers.

use super::books::Books;
use super::facts::Fact;
use super::judge::{self, Read, Weighed};
use super::refusal::EntryRefusal;
use super::{Asked, Author, Desk, Incoming, Verdict, document, forms};
use crate::error::Error;
use crate::ids::LaneId;
use crate::store::entries::{Decided, Known};
use crate::store::parked::{self, NewParked, ParkedRecord};
use crate::store::{TrailRow, Tx};
use chrono::{DateTime, TimeDelta, Utc};
use serde_json::json;
use std::borrow::Cow;
use std::collections::{HashMap, HashSet};
use uuid::Uuid;

/// Most parked entries that one transaction judges again; the rest is left to the next.
const ROOM: usize = 500;
/// A chain of entries that wait for each other is followed this far in one transaction.
const ROUNDS: usize = 16;
/// Nobody locks an entry that does not exist yet: one may be parked while its parent is booked in another
/// transaction that cannot see it. For so long, three times what any transaction may take, handovers look
/// at it again.
const LOOK_FOR: TimeDelta = TimeDelta::seconds(60);

/// The code of an entry that waits for another.
const WAITS: &str = "waits_for_entry";

/// Entries that wait, of this batch and of earlier ones.
#[derive(Debug, Default)]
pub(super) struct Waiting<'a> {
    queue: Vec<One<'a>>,
    /// Parked before, whether they wait still or not.
    stored: HashMap<Uuid, ParkedRecord>,
    /// Verdicts that changed here.
    again: HashMap<Uuid, Verdict>,
    /// Of this batch, and parked when it ends, if nothing wakes them.
    new: Vec<Uuid>,
    documents: HashMap<Uuid, Incoming>,
    /// Whether there may be more than were read.
    full: bool,
    any: bool,
}

#[derive(Debug)]
struct One<'a> {
    asked: Asked<'a>,
    waits: Vec<Uuid>,
}

impl One<'_> {
    /// Lanes take turns in the order of their ids, each in the order of its numbers.
    fn turn(&self) -> (Option<Uuid>, Option<i64>) {
        (self.asked.lane.map(|lane| lane.0), self.asked.entry.n)
    }

    fn is_ready(&self, desk: &Desk) -> bool {
        self.waits.iter().all(|what| is_there(desk, *what))
    }
}

/// Whether an entry has its final verdict, or a container is open.
fn is_there(desk: &Desk, what: Uuid) -> bool {
    desk.known.get(&what).is_some_and(is_final) || desk.books.containers.get(&what).is_some()
}

fn is_final(known: &Known) -> bool {
    known.verdict != "parked"
}

/// The container that an entry puts in service.
fn opens(asked: &Asked<'_>) -> Option<Uuid> {
    if let Read::Fact(fact) = &asked.read
        && let Fact::ContainerOpen(open) = &**fact
    {
        return Some(open.container_id);
    }
    None
}

/// What these entries may bring to those that wait.
fn brings<'a, 'b: 'a>(asked: impl IntoIterator<Item = &'a Asked<'b>>) -> Vec<Uuid> {
    asked.into_iter().flat_map(|asked| std::iter::once(asked.entry.id).chain(opens(asked))).collect()
}

impl<'a> Waiting<'a> {
    /// Parked entries that this batch may free, or that can be judged again anyhow; held.
    pub(super) async fn find(tx: &mut Tx, batch: &[Asked<'_>]) -> Result<Self, Error> {
        let mut found = Self { any: parked::is_any(tx).await?, ..Self::default() };
        if !found.any {
            return Ok(found);
        }
        let mut but: Vec<Uuid> = batch.iter().map(|asked| asked.entry.id).collect();
        let mut brought = brings(batch);
        for round in 0.. {
            let room = ROOM.saturating_sub(found.queue.len());
            if room == 0 || round == ROUNDS {
                found.full = true;
                break;
            }
            let room = i64::try_from(room).map_err(Error::internal)?;
            let records = parked::lock_due(tx, &brought, &forms::all(), &but, room).await?;
            if records.is_empty() {
                break;
            }
            let ids: Vec<Uuid> = records.iter().map(|record| record.id).collect();
            let mut waits = parked::waits_of(tx, &ids).await?;
            let start = found.queue.len();
            for record in records {
                let asked = read_again(&record)?;
                let waits = waits.remove(&record.id).unwrap_or_default();
                found.queue.push(One { asked, waits });
                found.stored.insert(record.id, record);
            }
            brought = brings(found.queue.iter().skip(start).map(|one| &one.asked));
            but.extend(ids);
        }
        found.queue.sort_by_key(One::turn);
        Ok(found)
    }

    /// What is looked at beside the batch.
    pub(super) fn asked(&self) -> impl Iterator<Item = &Asked<'a>> + Clone {
        self.queue.iter().map(|one| &one.asked)
    }

    /// An entry of this batch that was parked.
    pub(super) fn add(&mut self, desk: &Desk, asked: Asked<'a>) {
        let id = asked.entry.id;
        if !desk.new.iter().any(|new| new.id == id) || asked.entry.n.is_none() {
            return;
        }
        self.new.push(id);
        self.documents.insert(id, asked.entry.clone().into_owned());
        if let Some(waits) = desk.waits.get(&id).filter(|waits| !waits.is_empty()) {
            let one = One { asked, waits: waits.clone() };
            let at = self.queue.partition_point(|other| other.turn() <= one.turn());
            self.queue.insert(at, one);
        }
    }

    /// Judges those that wait for nothing any more, and those that waited for these.
    pub(super) fn wake(&mut self, desk: &mut Desk, now: DateTime<Utc>) -> Result<(), Error> {
        while let Some(at) = self.queue.iter().position(|one| one.is_ready(desk)) {
            let mut one = self.queue.remove(at);
            let weighed = judge::weigh(desk, &mut one.asked, false, now)?;
            self.note(desk, one, weighed);
        }
        Ok(())
    }

    /// Keeps another verdict on an entry that was parked.
    fn note(&mut self, desk: &mut Desk, mut one: One<'a>, weighed: Weighed) {
        let id = one.asked.entry.id;
        let waits = desk.waits.get(&id).cloned().unwrap_or_default();
        let still = matches!(weighed.verdict, Verdict::Parked(_));
        self.decide(desk, id, weighed);
        if still && !waits.is_empty() && waits != one.waits {
            one.waits = waits;
            let at = self.queue.partition_point(|other| other.turn() <= one.turn());
            self.queue.insert(at, one);
        }
    }

    /// Puts another verdict on the desk for an entry that was parked, here or before.
    pub(super) fn decide(&mut self, desk: &mut Desk, id: Uuid, weighed: Weighed) {
        let Weighed { verdict, basis, booked_line } = weighed;
        let why = verdict.refusal();
        let decided = Decided {
            id,
            verdict: verdict.word(),
            code: why.map(|why| why.code.clone().into_owned()),
            sentence: why.map(|why| why.sentence.clone()),
            basis,
            booked_line,
            answer: verdict.answer(),
        };
        if let Some(known) = desk.known.get_mut(&id) {
            decided.verdict.clone_into(&mut known.verdict);
            known.code.clone_from(&decided.code);
            known.sentence.clone_from(&decided.sentence);
            known.answer.clone_from(&decided.answer);
        }
        if let Some(new) = desk.new.iter_mut().find(|new| new.id == id) {
            new.verdict = decided.verdict;
            new.code = decided.code;
            new.sentence = decided.sentence;
            new.basis = decided.basis;
            new.booked_line = decided.booked_line;
            new.answer = decided.answer;
        } else {
            desk.decided.retain(|other| other.id != id);
            desk.decided.push(decided);
        }
        self.again.insert(id, verdict);
    }

    /// An entry the office decides on, and which is held.
    pub(super) fn hold(&mut self, record: ParkedRecord) {
        self.any = true;
        self.stored.insert(record.id, record);
    }

    /// Verdicts that changed since the entry was first judged.
    pub(super) const fn judged_again(&self) -> &HashMap<Uuid, Verdict> {
        &self.again
    }

    /// Writes down who waits for what, and tells phones of verdicts that changed.
    ///
    /// Called when the batch is stored and before the stored ones among the parked get their new verdict.
    pub(super) async fn record(
        self,
        tx: &mut Tx,
        known: &HashMap<Uuid, Known>,
        waits: &HashMap<Uuid, Vec<Uuid>>,
        books: &Books,
        now: DateTime<Utc>,
    ) -> Result<(), Error> {
        let still = |id: &Uuid| known.get(id).is_some_and(|known| !is_final(known));
        let waits_of = |id: &Uuid| waits.get(id).cloned().unwrap_or_default();
        let mut new = Vec::new();
        for id in self.new.iter().filter(|id| still(id)) {
            let Some(entry) = self.documents.get(id) else { continue };
            let entry = document(entry)?;
            let waits = waits_of(id);
            // A container's card is locked by whoever opens it: nobody can miss an entry that waits for it.
            let look = known.get(id).and_then(|known| known.code.as_deref()) == Some(WAITS);
            new.push(NewParked { id: *id, entry, waits, look });
        }
        parked::insert(tx, new, now).await?;

        let (changed, kept): (Vec<&ParkedRecord>, Vec<_>) =
            self.stored.values().partition(|record| self.again.contains_key(&record.id));
        let (parked_again, done): (Vec<&ParkedRecord>, Vec<_>) =
            changed.iter().copied().partition(|record| still(&record.id));
        let ids = |records: &[&ParkedRecord]| records.iter().map(|r| r.id).collect::<Vec<_>>();
        let now_waits: Vec<(Uuid, Vec<Uuid>)> =
            parked_again.iter().map(|record| (record.id, waits_of(&record.id))).collect();
        parked::wait_for(tx, &now_waits).await?;
        parked::remove(tx, &ids(&done)).await?;
        let quiet: Vec<&ParkedRecord> =
            kept.into_iter().filter(|record| record.look && now - record.parked_at > LOOK_FOR).collect();
        parked::look(tx, &ids(&quiet), false).await?;

        let mut told: Vec<&ParkedRecord> = changed;
        told.sort_unstable_by_key(|record| (record.lane_id, record.n));
        for record in told {
            let Some(verdict) = self.again.get(&record.id) else { continue };
            let why = verdict.refusal();
            if still(&record.id) && why.is_some_and(|why| why.code == record.code) {
                continue;
            }
            tell(tx, record, verdict);
        }

        let opened: Vec<Uuid> =
            books.containers.changes().into_iter().filter_map(|(id, level)| level.map(|_| id)).collect();
        if !self.any && opened.is_empty() {
            return Ok(());
        }
        let mut brought: Vec<Uuid> =
            known.values().filter(|known| is_final(known)).map(|known| known.entry_id).collect();
        brought.extend(opened);
        let seen: HashSet<Uuid> = self.stored.keys().chain(&self.new).copied().collect();
        let seen: Vec<Uuid> = seen.into_iter().collect();
        let missed = parked::waiting_for(tx, &brought, &seen).await?;
        if missed.is_empty() {
            return Ok(());
        }
        if self.full {
            return parked::look(tx, &missed, true).await;
        }
        Err(Error::Retry("an entry was parked for one of this batch meanwhile".into()))
    }
}

/// Tells the author's phones of a verdict that came after the entry had been parked.
fn tell(tx: &mut Tx, record: &ParkedRecord, verdict: &Verdict) {
    let why = verdict.refusal();
    let body = json!({
        "lane_id": record.lane_id,
        "n": record.n,
        "verdict": verdict.word(),
        "code": why.map(|why| &why.code),
        "sentence": why.map(|why| &why.sentence),
        "lost": verdict.lost(),
    });
    tx.tell(TrailRow::here(record.member.0, "verdict", record.id, body));
}

/// A parked entry as it is judged again: in the name of its author, as they may act now, and for the
/// place they worked from then.
pub(super) fn read_again(record: &ParkedRecord) -> Result<Asked<'static>, Error> {
    let entry: Incoming = serde_json::from_value(record.entry.clone()).map_err(Error::internal)?;
    let author =
        Author { member: record.member, role: record.role, home_place: record.place_id, removed_at: None };
    let digest = record.digest.as_slice().try_into().map_err(Error::internal)?;
    let lane = record.lane_id.map(LaneId);
    Ok(Asked { came_at: Some(record.parked_at), ..Asked::new(Cow::Owned(entry), digest, author, lane) })
}

/// Why an entry must wait for other entries, and for which.
pub(super) fn unmet(desk: &Desk, entry: &Incoming, fact: &Fact) -> Option<(EntryRefusal, Vec<Uuid>)> {
    // At a desk nothing waits: whoever asks is told what is missing.
    entry.n?;
    let verdict = |id: &Uuid| desk.known.get(id).map(|known| known.verdict.as_str());
    let mut waits = Vec::new();
    for need in &entry.needs {
        match verdict(need) {
            None | Some("parked") => waits.push(*need),
            Some("refused") => {
                let sentence = "An entry this one rests on was refused. It is kept until the office decides.";
                return Some((EntryRefusal::new("parent_refused", sentence), Vec::new()));
            }
            Some(_) => {}
        }
    }
    if let Fact::Reversal(reversal) = fact
        && verdict(&reversal.entry_id) == Some("parked")
    {
        waits.push(reversal.entry_id);
    }
    if waits.is_empty() {
        return None;
    }
    waits.sort_unstable();
    waits.dedup();
    let sentence = "An entry this one rests on is not booked yet. It is kept, and booked after that one.";
    Some((EntryRefusal::new(WAITS, sentence), waits))
}

/// The containers a fact draws from or weighs that are not open yet.
pub(super) fn unopened(desk: &Desk, fact: &Fact) -> Vec<Uuid> {
    let mut named: Vec<Uuid> = if let Fact::SectionWork(work) = fact {
        work.doses.iter().map(|dose| dose.container_id).collect()
    } else if let Fact::WeighIn(weighing) = fact {
        vec![weighing.container_id]
    } else {
        Vec::new()
    };
    named.retain(|id| desk.books.containers.get(id).is_none());
    named.sort_unstable();
    named.dedup();
    named
}

/// The verdict on an entry whose author is no longer of the fleet.
pub(super) fn of_the_removed(entry: &Incoming, removed_at: DateTime<Utc>) -> Verdict {
    if entry.written_at() <= removed_at {
        return Verdict::Parked(EntryRefusal::new(
            "author_removed",
            "Its author has left the fleet. It is kept until the office decides.",
        ));
    }
    Verdict::Refused(EntryRefusal::new(
        "made_after_removal",
        "It was written down after its author had left the fleet, and is not booked.",
    ))
}
