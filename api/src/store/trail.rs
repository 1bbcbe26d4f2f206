//! The trail: what changed, in commit order, without gaps.

use super::db::limited;
use super::{Db, Tx};
use crate::error::Error;
use crate::ids::FleetId;
use diesel::sql_types as sql;
use diesel_async::RunQueryDsl;
use serde_json::Value;
use std::collections::HashMap;
use uuid::Uuid;

/// What an audience is told of a record.
#[derive(Debug, Clone, PartialEq)]
pub enum Told {
    /// How it stands, without money.
    Here(Value),
    /// That another audience has it now.
    Left,
    /// That nobody has it any more.
    Deleted,
}

impl Told {
    const fn word(&self) -> &'static str {
        match self {
            Self::Here(_) => "here",
            Self::Left => "left",
            Self::Deleted => "deleted",
        }
    }
}

/// The latest state of one record, as one audience may see it.
#[derive(Debug, Clone, PartialEq)]
pub struct TrailRow {
    /// The fleet, a van or a member.
    pub audience_id: Uuid,
    /// The record.
    pub record_id: Uuid,
    /// What kind of record: a card's kind, `entry`, `container_level`, `pad_state` …
    pub kind: &'static str,
    /// What is told of it.
    pub told: Told,
}

impl TrailRow {
    /// How a record stands.
    #[must_use]
    pub const fn here(audience_id: Uuid, kind: &'static str, record_id: Uuid, body: Value) -> Self {
        Self { audience_id, record_id, kind, told: Told::Here(body) }
    }

    /// A record that another audience has now.
    #[must_use]
    pub const fn left(audience_id: Uuid, kind: &'static str, record_id: Uuid) -> Self {
        Self { audience_id, record_id, kind, told: Told::Left }
    }

    /// A record that nobody has any more.
    #[must_use]
    pub const fn deleted(audience_id: Uuid, kind: &'static str, record_id: Uuid) -> Self {
        Self { audience_id, record_id, kind, told: Told::Deleted }
    }
}

/// One row as it is read back.
#[derive(Debug, Clone)]
pub struct TrailLine {
    /// Whose: the fleet, a van or a member.
    pub audience_id: Uuid,
    /// The record.
    pub record_id: Uuid,
    /// Its kind.
    pub kind: String,
    /// Its place in the trail.
    pub position: i64,
    /// The head when its transaction ended.
    pub turn: i64,
    /// `here`, `left` or `deleted`.
    pub state: String,
    /// Its body, as JSON text: it only passes through.
    pub body: String,
    /// What it and the rows before it in the same answer take on the wire.
    pub bytes: i64,
}

statement! {
    /// Takes the fleet's counter and writes the rows with the positions it gives, in one statement.
    struct Stamp {
        fleet: Uuid,
        count: i64,
        audiences: Vec<Uuid>,
        records: Vec<Uuid>,
        kinds: Vec<&'static str>,
        states: Vec<&'static str>,
        bodies: Vec<Value>,
    }
    -> (sql::BigInt, sql::BigInt)
    = "with h as (update heads set head = head + " [count: sql::BigInt]
      " where fleet_id = " [fleet: sql::Uuid]
      " returning head), \
       w as (insert into trail (fleet_id, audience_id, record_id, kind, position, turn, state, body) \
       select " [fleet: sql::Uuid]
      ", t.a, t.r, t.k, h.head - " [count: sql::BigInt]
      " + t.o, h.head, t.s, t.b from h, unnest(" [audiences: sql::Array<sql::Uuid>]
      ", " [records: sql::Array<sql::Uuid>]
      ", " [kinds: sql::Array<sql::Text>]
      ", " [states: sql::Array<sql::Text>]
      ", " [bodies: sql::Array<sql::Json>]
      ") with ordinality as t(a, r, k, s, b, o) \
       on conflict (fleet_id, audience_id, kind, record_id) \
       do update set position = excluded.position, turn = excluded.turn, state = excluded.state, \
       told_at = excluded.told_at, body = excluded.body \
       returning 1) select h.head, (select count(*) from w) from h"
}

/// Writes the rows as the last thing a transaction does, and answers the head when it has moved. Of
/// several states of one record the last counts.
pub(super) async fn stamp(tx: &mut Tx, rows: Vec<TrailRow>) -> Result<Option<i64>, Error> {
    if rows.is_empty() {
        return Ok(None);
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
        states: Vec::with_capacity(last.len()),
        bodies: Vec::with_capacity(last.len()),
    };
    for (i, row) in rows.into_iter().enumerate() {
        if last.get(&(row.audience_id, row.record_id, row.kind)) == Some(&i) {
            statement.audiences.push(row.audience_id);
            statement.records.push(row.record_id);
            statement.kinds.push(row.kind);
            statement.states.push(row.told.word());
            statement.bodies.push(match row.told {
                Told::Here(body) => body,
                Told::Left | Told::Deleted => Value::Object(serde_json::Map::new()),
            });
        }
    }
    let expected = statement.count;
    let (head, written): (i64, i64) = statement.get_result(tx.conn()).await?;
    if written == expected {
        Ok(Some(head))
    } else {
        Err(Error::internal(format!("the trail took {written} of {expected} rows")))
    }
}

/// What surrounds a row's body on the wire, at most: names, ids, numbers.
pub(super) const ENVELOPE_BYTES: i64 = 260;

statement! {
    /// The next rows of each audience by its own index, merged: never more is read than may be answered.
    /// A row comes with the bytes that it and those before it take; what follows the first row beyond
    /// the limit stays in the database. The second always comes: it says that the first was not the last.
    struct After { fleet: Uuid, audiences: Vec<Uuid>, position: i64, room: i64, envelope: i64, bytes: i64 }
    -> (sql::Uuid, sql::Uuid, sql::Text, sql::BigInt, sql::BigInt, sql::Text, sql::Text, sql::BigInt)
    = "select audience_id, record_id, kind, position, turn, state, said, total from (\
       select *, sum(octet_length(said) + " [envelope: sql::BigInt]
      ") over (order by position)::bigint as total, row_number() over (order by position) as nth from (\
       select t.audience_id, t.record_id, t.kind, t.position, t.turn, t.state, t.body::text as said from unnest("
      [audiences: sql::Array<sql::Uuid>]
      ") a cross join lateral (select * from trail where fleet_id = " [fleet: sql::Uuid]
      " and audience_id = a and position > " [position: sql::BigInt]
      " order by position limit " [room: sql::BigInt]
      ") t order by t.position limit " [room: sql::BigInt]
      ") page) sized where total - octet_length(said) - " [envelope: sql::BigInt]
      " <= " [bytes: sql::BigInt]
      " or nth = 2 order by position"
}

/// Up to `room` rows of these audiences after a position, in order: those that fit in `bytes` with what
/// surrounds them on the wire, and the first that does not.
///
/// # Errors
/// Those of the database.
pub async fn after(
    tx: &mut Tx,
    audiences: Vec<Uuid>,
    position: i64,
    room: i64,
    bytes: i64,
) -> Result<Vec<TrailLine>, Error> {
    let asked = After { fleet: tx.fleet().0, audiences, position, room, envelope: ENVELOPE_BYTES, bytes };
    Ok(asked.load::<LineRow>(tx.conn()).await?.into_iter().map(line).collect())
}

/// A row as the statements of this file answer it.
pub(super) type LineRow = (Uuid, Uuid, String, i64, i64, String, String, i64);

pub(super) fn line(row: LineRow) -> TrailLine {
    let (audience_id, record_id, kind, position, turn, state, body, bytes) = row;
    TrailLine { audience_id, record_id, kind, position, turn, state, body, bytes }
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
