//! What came from a phone that may not hand over: not judged, not booked, not lost.

use super::Tx;
use super::schema::set_aside;
use crate::error::Error;
use crate::ids::{LaneId, MemberId};
use chrono::{DateTime, Utc};
use diesel::prelude::*;
use diesel::sql_types as sql;
use diesel_async::RunQueryDsl;
use serde_json::Value;
use uuid::Uuid;

/// An entry that was set aside.
#[derive(Debug, Clone, PartialEq, Queryable, Selectable)]
#[diesel(table_name = set_aside)]
pub struct SetAside {
    /// Its place on the list; not the entry's id, which may stand for something else.
    pub set_aside_id: Uuid,
    /// The lane it came by.
    pub lane_id: Uuid,
    /// Whose phone.
    pub member_id: Uuid,
    /// Where they worked from.
    pub place_id: Option<Uuid>,
    /// The entry's id.
    pub entry_id: Uuid,
    /// SHA-256 of what it says.
    pub digest: Vec<u8>,
    /// What it says, whole.
    pub entry: Value,
    /// `lane_shared` or `device_revoked`.
    pub why: String,
    /// Since when.
    pub set_aside_at: DateTime<Utc>,
    /// `booked`, `dropped` or `arrived`.
    pub decision: Option<String>,
    /// The entry it was booked as.
    pub booked_as: Option<Uuid>,
}

statement! {
    /// Sets entries aside once each, as long as there is room in the lane.
    struct Insert {
        fleet: Uuid,
        lane: Uuid,
        member: Uuid,
        place: Option<Uuid>,
        why: &'static str,
        now: DateTime<Utc>,
        room: i64,
        ids: Vec<Uuid>,
        entry_ids: Vec<Uuid>,
        digests: Vec<Vec<u8>>,
        entries: Vec<Value>,
    }
    = "insert into set_aside (fleet_id, lane_id, member_id, place_id, why, set_aside_at, set_aside_id, entry_id, digest, entry) \
       select " [fleet: sql::Uuid]
      ", " [lane: sql::Uuid]
      ", " [member: sql::Uuid]
      ", " [place: sql::Nullable<sql::Uuid>]
      ", " [why: sql::Text]
      ", " [now: sql::Timestamptz]
      ", a.s, a.i, a.d, a.e from unnest(" [ids: sql::Array<sql::Uuid>]
      ", " [entry_ids: sql::Array<sql::Uuid>]
      ", " [digests: sql::Array<sql::Binary>]
      ", " [entries: sql::Array<sql::Jsonb>]
      ") with ordinality as a(s, i, d, e, o) order by a.o limit greatest(0, " [room: sql::BigInt]
      " - (select count(*) from set_aside where fleet_id = " [fleet: sql::Uuid]
      " and lane_id = " [lane: sql::Uuid]
      ")) on conflict (fleet_id, lane_id, entry_id, digest) do nothing"
}

/// What is set aside, and where it came from.
#[derive(Debug)]
pub struct NewSetAside {
    /// Its place on the list.
    pub id: Uuid,
    /// The entry's id.
    pub entry_id: Uuid,
    /// SHA-256 of what it says.
    pub digest: Vec<u8>,
    /// What it says, whole.
    pub entry: Value,
}

/// Where entries that are set aside came from.
#[derive(Debug, Clone, Copy)]
pub struct Origin {
    /// The lane.
    pub lane: LaneId,
    /// Whose phone.
    pub member: MemberId,
    /// Where they work from.
    pub place: Option<Uuid>,
    /// `lane_shared` or `device_revoked`.
    pub why: &'static str,
}

/// Sets entries of a lane aside, each once; beyond `room` in all, none is added.
///
/// # Errors
/// Those of the database.
pub async fn insert(
    tx: &mut Tx,
    from: Origin,
    new: Vec<NewSetAside>,
    room: i64,
    now: DateTime<Utc>,
) -> Result<(), Error> {
    if new.is_empty() {
        return Ok(());
    }
    let mut insert = Insert {
        fleet: tx.fleet().0,
        lane: from.lane.0,
        member: from.member.0,
        place: from.place,
        why: from.why,
        now,
        room,
        ids: Vec::with_capacity(new.len()),
        entry_ids: Vec::with_capacity(new.len()),
        digests: Vec::with_capacity(new.len()),
        entries: Vec::with_capacity(new.len()),
    };
    for entry in new {
        insert.ids.push(entry.id);
        insert.entry_ids.push(entry.entry_id);
        insert.digests.push(entry.digest);
        insert.entries.push(entry.entry);
    }
    insert.execute(tx.conn()).await?;
    Ok(())
}

statement! {
    /// What has arrived properly leaves the list.
    struct Arrived { fleet: Uuid, now: DateTime<Utc>, ids: Vec<Uuid> }
    = "update set_aside s set decision = 'arrived', decided_at = " [now: sql::Timestamptz]
      " from entries e where s.fleet_id = " [fleet: sql::Uuid]
      " and s.entry_id = any(" [ids: sql::Array<sql::Uuid>]
      ") and s.decision is null and e.fleet_id = s.fleet_id and e.entry_id = s.entry_id and e.digest = s.digest"
}

/// Takes those of these entries off the list that are stored with the same content.
///
/// # Errors
/// Those of the database.
pub async fn note_arrived(tx: &mut Tx, ids: &[Uuid], now: DateTime<Utc>) -> Result<(), Error> {
    if !ids.is_empty() {
        Arrived { fleet: tx.fleet().0, now, ids: ids.to_vec() }.execute(tx.conn()).await?;
    }
    Ok(())
}

/// One of the list, held until the transaction ends.
///
/// # Errors
/// [`Error::NotFound`].
pub async fn lock(tx: &mut Tx, id: Uuid) -> Result<SetAside, Error> {
    Ok(set_aside::table
        .find((tx.fleet().0, id))
        .select(SetAside::as_select())
        .for_update()
        .first(tx.conn())
        .await?)
}

/// The office has decided.
///
/// # Errors
/// Those of the database.
pub async fn decide(
    tx: &mut Tx,
    id: Uuid,
    decision: &'static str,
    booked_as: Option<Uuid>,
    by: MemberId,
    now: DateTime<Utc>,
) -> Result<(), Error> {
    diesel::update(set_aside::table.find((tx.fleet().0, id)))
        .set((
            set_aside::decision.eq(decision),
            set_aside::booked_as.eq(booked_as),
            set_aside::decided_by.eq(by.0),
            set_aside::decided_at.eq(now),
        ))
        .execute(tx.conn())
        .await?;
    Ok(())
}

/// Those without a decision, in order of their place on the list.
///
/// # Errors
/// Those of the database.
pub async fn list(tx: &mut Tx, after: Option<Uuid>, limit: i64) -> Result<Vec<SetAside>, Error> {
    Ok(set_aside::table
        .filter(set_aside::fleet_id.eq(tx.fleet().0))
        .filter(set_aside::decision.is_null())
        .filter(set_aside::set_aside_id.gt(after.unwrap_or(Uuid::nil())))
        .order(set_aside::set_aside_id)
        .limit(limit)
        .select(SetAside::as_select())
        .load(tx.conn())
        .await?)
}
