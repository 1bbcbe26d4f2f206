//! Password hashes, and the member a sign-in names.

use super::MemberRecord;
use super::members::MemberRow;
use crate::error::Error;
use crate::ids::MemberId;
use crate::store::Tx;
use crate::store::schema::{members, passwords};
use chrono::{DateTime, Utc};
use diesel::prelude::*;
use diesel_async::RunQueryDsl;

/// The member who signs in with that handle, with the stored password hash.
///
/// # Errors
/// Those of the database; nobody is `None`.
pub async fn find_sign_in(
    tx: &mut Tx,
    handle: &str,
) -> Result<Option<(MemberRecord, Option<String>)>, Error> {
    let found: Option<(MemberRow, Option<String>)> =
        members::table
            .left_join(passwords::table.on(
                passwords::fleet_id.eq(members::fleet_id).and(passwords::member_id.eq(members::member_id)),
            ))
            .filter(members::fleet_id.eq(tx.fleet().0))
            .filter(members::handle.eq(handle))
            .select((MemberRow::as_select(), passwords::phc.nullable()))
            .first(tx.conn())
            .await
            .optional()?;
    found.map(|(row, phc)| Ok((row.into_record()?, phc))).transpose()
}

/// Sets or replaces a password hash.
///
/// # Errors
/// Those of the database.
pub async fn save_password(
    tx: &mut Tx,
    member: MemberId,
    phc: &str,
    now: DateTime<Utc>,
) -> Result<(), Error> {
    let row = (
        passwords::fleet_id.eq(tx.fleet().0),
        passwords::member_id.eq(member.0),
        passwords::phc.eq(phc),
        passwords::changed_at.eq(now),
    );
    diesel::insert_into(passwords::table)
        .values(row)
        .on_conflict((passwords::fleet_id, passwords::member_id))
        .do_update()
        .set((passwords::phc.eq(phc), passwords::changed_at.eq(now)))
        .execute(tx.conn())
        .await?;
    Ok(())
}

/// The hash of a member's password.
///
/// # Errors
/// Those of the database; a member without a password is `None`.
pub async fn find_password(tx: &mut Tx, member: MemberId) -> Result<Option<String>, Error> {
    Ok(passwords::table
        .find((tx.fleet().0, member.0))
        .select(passwords::phc)
        .first(tx.conn())
        .await
        .optional()?)
}

/// Replaces a hash, if it still is the one that was checked; `false` when it has changed since.
///
/// # Errors
/// Those of the database.
pub async fn replace_password(
    tx: &mut Tx,
    member: MemberId,
    checked: &str,
    phc: &str,
    now: DateTime<Utc>,
) -> Result<bool, Error> {
    let replaced = diesel::update(passwords::table.find((tx.fleet().0, member.0)))
        .filter(passwords::phc.eq(checked))
        .set((passwords::phc.eq(phc), passwords::changed_at.eq(now)))
        .execute(tx.conn())
        .await?;
    Ok(replaced == 1)
}
