//! Parked entries: what each says, whole, and what it waits for.

use super::Tx;
use super::schema::{parked, parked_waits};
use crate::auth::Role;
use crate::error::Error;
use crate::ids::MemberId;
use chrono::{DateTime, Utc};
use diesel::dsl::exists;
use diesel::prelude::*;
use diesel::sql_types as sql;
use diesel_async::RunQueryDsl;
use serde_json::Value;
use std::collections::HashMap;
use uuid::Uuid;

/// An entry to be parked.
#[derive(Debug, Clone, PartialEq)]
pub struct NewParked {
    /// Its id; the entry is stored already.
    pub id: Uuid,
    /// What it says, whole.
    pub entry: Value,
    /// The entries and containers it waits for.
    pub waits: Vec<Uuid>,
    /// Whether the next handover of the fleet shall look at it.
    pub look: bool,
}

/// A parked entry with whoever wrote it down.
#[derive(Debug, Clone)]
pub struct ParkedRecord {
    /// Its id.
    pub id: Uuid,
    /// What it says, whole.
    pub entry: Value,
    /// SHA-256 of what it says.
    pub digest: Vec<u8>,
    /// The lane it came by.
    pub lane_id: Option<Uuid>,
    /// Its number there.
    pub n: Option<i64>,
    /// Who wrote it down.
    pub member: MemberId,
    /// Where they worked from.
    pub place_id: Option<Uuid>,
    /// What they may do now.
    pub role: Role,
    /// Why it is parked.
    pub code: String,
    /// Since when.
    pub parked_at: DateTime<Utc>,
    /// Whether it is to be looked at.
    pub look: bool,
}

type Row = (
    Uuid,
    Value,
    Vec<u8>,
    Option<Uuid>,
    Option<i64>,
    Uuid,
    Option<Uuid>,
    String,
    Option<String>,
    DateTime<Utc>,
    bool,
);

fn record(row: Row) -> Result<ParkedRecord, Error> {
    let (id, entry, digest, lane_id, n, member, place_id, role, code, parked_at, look) = row;
    Ok(ParkedRecord {
        id,
        entry,
        digest,
        lane_id,
        n,
        member: MemberId(member),
        place_id,
        role: Role::from_word(&role).ok_or_else(|| Error::internal("unknown role in the members table"))?,
        code: code.unwrap_or_default(),
        parked_at,
        look,
    })
}

/// Whether anything of the fleet is parked.
///
/// # Errors
/// Those of the database.
pub async fn is_any(tx: &mut Tx) -> Result<bool, Error> {
    let of_fleet = parked::table.filter(parked::fleet_id.eq(tx.fleet().0));
    Ok(diesel::select(exists(of_fleet)).get_result(tx.conn()).await?)
}

statement! {
    /// Parked entries that may be booked now, held until the transaction ends, lane by lane in order.
    struct Due { fleet: Uuid, whats: Vec<Uuid>, kinds: Vec<&'static str>, forms: Vec<i16>, but: Vec<Uuid>, room: i64 }
    -> (
        sql::Uuid, sql::Jsonb, sql::Binary, sql::Nullable<sql::Uuid>, sql::Nullable<sql::BigInt>, sql::Uuid,
        sql::Nullable<sql::Uuid>, sql::Text, sql::Nullable<sql::Text>, sql::Timestamptz, sql::Bool
    )
    = "select p.entry_id, p.entry, e.digest, e.lane_id, e.n, e.member_id, e.place_id, m.role, e.code, p.parked_at, p.look \
       from parked p join entries e using (fleet_id, entry_id) join members m using (fleet_id, member_id) \
       where p.fleet_id = " [fleet: sql::Uuid]
      " and p.entry_id in (select entry_id from parked where fleet_id = " [fleet: sql::Uuid]
      " and look union select entry_id from parked_waits where fleet_id = " [fleet: sql::Uuid]
      " and what = any(" [whats: sql::Array<sql::Uuid>]
      ") union select u.entry_id from entries u join unnest(" [kinds: sql::Array<sql::Text>]
      ", " [forms: sql::Array<sql::SmallInt>]
      ") as k(kind, form) on u.kind = k.kind and u.form <= k.form where u.fleet_id = " [fleet: sql::Uuid]
      " and u.verdict = 'parked' and u.code = 'unknown_kind') and p.entry_id <> all(" [but: sql::Array<sql::Uuid>]
      ") and e.code is distinct from 'author_removed' order by e.lane_id, e.n limit " [room: sql::BigInt]
      " for update of p"
}

statement! {
    /// One parked entry.
    struct One { fleet: Uuid, id: Uuid }
    -> (
        sql::Uuid, sql::Jsonb, sql::Binary, sql::Nullable<sql::Uuid>, sql::Nullable<sql::BigInt>, sql::Uuid,
        sql::Nullable<sql::Uuid>, sql::Text, sql::Nullable<sql::Text>, sql::Timestamptz, sql::Bool
    )
    = "select p.entry_id, p.entry, e.digest, e.lane_id, e.n, e.member_id, e.place_id, m.role, e.code, p.parked_at, p.look \
       from parked p join entries e using (fleet_id, entry_id) join members m using (fleet_id, member_id) \
       where p.fleet_id = " [fleet: sql::Uuid]
      " and p.entry_id = " [id: sql::Uuid]
}

/// Up to `room` parked entries that may be booked now, held until the transaction ends: those to be
/// looked at, those that wait for one of `whats`, and those of a kind and form that is known by now.
/// Without those of `but`, and without what only the office decides on.
///
/// # Errors
/// Those of the database.
pub async fn lock_due(
    tx: &mut Tx,
    whats: &[Uuid],
    known: &[(&'static str, i16)],
    but: &[Uuid],
    room: i64,
) -> Result<Vec<ParkedRecord>, Error> {
    let due = Due {
        fleet: tx.fleet().0,
        whats: whats.to_vec(),
        kinds: known.iter().map(|(kind, _)| *kind).collect(),
        forms: known.iter().map(|(_, form)| *form).collect(),
        but: but.to_vec(),
        room,
    };
    let rows: Vec<Row> = due.load(tx.conn()).await?;
    rows.into_iter().map(record).collect()
}

/// One parked entry, held until the transaction ends.
///
/// # Errors
/// Those of the database.
pub async fn lock(tx: &mut Tx, id: Uuid) -> Result<Option<ParkedRecord>, Error> {
    let held: Option<Uuid> = parked::table
        .find((tx.fleet().0, id))
        .select(parked::entry_id)
        .for_update()
        .first(tx.conn())
        .await
        .optional()?;
    if held.is_none() {
        return Ok(None);
    }
    // Only now: what it was parked for may have changed while another transaction held it.
    let row: Row = One { fleet: tx.fleet().0, id }.get_result(tx.conn()).await?;
    record(row).map(Some)
}

/// What parked entries wait for.
///
/// # Errors
/// Those of the database.
pub async fn waits_of(tx: &mut Tx, ids: &[Uuid]) -> Result<HashMap<Uuid, Vec<Uuid>>, Error> {
    let rows: Vec<(Uuid, Uuid)> = parked_waits::table
        .filter(parked_waits::fleet_id.eq(tx.fleet().0))
        .filter(parked_waits::entry_id.eq_any(ids))
        .select((parked_waits::entry_id, parked_waits::what))
        .load(tx.conn())
        .await?;
    let mut waits: HashMap<Uuid, Vec<Uuid>> = HashMap::new();
    for (id, what) in rows {
        waits.entry(id).or_default().push(what);
    }
    Ok(waits)
}

/// Keeps what parked entries say.
///
/// # Errors
/// Those of the database.
pub async fn insert(tx: &mut Tx, new: Vec<NewParked>, now: DateTime<Utc>) -> Result<(), Error> {
    if new.is_empty() {
        return Ok(());
    }
    let fleet = tx.fleet().0;
    let waits: Vec<(Uuid, Vec<Uuid>)> = new.iter().map(|entry| (entry.id, entry.waits.clone())).collect();
    let rows: Vec<_> = new
        .into_iter()
        .map(|entry| {
            (
                parked::fleet_id.eq(fleet),
                parked::entry_id.eq(entry.id),
                parked::entry.eq(entry.entry),
                parked::parked_at.eq(now),
                parked::look.eq(entry.look),
            )
        })
        .collect();
    diesel::insert_into(parked::table).values(rows).execute(tx.conn()).await?;
    insert_waits(tx, &waits).await
}

/// Lets entries that stay parked wait for something else.
///
/// # Errors
/// Those of the database.
pub async fn wait_for(tx: &mut Tx, waits: &[(Uuid, Vec<Uuid>)]) -> Result<(), Error> {
    if waits.is_empty() {
        return Ok(());
    }
    let ids: Vec<Uuid> = waits.iter().map(|(id, _)| *id).collect();
    let of = parked_waits::table
        .filter(parked_waits::fleet_id.eq(tx.fleet().0))
        .filter(parked_waits::entry_id.eq_any(&ids));
    diesel::delete(of).execute(tx.conn()).await?;
    look(tx, &ids, false).await?;
    insert_waits(tx, waits).await
}

async fn insert_waits(tx: &mut Tx, waits: &[(Uuid, Vec<Uuid>)]) -> Result<(), Error> {
    let fleet = tx.fleet().0;
    let rows: Vec<_> = waits
        .iter()
        .flat_map(|(id, whats)| whats.iter().map(|what| (*id, *what)))
        .map(|(id, what)| {
            (parked_waits::fleet_id.eq(fleet), parked_waits::entry_id.eq(id), parked_waits::what.eq(what))
        })
        .collect();
    if !rows.is_empty() {
        let insert = diesel::insert_into(parked_waits::table).values(rows).on_conflict_do_nothing();
        insert.execute(tx.conn()).await?;
    }
    Ok(())
}

/// These are parked no more.
///
/// # Errors
/// Those of the database.
pub async fn remove(tx: &mut Tx, ids: &[Uuid]) -> Result<(), Error> {
    if !ids.is_empty() {
        let of = parked::table.filter(parked::fleet_id.eq(tx.fleet().0)).filter(parked::entry_id.eq_any(ids));
        diesel::delete(of).execute(tx.conn()).await?;
    }
    Ok(())
}

/// Whether the next handover shall look at these.
///
/// # Errors
/// Those of the database.
pub async fn look(tx: &mut Tx, ids: &[Uuid], look: bool) -> Result<(), Error> {
    if !ids.is_empty() {
        let of = parked::table.filter(parked::fleet_id.eq(tx.fleet().0)).filter(parked::entry_id.eq_any(ids));
        diesel::update(of).set(parked::look.eq(look)).execute(tx.conn()).await?;
    }
    Ok(())
}

/// Parked entries that wait for one of these, without those of `but`; at most a thousand.
///
/// # Errors
/// Those of the database.
pub async fn waiting_for(tx: &mut Tx, whats: &[Uuid], but: &[Uuid]) -> Result<Vec<Uuid>, Error> {
    Ok(parked_waits::table
        .filter(parked_waits::fleet_id.eq(tx.fleet().0))
        .filter(parked_waits::what.eq_any(whats))
        .filter(parked_waits::entry_id.ne_all(but))
        .select(parked_waits::entry_id)
        .distinct()
        .limit(1_000)
        .load(tx.conn())
        .await?)
}
