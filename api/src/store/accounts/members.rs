//! Members: the people who can sign in.

use crate::auth::Role;
use crate::error::Error;
use crate::ids::MemberId;
use crate::store::Tx;
use crate::store::schema::{cards, members, passwords};
use chrono::{DateTime, Utc};
use diesel::dsl::case_when;
use diesel::prelude::*;
use diesel_async::RunQueryDsl;
use std::collections::HashMap;
use uuid::Uuid;

/// One member as the records say.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MemberRecord {
    /// Their id.
    pub member_id: MemberId,
    /// What they sign in with.
    pub handle: String,
    /// What they are called.
    pub name: String,
    /// What they may do.
    pub role: Role,
    /// Where they work from.
    pub home_place_id: Option<Uuid>,
    /// Version for edits.
    pub version: i64,
    /// Since when they are gone.
    pub retired_at: Option<DateTime<Utc>>,
}

#[derive(Queryable, Selectable, Insertable)]
#[diesel(table_name = members)]
pub(super) struct MemberRow {
    fleet_id: Uuid,
    member_id: Uuid,
    handle: String,
    name: String,
    role: String,
    home_place_id: Option<Uuid>,
    version: i64,
    retired_at: Option<DateTime<Utc>>,
    created_at: DateTime<Utc>,
    created_digest: Vec<u8>,
    scope_revision: i64,
}

impl MemberRow {
    pub(super) fn into_record(self) -> Result<MemberRecord, Error> {
        Ok(MemberRecord {
            member_id: MemberId(self.member_id),
            role: Role::from_word(&self.role)
                .ok_or_else(|| Error::internal("unknown role in the members table"))?,
            handle: self.handle,
            name: self.name,
            home_place_id: self.home_place_id,
            version: self.version,
            retired_at: self.retired_at,
        })
    }
}

/// A new member; `digest` recognises the same creation when it is sent again.
///
/// # Errors
/// [`Error::Duplicate`] when the id or the handle is taken in this fleet.
pub async fn insert_member(
    tx: &mut Tx,
    member: &MemberRecord,
    digest: &[u8],
    now: DateTime<Utc>,
) -> Result<(), Error> {
    let row = MemberRow {
        fleet_id: tx.fleet().0,
        member_id: member.member_id.0,
        handle: member.handle.clone(),
        name: member.name.clone(),
        role: member.role.word().to_owned(),
        home_place_id: member.home_place_id,
        version: 1,
        retired_at: None,
        created_at: now,
        created_digest: digest.to_vec(),
        scope_revision: 1,
    };
    diesel::insert_into(members::table).values(row).execute(tx.conn()).await?;
    Ok(())
}

/// Writes a member's editable fields; the version goes up by one. Another home place or role raises the
/// revision of their scope: their phones read other audiences from now on.
///
/// # Errors
/// [`Error::Duplicate`] when the handle is taken in this fleet.
pub async fn save_member(tx: &mut Tx, member: &MemberRecord) -> Result<(), Error> {
    let moved = members::home_place_id
        .is_distinct_from(member.home_place_id)
        .or(members::role.ne(member.role.word()));
    diesel::update(members::table.find((tx.fleet().0, member.member_id.0)))
        .set((
            members::scope_revision
                .eq(case_when(moved, members::scope_revision + 1).otherwise(members::scope_revision)),
            members::handle.eq(&member.handle),
            members::name.eq(&member.name),
            members::role.eq(member.role.word()),
            members::home_place_id.eq(member.home_place_id),
            members::retired_at.eq(member.retired_at),
            members::version.eq(members::version + 1),
        ))
        .execute(tx.conn())
        .await?;
    Ok(())
}

/// The member of that id.
///
/// # Errors
/// [`Error::NotFound`].
pub async fn find_member(tx: &mut Tx, id: MemberId) -> Result<MemberRecord, Error> {
    let row: MemberRow =
        members::table.find((tx.fleet().0, id.0)).select(MemberRow::as_select()).first(tx.conn()).await?;
    row.into_record()
}

/// The member of that id, held until the transaction ends; rows that merely refer to them need not wait.
///
/// # Errors
/// [`Error::NotFound`].
pub async fn lock_member(tx: &mut Tx, id: MemberId) -> Result<MemberRecord, Error> {
    let row: MemberRow = members::table
        .find((tx.fleet().0, id.0))
        .select(MemberRow::as_select())
        .for_no_key_update()
        .first(tx.conn())
        .await?;
    row.into_record()
}

/// Members in id order.
///
/// # Errors
/// Those of the database.
pub async fn list_members(tx: &mut Tx, after: Option<Uuid>, limit: i64) -> Result<Vec<MemberRecord>, Error> {
    let rows: Vec<MemberRow> = members::table
        .filter(members::fleet_id.eq(tx.fleet().0))
        .filter(members::member_id.gt(after.unwrap_or(Uuid::nil())))
        .order(members::member_id)
        .limit(limit)
        .select(MemberRow::as_select())
        .load(tx.conn())
        .await?;
    rows.into_iter().map(MemberRow::into_record).collect()
}

/// The digest a member was created with, if there is one of that id.
///
/// # Errors
/// Those of the database.
pub async fn find_member_digest(tx: &mut Tx, id: MemberId) -> Result<Option<Vec<u8>>, Error> {
    Ok(members::table
        .find((tx.fleet().0, id.0))
        .select(members::created_digest)
        .first(tx.conn())
        .await
        .optional()?)
}

/// The owners who can sign in today, held until the transaction ends, so that no two can leave at once.
///
/// # Errors
/// Those of the database.
pub async fn lock_owners(tx: &mut Tx) -> Result<Vec<MemberId>, Error> {
    let fleet = tx.fleet().0;
    let with_password = passwords::table.filter(passwords::fleet_id.eq(fleet)).select(passwords::member_id);
    let found: Vec<Uuid> = members::table
        .filter(members::fleet_id.eq(fleet))
        .filter(members::role.eq(Role::Owner.word()))
        .filter(members::retired_at.is_null())
        .filter(members::member_id.eq_any(with_password))
        .order(members::member_id)
        .select(members::member_id)
        .for_no_key_update()
        .load(tx.conn())
        .await?;
    Ok(found.into_iter().map(MemberId).collect())
}

/// Whether there is a place card of that id that is in use.
///
/// # Errors
/// Those of the database.
pub async fn is_place_in_use(tx: &mut Tx, place: Uuid) -> Result<bool, Error> {
    let found: Option<String> = cards::table
        .find((tx.fleet().0, place))
        .filter(cards::kind.eq("place"))
        .filter(cards::retired_at.is_null())
        .select(cards::kind)
        .first(tx.conn())
        .await
        .optional()?;
    Ok(found.is_some())
}

/// Which of these are members, and whether they have been retired.
///
/// # Errors
/// Those of the database.
pub async fn find_retired(tx: &mut Tx, ids: &[Uuid]) -> Result<HashMap<Uuid, bool>, Error> {
    let rows: Vec<(Uuid, Option<DateTime<Utc>>)> = members::table
        .filter(members::fleet_id.eq(tx.fleet().0))
        .filter(members::member_id.eq_any(ids))
        .select((members::member_id, members::retired_at))
        .load(tx.conn())
        .await?;
    Ok(rows.into_iter().map(|(id, retired)| (id, retired.is_some())).collect())
}
