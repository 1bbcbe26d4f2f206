//! The fleet's head and the trail: what changed, in commit order, without gaps.

use super::db::limited;
use super::schema::heads;
use super::{Db, Tx};
use crate::error::Error;
use crate::ids::FleetId;
use diesel::prelude::*;
use diesel::sql_types as sql;
use diesel_async::RunQueryDsl;
use serde_json::Value;
use std::collections::HashMap;
use uuid::Uuid;

/// The latest state of one record, as one audience may see it.
#[derive(Debug, Clone, PartialEq)]
pub struct TrailRow {
    /// The fleet, a van or a member.
    pub audience_id: Uuid,
    /// The record.
    pub record_id: Uuid,
    /// What kind of record: a card's kind, `entry`, `container_level`, `pad_state` …
    pub kind: &'static str,
    /// The state, without money.
    pub body: Value,
}

/// One row as it is read back.
#[derive(Debug, Clone)]
pub struct TrailLine {
    /// The record.
    pub record_id: Uuid,
    /// Its kind.
    pub kind: String,
    /// Its place in the trail.
    pub position: i64,
    /// The head when its transaction ended.
    pub turn: i64,
    /// Its state, as JSON text: it only passes through.
    pub body: String,
}

statement! {
    /// Takes the fleet's counter and writes the rows with the positions it gives, in one statement.
    struct Stamp {
        fleet: Uuid,
        count: i64,
        audiences: Vec<Uuid>,
        records: Vec<Uuid>,
        kinds: Vec<&'static str>,
        bodies: Vec<Value>,
    }
    = "with h as (update heads set head = head + " [count: sql::BigInt]
      " where fleet_id = " [fleet: sql::Uuid]
      " returning head) \
       insert into trail (fleet_id, audience_id, record_id, kind, position, turn, body) \
       select " [fleet: sql::Uuid]
      ", t.a, t.r, t.k, h.head - " [count: sql::BigInt]
      " + t.o, h.head, t.b from h, unnest(" [audiences: sql::Array<sql::Uuid>]
      ", " [records: sql::Array<sql::Uuid>]
      ", " [kinds: sql::Array<sql::Text>]
      ", " [bodies: sql::Array<sql::Json>]
      ") with ordinality as t(a, r, k, b, o) \
       on conflict (fleet_id, audience_id, record_id, kind) \
       do update set position = excluded.position, turn = excluded.turn, body = excluded.body"
}

/// Writes the rows as the last thing a transaction does. Of several states of one record the last counts.
pub(super) async fn stamp(tx: &mut Tx, rows: Vec<TrailRow>) -> Result<(), Error> {
    if rows.is_empty() {
        return Ok(());
    }
    let mut last: HashMap<(Uuid, Uuid, &'static str), usize> = HashMap::with_capacity(rows.len());
    for (i, row) in rows.iter().enumerate() {
        last.insert((row.audience_id, row.record_id, row.kind), i);
    }
    let mut statement = Stamp {
        fleet: tx.fleet().0,
        count: i64::try_from(last.len()).map_err(Error::internal)?,
        audiences: Vec::with_capacity(last.len()),
        records: Vec::with_capacity(last.len()),
        kinds: Vec::with_capacity(last.len()),
        bodies: Vec::with_capacity(last.len()),
    };
    for (i, row) in rows.into_iter().enumerate() {
        if last.get(&(row.audience_id, row.record_id, row.kind)) == Some(&i) {
            statement.audiences.push(row.audience_id);
            statement.records.push(row.record_id);
            statement.kinds.push(row.kind);
            statement.bodies.push(row.body);
        }
    }
    let expected = statement.count;
    let written = statement.execute(tx.conn()).await?;
    if i64::try_from(written).ok() == Some(expected) {
        Ok(())
    } else {
        Err(Error::internal(format!("the trail took {written} of {expected} rows")))
    }
}

/// Starts the counter of a new fleet.
///
/// # Errors
/// Those of the database.
pub async fn start(tx: &mut Tx) -> Result<(), Error> {
    let row = (heads::fleet_id.eq(tx.fleet().0), heads::head.eq(0_i64));
    diesel::insert_into(heads::table).values(row).execute(tx.conn()).await?;
    Ok(())
}

/// The fleet's head now.
///
/// # Errors
/// Those of the database.
pub async fn head(tx: &mut Tx) -> Result<i64, Error> {
    Ok(heads::table.find(tx.fleet().0).select(heads::head).first(tx.conn()).await?)
}

statement! {
    /// The next rows of each audience by its own index, merged: never more is read than may be answered.
    struct After { fleet: Uuid, audiences: Vec<Uuid>, position: i64, room: i64 }
    -> (sql::Uuid, sql::Text, sql::BigInt, sql::BigInt, sql::Text)
    = "select t.record_id, t.kind, t.position, t.turn, t.body::text from unnest(" [audiences: sql::Array<sql::Uuid>]
      ") a cross join lateral (select * from trail where fleet_id = " [fleet: sql::Uuid]
      " and audience_id = a and position > " [position: sql::BigInt]
      " order by position limit " [room: sql::BigInt]
      ") t order by t.position limit " [room: sql::BigInt]
}

/// Up to `room` rows of these audiences after a position, in order.
///
/// # Errors
/// Those of the database.
pub async fn after(
    tx: &mut Tx,
    audiences: Vec<Uuid>,
    position: i64,
    room: i64,
) -> Result<Vec<TrailLine>, Error> {
    let rows: Vec<(Uuid, String, i64, i64, String)> =
        After { fleet: tx.fleet().0, audiences, position, room }.load(tx.conn()).await?;
    let lines = rows.into_iter().map(|(record_id, kind, position, turn, body)| TrailLine {
        record_id,
        kind,
        position,
        turn,
        body,
    });
    Ok(lines.collect())
}

/// Which fleet a handle belongs to; the one question asked before a fleet is known.
///
/// # Errors
/// Those of the database.
pub async fn fleet_of_handle(db: &Db, handle: &str) -> Result<Option<FleetId>, Error> {
    let ask = async {
        let mut conn = db.loan().await?;
        let found: Option<Uuid> = diesel::select(find_fleet(handle)).get_result(&mut *conn).await?;
        Ok(found.map(FleetId))
    };
    limited(ask).await
}

#[diesel::declare_sql_function]
extern "SQL" {
    /// The door through the second wall: see the first migration.
    #[sql_name = "fleet_of_handle"]
    fn find_fleet(handle: sql::Text) -> sql::Nullable<sql::Uuid>;
}
