//! Entries as they were handed over, with their verdicts. Never edited; a mistake is reversed.

use super::schema::entries;
use super::{JsonText, Tx};
use crate::error::Error;
use crate::ids::{LaneId, MemberId};
use chrono::{DateTime, Utc};
use diesel::prelude::*;
use diesel::sql_types as sql;
use diesel_async::RunQueryDsl;
use serde_json::Value;
use std::collections::HashMap;
use uuid::Uuid;

/// An entry to be stored.
#[derive(Debug, Clone, PartialEq)]
pub struct NewEntry {
    /// Its id.
    pub id: Uuid,
    /// Its number in the lane.
    pub n: Option<i64>,
    /// Its kind.
    pub kind: String,
    /// The form of that kind.
    pub form: i16,
    /// The van or depot the author works from.
    pub place_id: Option<Uuid>,
    /// When it happened.
    pub happened_at: DateTime<Utc>,
    /// What happened.
    pub body: JsonText,
    /// SHA-256 of what it says.
    pub digest: Vec<u8>,
    /// What the cards said; only when taken.
    pub basis: Option<JsonText>,
    /// `taken`, `adjusted`, `yielded`, `refused` or `parked`.
    pub verdict: &'static str,
    /// Why not taken, or not as it was sent.
    pub code: Option<String>,
    /// The sentence to it.
    pub sentence: Option<String>,
    /// What the phone wrote on the outside, when it wrote more than the columns above hold.
    pub envelope: Option<Value>,
    /// The pointer and the lost fields of the verdict, when there are any.
    pub answer: Option<Value>,
    /// Its place among what its transaction books; only when booked.
    pub booked_line: Option<i32>,
}

/// Another verdict for an entry that was parked.
#[derive(Debug, Clone, PartialEq)]
pub struct Decided {
    /// Which entry.
    pub id: Uuid,
    /// `taken`, `adjusted`, `yielded`, `refused`, or `parked` for another reason.
    pub verdict: &'static str,
    /// Why not taken, or not as it was sent.
    pub code: Option<String>,
    /// The sentence to it.
    pub sentence: Option<String>,
    /// The pointer and the lost fields of the verdict, when there are any.
    pub answer: Option<Value>,
    /// What the cards said; only when booked.
    pub basis: Option<JsonText>,
    /// Its place among what its transaction books; only when booked.
    pub booked_line: Option<i32>,
}

/// The verdicts of entries that are in the books.
pub const BOOKED: [&str; 3] = ["taken", "adjusted", "yielded"];

/// What is known of an entry that is stored already.
#[derive(Debug, Clone, PartialEq, Eq, Queryable, Selectable)]
#[diesel(table_name = entries)]
pub struct Known {
    /// Its id.
    pub entry_id: Uuid,
    /// SHA-256 of what it says.
    pub digest: Vec<u8>,
    /// `taken`, `adjusted`, `yielded`, `refused` or `parked`.
    pub verdict: String,
    /// Why not taken, or not as it was sent.
    pub code: Option<String>,
    /// The sentence to it.
    pub sentence: Option<String>,
    /// The pointer and the lost fields of the verdict.
    pub answer: Option<Value>,
}

/// A stored entry, whole.
#[derive(Debug, Clone, PartialEq, Queryable, Selectable)]
#[diesel(table_name = entries)]
pub struct EntryRecord {
    /// Its id.
    pub entry_id: Uuid,
    /// Its kind.
    pub kind: String,
    /// The form of that kind.
    pub form: i16,
    /// The lane it came by.
    pub lane_id: Option<Uuid>,
    /// Its number there.
    pub n: Option<i64>,
    /// Who wrote it down.
    pub member_id: Uuid,
    /// Where they worked from.
    pub place_id: Option<Uuid>,
    /// When it happened.
    pub happened_at: DateTime<Utc>,
    /// When it came in.
    pub received_at: DateTime<Utc>,
    /// What happened.
    pub body: Value,
    /// `taken`, `adjusted`, `yielded`, `refused` or `parked`.
    pub verdict: String,
    /// Why not taken, or not as it was sent.
    pub code: Option<String>,
    /// The sentence to it.
    pub sentence: Option<String>,
    /// What the cards said.
    pub basis: Option<Value>,
    /// The entry that reversed it.
    pub reversed_by: Option<Uuid>,
    /// What the phone wrote on the outside.
    pub envelope: Option<Value>,
    /// The pointer and the lost fields of the verdict.
    pub answer: Option<Value>,
}

/// Those of these ids that are stored.
///
/// # Errors
/// Those of the database.
pub async fn find_known(tx: &mut Tx, ids: &[Uuid]) -> Result<HashMap<Uuid, Known>, Error> {
    let rows: Vec<Known> = entries::table
        .filter(entries::fleet_id.eq(tx.fleet().0))
        .filter(entries::entry_id.eq_any(ids))
        .select(Known::as_select())
        .load(tx.conn())
        .await?;
    Ok(rows.into_iter().map(|known| (known.entry_id, known)).collect())
}

/// What a lane handed over under these numbers: number, entry.
///
/// # Errors
/// Those of the database.
pub async fn find_by_lane(
    tx: &mut Tx,
    lane: LaneId,
    from: i64,
    to: i64,
) -> Result<HashMap<i64, Known>, Error> {
    let rows: Vec<(Option<i64>, Known)> = entries::table
        .filter(entries::fleet_id.eq(tx.fleet().0))
        .filter(entries::lane_id.eq(lane.0))
        .filter(entries::n.between(from, to))
        .select((entries::n, Known::as_select()))
        .load(tx.conn())
        .await?;
    Ok(rows.into_iter().filter_map(|(n, known)| Some((n?, known))).collect())
}

/// Whole entries of these ids.
///
/// # Errors
/// Those of the database.
pub async fn find_many(tx: &mut Tx, ids: &[Uuid]) -> Result<Vec<EntryRecord>, Error> {
    if ids.is_empty() {
        return Ok(Vec::new());
    }
    Ok(entries::table
        .filter(entries::fleet_id.eq(tx.fleet().0))
        .filter(entries::entry_id.eq_any(ids))
        .select(EntryRecord::as_select())
        .load(tx.conn())
        .await?)
}

/// Entries in id order; of one verdict when asked.
///
/// # Errors
/// Those of the database.
pub async fn list(
    tx: &mut Tx,
    verdict: Option<&str>,
    after: Option<Uuid>,
    limit: i64,
) -> Result<Vec<EntryRecord>, Error> {
    let mut query = entries::table
        .filter(entries::fleet_id.eq(tx.fleet().0))
        .filter(entries::entry_id.gt(after.unwrap_or(Uuid::nil())))
        .into_boxed();
    if let Some(verdict) = verdict {
        query = query.filter(entries::verdict.eq(verdict.to_owned()));
    }
    Ok(query.order(entries::entry_id).limit(limit).select(EntryRecord::as_select()).load(tx.conn()).await?)
}

statement! {
    /// Stores entries.
    struct Append {
        fleet: Uuid,
        lane: Option<Uuid>,
        member: Uuid,
        received_at: DateTime<Utc>,
        turn: i64,
        ids: Vec<Uuid>,
        ns: Vec<Option<i64>>,
        kinds: Vec<String>,
        forms: Vec<i16>,
        places: Vec<Option<Uuid>>,
        happened: Vec<DateTime<Utc>>,
        bodies: Vec<JsonText>,
        digests: Vec<Vec<u8>>,
        bases: Vec<Option<JsonText>>,
        verdicts: Vec<&'static str>,
        codes: Vec<Option<String>>,
        sentences: Vec<Option<String>>,
        envelopes: Vec<Option<Value>>,
        answers: Vec<Option<Value>>,
        lines: Vec<Option<i32>>,
    }
    = "insert into entries (fleet_id, lane_id, member_id, received_at, entry_id, n, kind, form, place_id, happened_at, \
       body, digest, basis, verdict, code, sentence, envelope, answer, booked_line, booked_turn) select " [fleet: sql::Uuid]
      ", " [lane: sql::Nullable<sql::Uuid>]
      ", " [member: sql::Uuid]
      ", " [received_at: sql::Timestamptz]
      ", a.*, case when a.l is not null then " [turn: sql::BigInt]
      " end from unnest(" [ids: sql::Array<sql::Uuid>]
      ", " [ns: sql::Array<sql::Nullable<sql::BigInt>>]
      ", " [kinds: sql::Array<sql::Text>]
      ", " [forms: sql::Array<sql::SmallInt>]
      ", " [places: sql::Array<sql::Nullable<sql::Uuid>>]
      ", " [happened: sql::Array<sql::Timestamptz>]
      ", " [bodies: sql::Array<sql::Json>]
      ", " [digests: sql::Array<sql::Binary>]
      ", " [bases: sql::Array<sql::Nullable<sql::Json>>]
      ", " [verdicts: sql::Array<sql::Text>]
      ", " [codes: sql::Array<sql::Nullable<sql::Text>>]
      ", " [sentences: sql::Array<sql::Nullable<sql::Text>>]
      ", " [envelopes: sql::Array<sql::Nullable<sql::Jsonb>>]
      ", " [answers: sql::Array<sql::Nullable<sql::Jsonb>>]
      ", " [lines: sql::Array<sql::Nullable<sql::Integer>>]
      ") as a(i, n, k, f, p, h, b, d, x, v, c, s, g, w, l)"
}

/// Stores entries of one author. One that meets its twin from another request is to be tried again:
/// the second time it is known.
///
/// # Errors
/// [`Error::Retry`]; those of the database.
pub async fn append(
    tx: &mut Tx,
    new: Vec<NewEntry>,
    member: MemberId,
    lane: Option<LaneId>,
    turn: i64,
    now: DateTime<Utc>,
) -> Result<(), Error> {
    if new.is_empty() {
        return Ok(());
    }
    let mut append = Append {
        fleet: tx.fleet().0,
        lane: lane.map(|lane| lane.0),
        member: member.0,
        received_at: now,
        turn,
        ids: Vec::with_capacity(new.len()),
        ns: Vec::with_capacity(new.len()),
        kinds: Vec::with_capacity(new.len()),
        forms: Vec::with_capacity(new.len()),
        places: Vec::with_capacity(new.len()),
        happened: Vec::with_capacity(new.len()),
        bodies: Vec::with_capacity(new.len()),
        digests: Vec::with_capacity(new.len()),
        bases: Vec::with_capacity(new.len()),
        verdicts: Vec::with_capacity(new.len()),
        codes: Vec::with_capacity(new.len()),
        sentences: Vec::with_capacity(new.len()),
        envelopes: Vec::with_capacity(new.len()),
        answers: Vec::with_capacity(new.len()),
        lines: Vec::with_capacity(new.len()),
    };
    for entry in new {
        append.ids.push(entry.id);
        append.ns.push(entry.n);
        append.kinds.push(entry.kind);
        append.forms.push(entry.form);
        append.places.push(entry.place_id);
        append.happened.push(entry.happened_at);
        append.bodies.push(entry.body);
        append.digests.push(entry.digest);
        append.bases.push(entry.basis);
        append.verdicts.push(entry.verdict);
        append.codes.push(entry.code);
        append.sentences.push(entry.sentence);
        append.envelopes.push(entry.envelope);
        append.answers.push(entry.answer);
        append.lines.push(entry.booked_line);
    }
    match append.execute(tx.conn()).await.map_err(Error::from) {
        Ok(_) => Ok(()),
        Err(Error::Duplicate(what)) => Err(Error::Retry(what)),
        Err(error) => Err(error),
    }
}

statement! {
    /// Notes that entries were reversed; of two reversals at once, one comes back to find it done.
    struct MarkReversed { fleet: Uuid, ids: Vec<Uuid>, by: Vec<Uuid> }
    = "update entries e set reversed_by = r.b from unnest(" [ids: sql::Array<sql::Uuid>]
      ", " [by: sql::Array<sql::Uuid>]
      ") as r(i, b) where e.fleet_id = " [fleet: sql::Uuid]
      " and e.entry_id = r.i and e.reversed_by is null"
}

/// Notes that entries were reversed: which, and by which.
///
/// # Errors
/// [`Error::Retry`] when one was reversed meanwhile.
pub async fn mark_reversed(tx: &mut Tx, reversed: &[(Uuid, Uuid)]) -> Result<(), Error> {
    if reversed.is_empty() {
        return Ok(());
    }
    let mark = MarkReversed {
        fleet: tx.fleet().0,
        ids: reversed.iter().map(|(id, _)| *id).collect(),
        by: reversed.iter().map(|(_, by)| *by).collect(),
    };
    if mark.execute(tx.conn()).await? == reversed.len() {
        Ok(())
    } else {
        Err(Error::Retry("an entry was reversed twice at once".into()))
    }
}

statement! {
    /// Gives parked entries another verdict.
    struct Decide {
        fleet: Uuid,
        turn: i64,
        ids: Vec<Uuid>,
        verdicts: Vec<&'static str>,
        codes: Vec<Option<String>>,
        sentences: Vec<Option<String>>,
        answers: Vec<Option<Value>>,
        bases: Vec<Option<JsonText>>,
        lines: Vec<Option<i32>>,
    }
    = "update entries e set verdict = d.v, code = d.c, sentence = d.s, answer = d.w, basis = d.b, booked_line = d.l, \
       booked_turn = case when d.l is not null then " [turn: sql::BigInt]
      " end from unnest(" [ids: sql::Array<sql::Uuid>]
      ", " [verdicts: sql::Array<sql::Text>]
      ", " [codes: sql::Array<sql::Nullable<sql::Text>>]
      ", " [sentences: sql::Array<sql::Nullable<sql::Text>>]
      ", " [answers: sql::Array<sql::Nullable<sql::Jsonb>>]
      ", " [bases: sql::Array<sql::Nullable<sql::Json>>]
      ", " [lines: sql::Array<sql::Nullable<sql::Integer>>]
      ") as d(i, v, c, s, w, b, l) where e.fleet_id = " [fleet: sql::Uuid]
      " and e.entry_id = d.i and e.verdict = 'parked'"
}

/// Gives parked entries, whose rows in `parked` are held, another verdict.
///
/// # Errors
/// Those of the database; [`Error::Internal`] when one of them was not parked.
pub async fn decide(tx: &mut Tx, decided: Vec<Decided>, turn: i64) -> Result<(), Error> {
    if decided.is_empty() {
        return Ok(());
    }
    let count = decided.len();
    let mut decide = Decide {
        fleet: tx.fleet().0,
        turn,
        ids: Vec::with_capacity(count),
        verdicts: Vec::with_capacity(count),
        codes: Vec::with_capacity(count),
        sentences: Vec::with_capacity(count),
        answers: Vec::with_capacity(count),
        bases: Vec::with_capacity(count),
        lines: Vec::with_capacity(count),
    };
    for entry in decided {
        decide.ids.push(entry.id);
        decide.verdicts.push(entry.verdict);
        decide.codes.push(entry.code);
        decide.sentences.push(entry.sentence);
        decide.answers.push(entry.answer);
        decide.bases.push(entry.basis);
        decide.lines.push(entry.booked_line);
    }
    match decide.execute(tx.conn()).await? {
        written if written == count => Ok(()),
        written => Err(Error::internal(format!("{written} of {count} parked entries were there to decide"))),
    }
}

/// Notes who of the office decided on an entry.
///
/// # Errors
/// Those of the database.
pub async fn note_decider(tx: &mut Tx, id: Uuid, by: MemberId, now: DateTime<Utc>) -> Result<(), Error> {
    diesel::update(entries::table.find((tx.fleet().0, id)))
        .set((entries::decided_by.eq(by.0), entries::decided_at.eq(now)))
        .execute(tx.conn())
        .await?;
    Ok(())
}

statement! {
    /// The next number of the order of booking.
    struct NextTurn {} -> sql::BigInt
    = "select nextval('entry_turns')"
}

/// The number of this transaction in the order of booking. To be drawn when everything it changes is
/// held: of two transactions that change the same thing, the later then has the higher number.
///
/// # Errors
/// Those of the database.
pub async fn next_turn(tx: &mut Tx) -> Result<i64, Error> {
    Ok(NextTurn {}.get_result(tx.conn()).await?)
}

/// A place in the order of booking.
pub type Booked = (i64, i32);

/// Booked entries in the order they were booked, after a place in it.
///
/// # Errors
/// Those of the database.
pub async fn list_in_order(
    tx: &mut Tx,
    (turn, line): Booked,
    limit: i64,
) -> Result<Vec<(Booked, EntryRecord)>, Error> {
    let place = (entries::booked_turn.assume_not_null(), entries::booked_line.assume_not_null());
    Ok(entries::table
        .filter(entries::fleet_id.eq(tx.fleet().0))
        .filter(entries::verdict.eq_any(BOOKED))
        .filter(entries::booked_line.is_not_null())
        .filter(
            entries::booked_turn
                .gt(turn)
                .or(entries::booked_turn.eq(turn).and(entries::booked_line.gt(line))),
        )
        .order((entries::booked_turn, entries::booked_line))
        .limit(limit)
        .select((place, EntryRecord::as_select()))
        .load(tx.conn())
        .await?)
}
