//! Tombstones that have stood long enough.

use super::Tx;
use super::schema::heads;
use crate::error::Error;
use chrono::{DateTime, Utc};
use diesel::prelude::*;
use diesel::sql_types as sql;
use diesel_async::RunQueryDsl;
use uuid::Uuid;

statement! {
    /// Takes the oldest away and raises the floor to the highest position among them, in one statement.
    struct Sweep { fleet: Uuid, before: DateTime<Utc>, room: i64 } -> sql::BigInt
    = "with old as (select audience_id, kind, record_id from trail where fleet_id = " [fleet: sql::Uuid]
      " and state <> 'here' and told_at < " [before: sql::Timestamptz]
      " order by told_at limit " [room: sql::BigInt]
      "), gone as (delete from trail t using old where t.fleet_id = " [fleet: sql::Uuid]
      " and t.audience_id = old.audience_id and t.kind = old.kind and t.record_id = old.record_id \
        returning t.position), \
       raised as (update heads set floor = greatest(floor, (select max(position) from gone)) where fleet_id = "
      [fleet: sql::Uuid] " and exists (select from gone)) \
       select count(*) from gone"
}

/// Sweeps up to `room` tombstones that were told before an instant; answers how many there were.
///
/// # Errors
/// Those of the database.
pub async fn sweep(tx: &mut Tx, before: DateTime<Utc>, room: i64) -> Result<i64, Error> {
    // Head before trail, as every writer does: a record may be coming back just now.
    let head = heads::table.find(tx.fleet().0).select(heads::head).for_no_key_update();
    let _: i64 = head.first(tx.conn()).await?;
    Ok(Sweep { fleet: tx.fleet().0, before, room }.get_result(tx.conn()).await?)
}
