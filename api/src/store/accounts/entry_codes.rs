//! Entry codes: once, each lets a member choose their password.

use crate::error::Error;
use crate::ids::MemberId;
use crate::store::Tx;
use crate::store::schema::{entry_codes, members};
use chrono::{DateTime, Utc};
use diesel::prelude::*;
use diesel_async::RunQueryDsl;
use uuid::Uuid;

/// Puts a member's code in force, instead of any before it.
///
/// # Errors
/// Those of the database.
pub async fn save_entry_code(
    tx: &mut Tx,
    member: MemberId,
    hash: &[u8],
    now: DateTime<Utc>,
    ends_at: DateTime<Utc>,
) -> Result<(), Error> {
    let values = (
        entry_codes::code_hash.eq(hash),
        entry_codes::made_at.eq(now),
        entry_codes::ends_at.eq(ends_at),
        entry_codes::used_at.eq(None::<DateTime<Utc>>),
    );
    diesel::insert_into(entry_codes::table)
        .values((entry_codes::fleet_id.eq(tx.fleet().0), entry_codes::member_id.eq(member.0), values))
        .on_conflict((entry_codes::fleet_id, entry_codes::member_id))
        .do_update()
        .set(values)
        .execute(tx.conn())
        .await?;
    Ok(())
}

/// Whose code this is, if it is in force at `now` and they are still members.
///
/// # Errors
/// Those of the database.
pub async fn find_entry_code(
    tx: &mut Tx,
    hash: &[u8],
    now: DateTime<Utc>,
) -> Result<Option<MemberId>, Error> {
    let found: Option<Uuid> = entry_codes::table
        .inner_join(members::table.on(
            members::fleet_id.eq(entry_codes::fleet_id).and(members::member_id.eq(entry_codes::member_id)),
        ))
        .filter(entry_codes::fleet_id.eq(tx.fleet().0))
        .filter(entry_codes::code_hash.eq(hash))
        .filter(entry_codes::used_at.is_null())
        .filter(entry_codes::ends_at.gt(now))
        .filter(members::retired_at.is_null())
        .select(entry_codes::member_id)
        .first(tx.conn())
        .await
        .optional()?;
    Ok(found.map(MemberId))
}

/// Uses a code up; `false` when someone else was first or its time is over.
///
/// # Errors
/// Those of the database.
pub async fn use_entry_code(tx: &mut Tx, hash: &[u8], now: DateTime<Utc>) -> Result<bool, Error> {
    let used = diesel::update(entry_codes::table)
        .filter(entry_codes::fleet_id.eq(tx.fleet().0))
        .filter(entry_codes::code_hash.eq(hash))
        .filter(entry_codes::used_at.is_null())
        .filter(entry_codes::ends_at.gt(now))
        .set(entry_codes::used_at.eq(now))
        .execute(tx.conn())
        .await?;
    Ok(used == 1)
}
