//! Judging and booking one entry: the verdict, and what it changes in the tables.

use super::levels::Says;
use super::tables::{Bottle, CardKind, Field, Fleet, Loser, Stored};
use crate::phone::wire::Word;
use crate::sim::faults::Fault;
use dropwise::sync::rules::job_state::{self, Command, Refused, State};
use dropwise::sync::rules::merge::{self, Outcome};
use dropwise::sync::rules::stamp::Stamp;
use serde::Deserialize;
use serde::de::DeserializeOwned;
use std::collections::BTreeMap;
use uuid::Uuid;

/// A month of the simulation (ms): thirty days, so that a month is a division.
pub const MONTH_MS: i64 = 30 * 24 * 3_600 * 1_000;

/// A record that changed and must be told.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Changed {
    /// A job or notice.
    Card(Uuid),
    /// All records of a bottle.
    Bottle(String),
    /// An item's stock in a place.
    Stock(Uuid, Uuid),
    /// A verdict given after the handover's reply.
    Verdict(Uuid),
    /// An entry. Told last, so that its effects are never behind it.
    Entry(Uuid),
}

/// A verdict in the making.
#[derive(Debug, Default)]
pub struct Judgement {
    word: Option<Word>,
    code: Option<&'static str>,
    lost: Vec<String>,
    waits_for: Option<Uuid>,
    month: Option<i64>,
    changed: Vec<Changed>,
}

#[derive(Deserialize)]
struct Receipt {
    item_id: Uuid,
    place_id: Uuid,
    quantity: i64,
}

#[derive(Deserialize)]
struct StockMove {
    item_id: Uuid,
    from_place_id: Uuid,
    to_place_id: Uuid,
    quantity: i64,
}

#[derive(Deserialize)]
struct BottleOpen {
    container_id: Uuid,
    tag: String,
    place_id: Uuid,
    ml: i64,
}

#[derive(Deserialize)]
struct Bottled {
    container_id: Uuid,
    ml: i64,
    #[serde(default)]
    job_id: Uuid,
}

#[derive(Deserialize)]
struct CardEdit {
    card_id: Uuid,
    set: BTreeMap<String, String>,
}

#[derive(Deserialize)]
struct JobCommand {
    job_id: Uuid,
    command: Command,
    expects: State,
}

#[derive(Deserialize)]
struct Reversal {
    entry_id: Uuid,
}

/// Kinds that say what happened, as opposed to what should be so.
const FACTS: [&str; 7] =
    ["receipt", "stock_move", "stock_count", "bottle_open", "section_work", "weigh_in", "reversal"];
/// The kind only a newer server knows.
pub const NEWEST: &str = "pad_dream";

fn read<T: DeserializeOwned>(stored: &Stored) -> Result<T, Judgement> {
    T::deserialize(&*stored.said).map_err(|_| refused("bad_field"))
}

fn refused(code: &'static str) -> Judgement {
    Judgement { word: Some(Word::Refused), code: Some(code), ..Judgement::default() }
}

fn parked(code: &'static str, waits_for: Option<Uuid>) -> Judgement {
    Judgement { word: Some(Word::Parked), code: Some(code), waits_for, ..Judgement::default() }
}

fn booked(changed: Vec<Changed>) -> Judgement {
    Judgement { changed, ..Judgement::default() }
}

impl Fleet {
    /// Judges an entry and everything that waited for it. `insists`: the office wants it booked, in the
    /// month `now`, whatever month it is from.
    pub fn judge(
        &mut self,
        mut stored: Stored,
        insists: Option<i64>,
        fault: Option<Fault>,
        adjusted: bool,
        changed: &mut Vec<Changed>,
    ) -> (Word, Stored) {
        let judgement = self.decide(&stored, insists, fault).unwrap_or_else(|refusal| refusal);
        self.judgements += 1;
        let word = judgement.word.unwrap_or(match (judgement.lost.is_empty(), adjusted) {
            (false, _) => Word::Yielded,
            (true, true) => Word::Adjusted,
            (true, false) => Word::Taken,
        });
        stored.word = word;
        stored.code = judgement.code;
        stored.lost = judgement.lost;
        stored.waits_for = judgement.waits_for;
        stored.judged = self.judgements;
        stored.month = judgement.month.unwrap_or(stored.month);
        changed.extend(judgement.changed);
        changed.push(Changed::Entry(stored.entry.id));
        let id = stored.entry.id;
        let answer = (word, stored.clone());
        if word == Word::Parked && fault == Some(Fault::ParkedLost) {
            return answer;
        }
        if let Some(parent) = stored.waits_for {
            self.waiting.entry(parent).or_default().insert(id);
        }
        let freed = if word.is_booked() { stored.frees() } else { None };
        self.entries.insert(id, stored);
        if word != Word::Parked && fault != Some(Fault::ParkedNeverFreed) {
            for parent in [Some(id), freed].into_iter().flatten() {
                self.free(parent, fault, changed);
            }
        }
        answer
    }

    /// What waited for this is judged again, in the order it was first judged.
    pub(super) fn free(&mut self, parent: Uuid, fault: Option<Fault>, changed: &mut Vec<Changed>) {
        let waiting = self.waiting.remove(&parent).unwrap_or_default();
        let mut freed: Vec<Stored> = waiting
            .iter()
            .filter_map(|id| self.entries.get(id))
            .filter(|e| e.waits_for == Some(parent))
            .cloned()
            .collect();
        freed.sort_by_key(|stored| stored.judged);
        for stored in freed {
            let id = stored.entry.id;
            let (word, _) = self.judge(stored, None, fault, false, changed);
            if word != Word::Parked {
                self.decided_later += 1;
                changed.push(Changed::Verdict(id));
            }
        }
    }

    fn decide(
        &mut self,
        stored: &Stored,
        insists: Option<i64>,
        fault: Option<Fault>,
    ) -> Result<Judgement, Judgement> {
        let kind = stored.entry.kind.as_str();
        if kind == NEWEST {
            return if self.knows_newest { Ok(booked(vec![])) } else { Err(parked("unknown_kind", None)) };
        }
        for parent in &stored.entry.needs {
            match self.entries.get(parent).map(|parent| parent.word) {
                None | Some(Word::Parked) => return Err(parked("waits_for_entry", Some(*parent))),
                Some(word) if !word.is_booked() => return Err(parked("parent_refused", None)),
                Some(_) => {}
            }
        }
        let fact = FACTS.contains(&kind);
        let month = insists.unwrap_or(stored.stamp.ms.div_euclid(MONTH_MS));
        if fact && self.closed.contains(&month) && fault != Some(Fault::ClosedMonthBooked) {
            return Err(parked("month_closed", None));
        }
        let mut judgement = match kind {
            "receipt" => self.receipt(stored)?,
            "stock_move" => self.stock_move(stored, fault)?,
            "stock_count" => self.stock_count(stored)?,
            "bottle_open" => self.bottle_open(stored)?,
            "section_work" => self.section_work(stored)?,
            "weigh_in" => self.weigh_in(stored)?,
            "reversal" => self.reversal(stored, month)?,
            "card_edit" => self.card_edit(stored, fault)?,
            "job_command" => self.job_command(stored)?,
            _ => return Err(parked("unknown_kind", None)),
        };
        judgement.month = fact.then_some(month);
        if fact && kind != "reversal" {
            *self.months.entry(month).or_default() += stored.figure();
        }
        Ok(judgement)
    }

    fn book(&mut self, stored: &Stored, item: Uuid, place: Uuid, says: Says) -> Changed {
        self.stock.entry((item, place)).or_default().book(stored.stamp, stored.entry.id, says);
        Changed::Stock(item, place)
    }

    fn receipt(&mut self, stored: &Stored) -> Result<Judgement, Judgement> {
        let said: Receipt = read(stored)?;
        self.known_place(said.place_id)?;
        if said.quantity == 0 {
            return Err(refused("nothing_moved"));
        }
        Ok(booked(vec![self.book(stored, said.item_id, said.place_id, Says::More(said.quantity))]))
    }

    fn stock_move(&mut self, stored: &Stored, fault: Option<Fault>) -> Result<Judgement, Judgement> {
        let said: StockMove = read(stored)?;
        self.known_place(said.from_place_id)?;
        self.known_place(said.to_place_id)?;
        if said.from_place_id == said.to_place_id {
            return Err(refused("same_place"));
        }
        let gone = if fault == Some(Fault::MoveOnlyArrives) { 0 } else { -said.quantity };
        Ok(booked(vec![
            self.book(stored, said.item_id, said.from_place_id, Says::More(gone)),
            self.book(stored, said.item_id, said.to_place_id, Says::More(said.quantity)),
        ]))
    }

    fn stock_count(&mut self, stored: &Stored) -> Result<Judgement, Judgement> {
        let said: Receipt = read(stored)?;
        self.known_place(said.place_id)?;
        Ok(booked(vec![self.book(stored, said.item_id, said.place_id, Says::Found(said.quantity))]))
    }

    fn known_place(&self, place: Uuid) -> Result<(), Judgement> {
        if self.places.contains(&place) { Ok(()) } else { Err(refused("no_such_record")) }
    }

    /// A bottle whose tag is known already is an alias of the one registered first.
    fn bottle_open(&mut self, stored: &Stored) -> Result<Judgement, Judgement> {
        let said: BottleOpen = read(stored)?;
        self.known_place(said.place_id)?;
        if self.tags.contains_key(&said.container_id) {
            return Err(refused("already_open"));
        }
        let empty = || Bottle { records: BTreeMap::new(), moved_to: None, level: Default::default() };
        let bottle = self.bottles.entry(said.tag.clone()).or_insert_with(empty);
        bottle.records.insert((stored.stamp, said.container_id), said.place_id);
        bottle.level.book(stored.stamp, stored.entry.id, Says::Found(said.ml));
        self.tags.insert(said.container_id, said.tag.clone());
        Ok(booked(vec![Changed::Bottle(said.tag)]))
    }

    fn bottle(&mut self, record: Uuid) -> Result<(&mut Bottle, String), Judgement> {
        let tag = self.tags.get(&record).cloned();
        let tag = tag.ok_or_else(|| parked("container_not_open", Some(record)))?;
        match self.bottles.get_mut(&tag) {
            Some(bottle) => Ok((bottle, tag)),
            None => Err(refused("no_such_record")),
        }
    }

    fn section_work(&mut self, stored: &Stored) -> Result<Judgement, Judgement> {
        let said: Bottled = read(stored)?;
        match self.cards.get(&said.job_id).filter(|card| card.kind == CardKind::Job) {
            None => return Err(refused("no_such_record")),
            Some(job) if job.deleted => return Err(parked("job_deleted", None)),
            Some(job) if !job.state.is_open() => return Err(refused("job_settled")),
            Some(_) => {}
        }
        let (bottle, tag) = self.bottle(said.container_id)?;
        bottle.level.book(stored.stamp, stored.entry.id, Says::More(-said.ml));
        if let Some(job) = self.cards.get_mut(&said.job_id) {
            job.facts.insert(stored.entry.id);
        }
        Ok(booked(vec![Changed::Bottle(tag), Changed::Card(said.job_id)]))
    }

    fn weigh_in(&mut self, stored: &Stored) -> Result<Judgement, Judgement> {
        let said: Bottled = read(stored)?;
        let (bottle, tag) = self.bottle(said.container_id)?;
        bottle.level.book(stored.stamp, stored.entry.id, Says::Found(said.ml));
        Ok(booked(vec![Changed::Bottle(tag)]))
    }

    /// What an entry did is undone; its figure is taken back in the reversal's own month.
    fn reversal(&mut self, stored: &Stored, month: i64) -> Result<Judgement, Judgement> {
        let said: Reversal = read(stored)?;
        let target = said.entry_id;
        let Some(was) = self.entries.get(&target) else {
            return Err(parked("waits_for_entry", Some(target)));
        };
        if was.word == Word::Parked {
            return Err(parked("waits_for_entry", Some(target)));
        }
        let kind = was.entry.kind.as_str();
        let reversible = FACTS.contains(&kind) && !matches!(kind, "reversal" | "bottle_open");
        if was.author != stored.author || !was.word.is_booked() || !reversible {
            return Err(refused("cannot_be_reversed"));
        }
        if was.reversed_by.is_some() {
            return Err(refused("already_reversed"));
        }
        let was = was.clone();
        let mut changed = vec![Changed::Entry(target)];
        for ((item, place), level) in self.stock.iter_mut().filter(|(_, level)| level.rests_on(target)) {
            level.take_back(target);
            changed.push(Changed::Stock(*item, *place));
        }
        for (tag, bottle) in self.bottles.iter_mut().filter(|(_, bottle)| bottle.level.rests_on(target)) {
            bottle.level.take_back(target);
            changed.push(Changed::Bottle(tag.clone()));
        }
        for (id, card) in self.cards.iter_mut().filter(|(_, card)| card.facts.contains(&target)) {
            card.facts.remove(&target);
            changed.push(Changed::Card(*id));
        }
        *self.months.entry(month).or_default() -= was.figure();
        if let Some(was) = self.entries.get_mut(&target) {
            was.reversed_by = Some(stored.entry.id);
        }
        Ok(booked(changed))
    }

    fn card_edit(&mut self, stored: &Stored, fault: Option<Fault>) -> Result<Judgement, Judgement> {
        let said: CardEdit = read(stored)?;
        let card = self.cards.get(&said.card_id).ok_or_else(|| refused("no_such_record"))?;
        if card.deleted {
            return Err(refused("deleted"));
        }
        let mut judgement = booked(vec![Changed::Card(said.card_id)]);
        for (field, value) in &said.set {
            if !self.set(said.card_id, field, value, stored.stamp, fault) {
                judgement.lost.push(field.clone());
            }
        }
        Ok(judgement)
    }

    /// Writes one field where the stamp allows; the value that loses is kept. Whether it won.
    pub fn set(&mut self, card: Uuid, field: &str, value: &str, stamp: Stamp, fault: Option<Fault>) -> bool {
        let Some(card) = self.cards.get_mut(&card) else { return false };
        let current = card.fields.get(field).map(|field| field.stamp);
        let mut outcome = merge::decide(current, stamp);
        if fault == Some(Fault::ArrivalWins) {
            outcome = Outcome::Won;
        }
        let loser = match outcome {
            Outcome::Won => card
                .fields
                .insert(field.to_owned(), Field { value: value.to_owned(), stamp })
                .map(|old| Loser { field: field.to_owned(), value: old.value, stamp: old.stamp }),
            Outcome::Lost => Some(Loser { field: field.to_owned(), value: value.to_owned(), stamp }),
        };
        if fault != Some(Fault::LoserNotKept) {
            card.losers.extend(loser);
        }
        outcome == Outcome::Won
    }

    fn job_command(&mut self, stored: &Stored) -> Result<Judgement, Judgement> {
        let said: JobCommand = read(stored)?;
        let job = self.cards.get_mut(&said.job_id).filter(|card| card.kind == CardKind::Job);
        let job = job.ok_or_else(|| refused("no_such_record"))?;
        if job.deleted {
            return Err(refused("deleted"));
        }
        job.state = job_state::step(job.state, said.command, said.expects).map_err(|why| match why {
            Refused::Late { .. } => refused("late"),
            Refused::NoSuchStep { .. } => refused("no_such_step"),
        })?;
        Ok(booked(vec![Changed::Card(said.job_id)]))
    }
}

impl Stored {
    /// What it adds to its month's figure.
    #[must_use]
    pub fn figure(&self) -> i64 {
        let number = |name: &str| self.said[name].as_i64().unwrap_or(0);
        match self.entry.kind.as_str() {
            "receipt" => number("quantity"),
            "section_work" => number("ml"),
            _ => 0,
        }
    }

    /// The record that others may have waited for.
    fn frees(&self) -> Option<Uuid> {
        read::<BottleOpen>(self)
            .ok()
            .filter(|_| self.entry.kind == "bottle_open")
            .map(|said| said.container_id)
    }
}
