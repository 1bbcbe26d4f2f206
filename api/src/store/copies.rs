//! What is here for one audience, walked in the order of the trail's key: for a fresh copy.
//!
//! Tombstones are passed over: a phone with nothing has nothing to take away.

use super::Tx;
use super::schema::trail as rows;
use super::trail::{ENVELOPE_BYTES, LineRow, TrailLine, line};
use crate::error::Error;
use chrono::{DateTime, Utc};
use diesel::dsl::min;
use diesel::prelude::*;
use diesel::sql_types as sql;
use diesel_async::RunQueryDsl;
use uuid::Uuid;

/// How much one answer may hold.
#[derive(Debug, Clone, Copy)]
pub struct Room {
    /// Rows.
    pub rows: i64,
    /// Bytes on the wire; the first row that does not fit still comes.
    pub bytes: i64,
}

statement! {
    /// One kind of one audience, on from a record.
    struct OfKind { fleet: Uuid, audience: Uuid, kind: String, after: Uuid, room: i64, envelope: i64, bytes: i64 }
    -> (sql::Uuid, sql::Uuid, sql::Text, sql::BigInt, sql::BigInt, sql::Text, sql::Text, sql::BigInt)
    = "select audience_id, record_id, kind, position, turn, state, said, total from (\
       select *, sum(octet_length(said) + " [envelope: sql::BigInt]
      ") over (order by record_id)::bigint as total, row_number() over (order by record_id) as nth from (\
       select audience_id, record_id, kind, position, turn, state, body::text as said from trail \
       where fleet_id = " [fleet: sql::Uuid] " and audience_id = " [audience: sql::Uuid]
      " and kind = " [kind: sql::Text] " and record_id > " [after: sql::Uuid]
      " and state = 'here' order by record_id limit " [room: sql::BigInt]
      ") page) sized where total - octet_length(said) - " [envelope: sql::BigInt]
      " <= " [bytes: sql::BigInt] " or nth = 2 order by record_id"
}

/// Rows of one kind of one audience after a record, in order.
///
/// # Errors
/// Those of the database.
pub async fn of_kind(
    tx: &mut Tx,
    audience: Uuid,
    kind: &str,
    after: Uuid,
    room: Room,
) -> Result<Vec<TrailLine>, Error> {
    let asked = OfKind {
        fleet: tx.fleet().0,
        audience,
        kind: kind.to_owned(),
        after,
        room: room.rows,
        envelope: ENVELOPE_BYTES,
        bytes: room.bytes,
    };
    Ok(asked.load::<LineRow>(tx.conn()).await?.into_iter().map(line).collect())
}

statement! {
    /// The jobs of one place that start within a window, as that place is told of them.
    struct JobsWithin {
        fleet: Uuid,
        place: Uuid,
        from: DateTime<Utc>,
        to: DateTime<Utc>,
        after: Uuid,
        room: i64,
        envelope: i64,
        bytes: i64,
    }
    -> (sql::Uuid, sql::Uuid, sql::Text, sql::BigInt, sql::BigInt, sql::Text, sql::Text, sql::BigInt)
    = "select audience_id, record_id, kind, position, turn, state, said, total from (\
       select *, sum(octet_length(said) + " [envelope: sql::BigInt]
      ") over (order by record_id)::bigint as total, row_number() over (order by record_id) as nth from (\
       select t.audience_id, t.record_id, t.kind, t.position, t.turn, t.state, t.body::text as said \
       from jobs j join trail t on t.fleet_id = j.fleet_id and t.audience_id = j.place_id and t.kind = 'job' \
       and t.record_id = j.job_id where j.fleet_id = " [fleet: sql::Uuid] " and j.place_id = " [place: sql::Uuid]
      " and j.starts_at >= " [from: sql::Timestamptz] " and j.starts_at < " [to: sql::Timestamptz]
      " and j.job_id > " [after: sql::Uuid] " and t.state = 'here' order by t.record_id limit "
      [room: sql::BigInt]
      ") page) sized where total - octet_length(said) - " [envelope: sql::BigInt]
      " <= " [bytes: sql::BigInt] " or nth = 2 order by record_id"
}

/// Rows of the jobs of one place that start within a window, after a job, in order.
///
/// # Errors
/// Those of the database.
pub async fn jobs_within(
    tx: &mut Tx,
    place: Uuid,
    (from, to): (DateTime<Utc>, DateTime<Utc>),
    after: Uuid,
    room: Room,
) -> Result<Vec<TrailLine>, Error> {
    let asked = JobsWithin {
        fleet: tx.fleet().0,
        place,
        from,
        to,
        after,
        room: room.rows,
        envelope: ENVELOPE_BYTES,
        bytes: room.bytes,
    };
    Ok(asked.load::<LineRow>(tx.conn()).await?.into_iter().map(line).collect())
}

/// The kind that follows another among what an audience was ever told of, in the order of the key.
///
/// # Errors
/// Those of the database.
pub async fn next_kind(tx: &mut Tx, audience: Uuid, after: &str) -> Result<Option<String>, Error> {
    Ok(rows::table
        .filter(rows::fleet_id.eq(tx.fleet().0))
        .filter(rows::audience_id.eq(audience))
        .filter(rows::kind.gt(after))
        .select(min(rows::kind))
        .first(tx.conn())
        .await?)
}
