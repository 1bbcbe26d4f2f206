//! One entry after the other: is it known, can it be read, can it be booked? Pure.

use super::books::At;
use super::facts::Fact;
use super::refusal::EntryRefusal;
use super::weigh_in::NOT_OPEN;
use super::{
    Asked, Author, Basis, Desk, Earlier, Incoming, Verdict, canonical, card_edit, clocks, container_open,
    envelope, forms, job_command, own, pad_retire, pad_wash, pads, parked, photo, receipt, reversal,
    section_work, stock_count, stock_move, storable, trip, weigh_in, work_time,
};
use crate::error::Error;
use crate::flows::tagged;
use crate::store::JsonText;
use crate::store::entries::{Known, NewEntry};
use chrono::{DateTime, Utc};
use dropwise_core::CoreError;
use serde::Serialize;
use serde_json::{Value, json};
use sha2::{Digest, Sha256};
use std::collections::BTreeMap;
use uuid::Uuid;

/// What an entry turned out to say.
#[derive(Debug, Clone)]
pub(super) enum Read {
    /// Something this server books.
    Fact(Box<Fact>),
    /// Of a known kind, but not as that kind is written.
    Bad(EntryRefusal),
    /// Of a kind or form this server does not know yet.
    Unknown,
}

/// Looks at kind and body.
pub(super) fn read(entry: &Incoming) -> Read {
    if let Some(flaw) = &entry.flaw {
        return Read::Bad(flaw.refusal.clone());
    }
    if storable::has_nul(entry) {
        let sentence = "A text has a character that is none (U+0000). Take it out and write it down again.";
        return Read::Bad(EntryRefusal::new("text_unreadable", sentence));
    }
    if entry.form > forms::newest(&entry.kind) {
        return Read::Unknown;
    }
    let Some(body) = forms::upcast(&entry.kind, entry.form, &entry.body) else {
        return Read::Bad(EntryRefusal::new("no_such_form", "Forms of a kind are counted from 1."));
    };
    match tagged::read(&entry.kind, &body) {
        Ok(fact) => Read::Fact(Box::new(fact)),
        Err(error) => Read::Bad(EntryRefusal::new("bad_field", format!("{error}."))),
    }
}

/// What an entry says; what it leaves out does not count. In the order of the names.
#[derive(Serialize)]
struct Said<'a> {
    body: &'a Value,
    form: i16,
    happened_at: DateTime<Utc>,
    kind: &'a str,
    #[serde(skip_serializing_if = "Option::is_none")]
    made_at: Option<DateTime<Utc>>,
    #[serde(skip_serializing_if = "<[Uuid]>::is_empty")]
    needs: &'a [Uuid],
    #[serde(skip_serializing_if = "BTreeMap::is_empty")]
    seen: &'a BTreeMap<String, String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    stamp: Option<&'a str>,
}

/// SHA-256 over what the entry says, whatever the order of its keys.
///
/// # Errors
/// When the body cannot be written as canonical JSON (RFC 8785).
pub fn digest(entry: &Incoming) -> Result<[u8; 32], Error> {
    if let Some(flaw) = &entry.flaw {
        return Ok(flaw.digest);
    }
    // Drift is a measurement of the phone's and may be another when the entry is sent again.
    let said = Said {
        body: &entry.body,
        form: entry.form,
        happened_at: entry.happened_at,
        kind: &entry.kind,
        made_at: entry.made_at,
        needs: &entry.needs,
        seen: &entry.seen,
        stamp: entry.stamp.as_deref(),
    };
    let plain = canonical::is_plain(&entry.body) && entry.seen.keys().all(|name| name.is_ascii());
    Ok(Sha256::digest(canonical::written(&said, plain)?).into())
}

/// The verdict on one entry; a taken one is on the desk afterwards, anything else has left no trace.
pub(super) fn judge(desk: &mut Desk, asked: &mut Asked<'_>, now: DateTime<Utc>) -> Result<Verdict, Error> {
    if let Some(known) = desk.known.get(&asked.entry.id) {
        return Ok(if known.digest == asked.digest { Verdict::of(known) } else { Verdict::id_reused() });
    }
    let Weighed { verdict, basis, booked_line } = weigh(desk, asked, false, now)?;
    let (entry, digest) = (&*asked.entry, &asked.digest);
    let when = clocks::when(entry, now);
    // At a desk (no lane) a refusal is the answer to a request, and nothing is kept of it.
    if entry.n.is_some() || verdict.is_booked() {
        let why = verdict.refusal();
        let new = NewEntry {
            id: entry.id,
            n: entry.n,
            kind: storable::text(&entry.kind),
            form: entry.form,
            place_id: asked.author.home_place,
            happened_at: when.at,
            body: JsonText::of(&*storable::document(&entry.body))?,
            digest: digest.to_vec(),
            basis,
            verdict: verdict.word(),
            code: why.map(|why| why.code.clone().into_owned()),
            sentence: why.map(|why| why.sentence.clone()),
            booked_line,
            envelope: envelope::of(entry, when.device_at)?,
            answer: verdict.answer(),
        };
        let known = Known {
            entry_id: new.id,
            digest: new.digest.clone(),
            verdict: new.verdict.to_owned(),
            code: new.code.clone(),
            sentence: new.sentence.clone(),
            answer: new.answer.clone(),
        };
        desk.known.insert(entry.id, known);
        desk.new.push(new);
    }
    Ok(verdict)
}

/// What is said of an entry that is in the books.
fn booked(basis: &Basis, clock: Option<EntryRefusal>) -> Verdict {
    match (basis, clock) {
        (Basis::CardEdit(basis), _) if !basis.lost.is_empty() => {
            Verdict::Yielded(card_edit::overtaken(), basis.lost.clone())
        }
        (_, Some(clock)) => Verdict::Adjusted(clock),
        (_, None) => Verdict::Taken,
    }
}

/// What weighing an entry came to.
pub(super) struct Weighed {
    pub(super) verdict: Verdict,
    /// What the cards said, when it was booked.
    pub(super) basis: Option<JsonText>,
    /// Its place among what is booked here.
    pub(super) booked_line: Option<i32>,
}

/// Whether an entry can be booked, and if so, books it. `forced`: the office says that it need not wait.
pub(super) fn weigh(
    desk: &mut Desk,
    asked: &mut Asked<'_>,
    forced: bool,
    now: DateTime<Utc>,
) -> Result<Weighed, Error> {
    let Asked { entry, read, author, .. } = &*asked;
    let (entry, author) = (&**entry, *author);
    let not = |verdict| Ok(Weighed { verdict, basis: None, booked_line: None });
    desk.waits.remove(&entry.id);
    if let Read::Bad(refusal) = read {
        return not(Verdict::Refused(refusal.clone()));
    }
    if let Some(gone) = author.removed_at
        && entry.n.is_some()
    {
        return not(parked::of_the_removed(entry, gone));
    }
    let Read::Fact(fact) = read else { return not(Verdict::Parked(unknown())) };
    if !forced && let Some((why, waits)) = parked::unmet(desk, entry, fact) {
        desk.waits.insert(entry.id, waits);
        return not(Verdict::Parked(why));
    }
    // A parked entry counts from when it came in, as it does where it is stored.
    let came_at = asked.came_at.unwrap_or(now);
    let when = clocks::when(entry, came_at);
    if desk.lane != asked.lane {
        (desk.lane, desk.replaced) = (asked.lane, None);
    }
    match try_booking(desk, author, entry, fact, when.at, came_at) {
        Ok((basis, stamp)) => {
            desk.books.keep();
            let booked_line = Some(desk.booked);
            desk.booked = desk.booked.saturating_add(1);
            let verdict = booked(&basis, when.adjusted.or(stamp));
            let written = JsonText::of(&basis)?;
            // What is booked is not weighed again: its fact goes to the desk.
            if let Read::Fact(fact) = std::mem::replace(&mut asked.read, Read::Unknown) {
                take_note(desk, author, &asked.entry, *fact, basis, when.at);
            }
            Ok(Weighed { verdict, basis: Some(written), booked_line })
        }
        Err(refusal) => {
            desk.books.undo();
            // The opening may still lie on another phone: work that was done is not refused for it.
            if entry.n.is_some() && refusal.code == NOT_OPEN {
                let waits = parked::unopened(desk, fact);
                desk.waits.insert(entry.id, waits);
                return not(Verdict::Parked(refusal));
            }
            not(Verdict::Refused(refusal))
        }
    }
}

fn unknown() -> EntryRefusal {
    EntryRefusal::new(
        "unknown_kind",
        "This server does not know that kind of entry yet. It is kept until one does, or the office decides.",
    )
}

/// What the cards said, and what is wrong with the clock where only the stamp shows it.
fn try_booking(
    desk: &mut Desk,
    author: Author,
    entry: &Incoming,
    fact: &Fact,
    happened_at: DateTime<Utc>,
    now: DateTime<Utc>,
) -> Result<(Basis, Option<EntryRefusal>), EntryRefusal> {
    let day = desk.cards.day(happened_at)?;
    let at = At { entry_id: entry.id, day };
    // These two write cards and no books.
    if let Fact::CardEdit(fact) = fact {
        let (basis, stamp) = card_edit::write(desk, fact, author, entry, now)?;
        return Ok((Basis::CardEdit(basis), stamp));
    }
    if let Fact::JobCommand(fact) = fact {
        return Ok((Basis::JobCommand(job_command::write(desk, fact, author)?), None));
    }
    let (cards, books) = (&desk.cards, &desk.books);
    let basis = match fact {
        Fact::SectionWork(fact) => Basis::SectionWork(section_work::judge(fact, cards, books, author)?),
        Fact::ContainerOpen(fact) => {
            let item = cards.container(fact.container_id, "container_id")?.item_id;
            let weighed = desk.weighed.get(&item).map_or(&[][..], Vec::as_slice);
            Basis::ContainerOpen(container_open::judge(fact, cards, books, weighed, author)?)
        }
        Fact::WeighIn(fact) => Basis::WeighIn(weigh_in::judge(fact, cards, books, author)?),
        Fact::PadWash(fact) => Basis::Pad(pads::judge(fact.pad_id, cards, books, author)?),
        Fact::PadRetire(fact) => Basis::Pad(pads::judge(fact.pad_id, cards, books, author)?),
        Fact::Trip(fact) => Basis::Trip(trip::judge(fact, cards, author)?),
        Fact::WorkTime(fact) => Basis::WorkTime(work_time::judge(fact, cards, author)?),
        Fact::Receipt(fact) => receipt::judge(fact, cards, author).map(|()| Basis::Fact)?,
        Fact::StockMove(fact) => stock_move::judge(fact, cards, author).map(|()| Basis::Fact)?,
        Fact::StockCount(fact) => stock_count::judge(fact, cards, author).map(|()| Basis::Fact)?,
        Fact::Photo(fact) => Basis::Photo(photo::judge(fact, cards, author)?),
        Fact::Reversal(fact) => {
            let earlier = desk.earlier.get(&fact.entry_id);
            reversal::judge(earlier, fact.entry_id, books, author).map(|()| Basis::Fact)?
        }
        Fact::CardEdit(_) | Fact::JobCommand(_) => Basis::Fact,
    };
    book(desk, fact, &basis, at, happened_at)?;
    Ok((basis, None))
}

/// What a fact does to the books. The only way in: for new entries and for rebuilding alike.
pub(super) fn book(
    desk: &mut Desk,
    fact: &Fact,
    basis: &Basis,
    at: At,
    happened_at: DateTime<Utc>,
) -> Result<(), CoreError> {
    let books = &mut desk.books;
    match (fact, basis) {
        (Fact::SectionWork(fact), Basis::SectionWork(basis)) => {
            section_work::book(books, fact, basis, at, happened_at)
        }
        (Fact::ContainerOpen(fact), Basis::ContainerOpen(basis)) => {
            container_open::book(books, fact, basis, at, happened_at)
        }
        (Fact::WeighIn(fact), Basis::WeighIn(basis)) => weigh_in::book(books, fact, basis, at),
        (Fact::PadWash(fact), Basis::Pad(basis)) => pad_wash::book(books, fact, basis, at, happened_at),
        (Fact::PadRetire(fact), Basis::Pad(basis)) => pad_retire::book(books, fact, basis, at, happened_at),
        (Fact::Trip(fact), Basis::Trip(basis)) => trip::book(books, fact, basis, at),
        (Fact::WorkTime(fact), Basis::WorkTime(basis)) => work_time::book(books, fact, basis, at),
        (Fact::Receipt(fact), Basis::Fact) => receipt::book(books, fact, at),
        (Fact::StockMove(fact), Basis::Fact) => stock_move::book(books, fact, at),
        (Fact::StockCount(fact), Basis::Fact) => stock_count::book(books, fact, at),
        (Fact::Reversal(fact), Basis::Fact) => {
            let earlier = desk.earlier.get(&fact.entry_id).cloned();
            let earlier =
                earlier.ok_or(CoreError::Invalid { what: "a reversal", rule: "must name a booked entry" })?;
            reversal::book(books, &earlier, fact.entry_id, at)
        }
        (Fact::CardEdit(_), Basis::CardEdit(_))
        | (Fact::JobCommand(_), Basis::JobCommand(_))
        | (Fact::Photo(_), Basis::Photo(_)) => Ok(()),
        _ => Err(CoreError::Invalid { what: "an entry's basis", rule: "must be of the entry's kind" }),
    }
}

/// Remembers a booked entry for reversals after it, and who may see it.
fn take_note(
    desk: &mut Desk,
    author: Author,
    entry: &Incoming,
    fact: Fact,
    basis: Basis,
    happened_at: DateTime<Utc>,
) {
    if let Fact::Reversal(reversal) = &fact {
        desk.reversed.push((reversal.entry_id, entry.id));
        if let Some(earlier) = desk.earlier.get_mut(&reversal.entry_id) {
            earlier.reversed = true;
        }
    }
    let member_id = author.member.0;
    let audience = audience(author, &fact, &basis);
    desk.earlier.insert(entry.id, Earlier { fact, basis, member_id, reversed: false });
    let mut body = entry.body.clone();
    if let Some(fields) = body.as_object_mut() {
        fields.remove("total_amount");
    }
    let told = json!({
        "kind": entry.kind,
        "happened_at": happened_at,
        "member_id": member_id,
        "n": entry.n,
        "body": body,
    });
    desk.told.push((audience, entry.id, told));
}

/// Time is the member's own affair; everything else belongs to the van it happened on.
fn audience(author: Author, fact: &Fact, basis: &Basis) -> Uuid {
    let van = match (fact, basis) {
        (_, Basis::SectionWork(basis)) => Some(basis.place()),
        (_, Basis::ContainerOpen(basis)) => Some(basis.place_id),
        (_, Basis::Pad(basis)) => Some(basis.place_id),
        (_, Basis::CardEdit(basis)) => basis.place_id,
        (_, Basis::JobCommand(basis)) => Some(basis.place_id),
        (_, Basis::Photo(basis)) => Some(basis.place_id),
        (Fact::Receipt(fact), _) => Some(fact.place_id),
        (Fact::StockMove(fact), _) => Some(fact.to_place_id),
        (Fact::StockCount(fact), _) => Some(fact.place_id),
        (Fact::Trip(fact), _) => Some(fact.place_id),
        (Fact::WorkTime(fact), _) => Some(fact.member_id.unwrap_or(author.member).0),
        _ => author.home_place,
    };
    van.unwrap_or(own(author.member))
}

/// The body of an entry as it was stored, read again.
pub(super) fn reread(kind: &str, form: i16, body: &Value) -> Option<Fact> {
    tagged::read(kind, &*forms::upcast(kind, form, body)?).ok()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use super::*;

    #[test]
    fn the_digest_is_of_the_canonical_json_of_everything_said() {
        let at = DateTime::UNIX_EPOCH;
        let bare = Incoming::new(Uuid::nil(), Some(1), "trip".into(), 1, at, json!({"b": "é", "a": [7]}));
        let rich = Incoming {
            made_at: Some(at),
            stamp: Some("0000000000000-00001".into()),
            seen: BTreeMap::from([("name".into(), "0000000000000-00000".into())]),
            needs: vec![Uuid::max()],
            ..bare.clone()
        };
        let fraction = Incoming { body: json!({"é": 0.5, "z": 1e21}), ..rich.clone() };
        let said = |entry: &Incoming| {
            let mut said = json!({"kind": entry.kind, "form": entry.form, "happened_at": entry.happened_at,
                                  "body": entry.body});
            if entry.made_at.is_some() {
                said["made_at"] = json!(entry.made_at);
                said["stamp"] = json!(entry.stamp);
                said["seen"] = json!(entry.seen);
                said["needs"] = json!(entry.needs);
            }
            said
        };
        for entry in [bare, rich, fraction] {
            let canonical = serde_json_canonicalizer::to_vec(&said(&entry)).unwrap();
            assert_eq!(digest(&entry).unwrap()[..], Sha256::digest(canonical)[..], "{entry:?}");
        }
    }
}
