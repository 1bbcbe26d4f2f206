//! How much room a fleet's files take, counted as they come and go.

use crate::error::Error;
use crate::store::Tx;
use crate::store::schema::{file_room, files, uploads};
use chrono::NaiveDate;
use diesel::prelude::*;
use diesel::sql_types as sql;
use diesel_async::RunQueryDsl;
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;

/// How much room is taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Queryable, Selectable)]
#[diesel(table_name = file_room)]
pub struct Room {
    /// Bytes as they were sent or reserved.
    pub bytes: i64,
    /// How many files, reserved ones included.
    pub files: i64,
    /// Through which day the store has been swept.
    pub swept_on: Option<NaiveDate>,
}

statement! {
    /// Takes room in one statement, so that two at once cannot both have the last of it.
    struct Take { fleet: uuid::Uuid, bytes: i64, most_bytes: i64, most_files: i64 }
    = "insert into file_room as r (fleet_id, bytes, files) select " [fleet: sql::Uuid] ", " [bytes: sql::BigInt]
      ", 1 where " [bytes: sql::BigInt] " <= " [most_bytes: sql::BigInt] " and 1 <= " [most_files: sql::BigInt]
      " on conflict (fleet_id) do update set bytes = r.bytes + excluded.bytes, files = r.files + 1 \
       where r.bytes + excluded.bytes <= " [most_bytes: sql::BigInt] " and r.files + 1 <= " [most_files: sql::BigInt]
}

/// Takes room for one file; whether there was any.
///
/// # Errors
/// Those of the database.
pub async fn take(tx: &mut Tx, bytes: i64, most_bytes: i64, most_files: i64) -> Result<bool, Error> {
    let take = Take { fleet: tx.fleet().0, bytes, most_bytes, most_files };
    Ok(take.execute(tx.conn()).await? == 1)
}

/// Gives the room of some files back.
///
/// # Errors
/// Those of the database.
pub async fn give_back(tx: &mut Tx, bytes: i64, count: i64) -> Result<(), Error> {
    diesel::update(file_room::table.find(tx.fleet().0))
        .set((file_room::bytes.eq(file_room::bytes - bytes), file_room::files.eq(file_room::files - count)))
        .execute(tx.conn())
        .await?;
    Ok(())
}

/// How much is taken now.
///
/// # Errors
/// Those of the database.
pub async fn find_room(tx: &mut Tx) -> Result<Room, Error> {
    let found = file_room::table.find(tx.fleet().0).select(Room::as_select()).first(tx.conn()).await;
    Ok(found.optional()?.unwrap_or_default())
}

/// Notes through which day the store has been swept.
///
/// # Errors
/// Those of the database.
pub async fn save_swept_on(tx: &mut Tx, day: NaiveDate) -> Result<(), Error> {
    diesel::update(file_room::table.find(tx.fleet().0))
        .set(file_room::swept_on.eq(day))
        .execute(tx.conn())
        .await?;
    Ok(())
}

/// Whether the room that is counted is the room of the files that are kept and reserved.
///
/// # Errors
/// Those of the database.
pub async fn is_right(tx: &mut Tx) -> Result<bool, Error> {
    use diesel::dsl::{count_star, sum};
    let fleet = tx.fleet().0;
    let kept: (Option<Decimal>, i64) = files::table
        .filter(files::fleet_id.eq(fleet))
        .select((sum(files::sent_bytes), count_star()))
        .first(tx.conn())
        .await?;
    let open: (Option<Decimal>, i64) = uploads::table
        .filter(uploads::fleet_id.eq(fleet))
        .filter(uploads::finished_at.is_null())
        .select((sum(uploads::size_bytes), count_star()))
        .first(tx.conn())
        .await?;
    let room = find_room(tx).await?;
    let bytes = kept.0.unwrap_or_default() + open.0.unwrap_or_default();
    Ok(bytes.to_i64() == Some(room.bytes) && kept.1 + open.1 == room.files)
}
