//! How far the log has got here and on a standby, and which of a lane's entries came before an instant.

use super::schema::heads;
use super::{Db, Tx};
use crate::error::Error;
use crate::ids::LaneId;
use chrono::{DateTime, Utc};
use diesel::prelude::*;
use diesel::sql_types as sql;
use diesel_async::RunQueryDsl;
use uuid::Uuid;

statement! {
    /// Bytes of log that are on this disk, and that the standby has replayed.
    struct LogEnds { standby: String } -> (sql::BigInt, sql::Nullable<sql::BigInt>)
    = "select (pg_current_wal_flush_lsn() - '0/0'::pg_lsn)::bigint, standby_replay_lsn(" [standby: sql::Text] ")"
}

/// How many bytes of log are flushed here, and replayed by the standby of that name if it is seen.
///
/// # Errors
/// Those of the database.
pub async fn log_ends(db: &Db, standby: &str) -> Result<(i64, Option<i64>), Error> {
    let mut conn = db.loan().await?;
    Ok(LogEnds { standby: standby.to_owned() }.get_result(&mut *conn).await?)
}

/// Up to when a verified backup covers this database.
///
/// # Errors
/// Those of the database.
pub async fn backed_up_to(tx: &mut Tx) -> Result<Option<DateTime<Utc>>, Error> {
    Ok(heads::table.find(tx.fleet().0).select(heads::backed_up_to).first(tx.conn()).await?)
}

/// Notes up to when a verified backup covers this database.
///
/// # Errors
/// Those of the database.
pub async fn save_backed_up_to(tx: &mut Tx, to: DateTime<Utc>) -> Result<(), Error> {
    let fleet = heads::table.find(tx.fleet().0);
    diesel::update(fleet).set(heads::backed_up_to.eq(to)).execute(tx.conn()).await?;
    Ok(())
}

statement! {
    /// From what is known to be covered, on through the entries received before an instant, to the first
    /// that was not; at most so many at a time.
    struct Advance { fleet: Uuid, lane: Uuid, before: DateTime<Utc>, room: i64 } -> sql::BigInt
    = "with held as (select safe_n from lanes where fleet_id = " [fleet: sql::Uuid]
      " and lane_id = " [lane: sql::Uuid]
      "), next as (select e.n, e.received_at from held, lateral (select n, received_at from entries \
       where fleet_id = " [fleet: sql::Uuid] " and lane_id = " [lane: sql::Uuid]
      " and n > held.safe_n order by n limit " [room: sql::BigInt]
      ") e), reached as (select coalesce((select min(n) - 1 from next where received_at >= "
      [before: sql::Timestamptz]
      "), (select max(n) from next), held.safe_n) as n from held), \
       kept as (update lanes set safe_n = reached.n from reached where fleet_id = " [fleet: sql::Uuid]
      " and lane_id = " [lane: sql::Uuid] " and safe_n < reached.n) \
       select greatest(reached.n, held.safe_n) from reached, held"
}

/// Most entries that one look moves on through.
const ROOM: i64 = 5_000;

/// The number up to which a lane's entries were all received before an instant, kept with the lane.
///
/// # Errors
/// [`Error::NotFound`].
pub async fn advance(tx: &mut Tx, lane: LaneId, before: DateTime<Utc>) -> Result<i64, Error> {
    Ok(Advance { fleet: tx.fleet().0, lane: lane.0, before, room: ROOM }.get_result(tx.conn()).await?)
}
