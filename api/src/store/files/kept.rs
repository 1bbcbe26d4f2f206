//! Files that are kept.

use crate::error::Error;
use crate::ids::MemberId;
use crate::store::Tx;
use crate::store::schema::{entries, file_uses, files, jobs, uploads};
use chrono::{DateTime, NaiveDate, Utc};
use diesel::dsl::exists;
use diesel::prelude::*;
use diesel_async::RunQueryDsl;
use std::collections::HashSet;
use uuid::Uuid;

/// One file that is kept.
#[derive(Debug, Clone, PartialEq, Eq, Queryable, Selectable, Insertable)]
#[diesel(table_name = files)]
pub struct FileRecord {
    /// Whose fleet.
    pub fleet_id: Uuid,
    /// SHA-256 of what was sent: what records refer to.
    pub sha256: Vec<u8>,
    /// The day in its name in the store.
    pub made_on: NaiveDate,
    /// The id in its name in the store.
    pub file_id: Uuid,
    /// What it is.
    pub media_type: String,
    /// What it is for.
    pub what: String,
    /// What the sender called it.
    pub name: Option<String>,
    /// How large what was sent was.
    pub sent_bytes: i64,
    /// How large what is kept is.
    pub kept_bytes: i64,
    /// SHA-256 of what is kept.
    pub kept_sha256: Vec<u8>,
    /// Since when.
    pub kept_at: DateTime<Utc>,
    /// Since when the bytes are known not to be those that were kept.
    pub damaged_at: Option<DateTime<Utc>>,
}

/// The file of that digest.
///
/// # Errors
/// Those of the database.
pub async fn find(tx: &mut Tx, sha256: &[u8]) -> Result<Option<FileRecord>, Error> {
    let found = files::table.find((tx.fleet().0, sha256)).select(FileRecord::as_select()).first(tx.conn());
    Ok(found.await.optional()?)
}

/// Keeps a file, unless a good one of that digest is kept already; what is damaged is replaced. Whether
/// it was kept.
///
/// # Errors
/// Those of the database.
pub async fn insert(tx: &mut Tx, file: &FileRecord) -> Result<bool, Error> {
    let first = diesel::insert_into(files::table)
        .values(file)
        .on_conflict((files::fleet_id, files::sha256))
        .do_nothing()
        .execute(tx.conn())
        .await?;
    if first == 1 {
        return Ok(true);
    }
    let damaged = files::table.find((file.fleet_id, &file.sha256)).filter(files::damaged_at.is_not_null());
    let replaced = diesel::update(damaged)
        .set((
            files::made_on.eq(file.made_on),
            files::file_id.eq(file.file_id),
            files::kept_bytes.eq(file.kept_bytes),
            files::kept_sha256.eq(&file.kept_sha256),
            files::kept_at.eq(file.kept_at),
            files::damaged_at.eq(None::<DateTime<Utc>>),
        ))
        .execute(tx.conn())
        .await?;
    Ok(replaced == 1)
}

/// Notes that a file's bytes, under that name in the store, are not those that were kept.
///
/// # Errors
/// Those of the database.
pub async fn mark_damaged(tx: &mut Tx, file: &FileRecord, now: DateTime<Utc>) -> Result<(), Error> {
    let row = files::table
        .find((file.fleet_id, &file.sha256))
        .filter(files::file_id.eq(file.file_id))
        .filter(files::damaged_at.is_null());
    diesel::update(row).set(files::damaged_at.eq(now)).execute(tx.conn()).await?;
    Ok(())
}

/// Whether a technician may see a file: it came whole from them, or a job of their van refers to it.
///
/// # Errors
/// Those of the database.
pub async fn is_seen_from(
    tx: &mut Tx,
    sha256: &[u8],
    member: MemberId,
    van: Option<Uuid>,
) -> Result<bool, Error> {
    let fleet = tx.fleet().0;
    let own = uploads::table.find((fleet, sha256, member.0)).filter(uploads::finished_at.is_not_null());
    if diesel::select(exists(own)).get_result(tx.conn()).await? {
        return Ok(true);
    }
    let Some(van) = van else { return Ok(false) };
    let used = file_uses::table
        .inner_join(
            jobs::table.on(jobs::fleet_id.eq(file_uses::fleet_id).and(jobs::job_id.eq(file_uses::job_id))),
        )
        .inner_join(
            entries::table
                .on(entries::fleet_id.eq(file_uses::fleet_id).and(entries::entry_id.eq(file_uses::entry_id))),
        )
        .filter(file_uses::fleet_id.eq(fleet))
        .filter(file_uses::sha256.eq(sha256))
        .filter(jobs::place_id.eq(van))
        .filter(entries::reversed_by.is_null());
    Ok(diesel::select(exists(used)).get_result(tx.conn()).await?)
}

/// Some files that were kept before then and that nothing has referred to since then.
///
/// # Errors
/// Those of the database.
pub async fn list_unused(tx: &mut Tx, since: DateTime<Utc>, limit: i64) -> Result<Vec<FileRecord>, Error> {
    let fleet = tx.fleet().0;
    let reversal = diesel::alias!(entries as reversal);
    let used = file_uses::table
        .inner_join(
            entries::table
                .on(entries::fleet_id.eq(file_uses::fleet_id).and(entries::entry_id.eq(file_uses::entry_id))),
        )
        .left_join(
            reversal.on(reversal
                .field(entries::fleet_id)
                .eq(entries::fleet_id)
                .and(reversal.field(entries::entry_id).nullable().eq(entries::reversed_by))),
        )
        .filter(file_uses::fleet_id.eq(files::fleet_id))
        .filter(file_uses::sha256.eq(files::sha256))
        .filter(entries::reversed_by.is_null().or(reversal.field(entries::received_at).nullable().ge(since)));
    Ok(files::table
        .filter(files::fleet_id.eq(fleet))
        .filter(files::kept_at.lt(since))
        .filter(diesel::dsl::not(exists(used)))
        .order(files::kept_at)
        .limit(limit)
        .select(FileRecord::as_select())
        .load(tx.conn())
        .await?)
}

/// Forgets a file that nothing refers to, and who sent it; whether that was still so.
///
/// # Errors
/// Those of the database.
pub async fn delete_unused(tx: &mut Tx, file: &FileRecord) -> Result<bool, Error> {
    let of_it = uploads::table
        .filter(uploads::fleet_id.eq(file.fleet_id))
        .filter(uploads::sha256.eq(&file.sha256))
        .filter(uploads::finished_at.is_not_null());
    diesel::delete(of_it).execute(tx.conn()).await?;
    let row = files::table.find((file.fleet_id, &file.sha256)).filter(files::file_id.eq(file.file_id));
    Ok(diesel::delete(row).execute(tx.conn()).await? == 1)
}

/// Files in the order of their digests, for an auditor.
///
/// # Errors
/// Those of the database.
pub async fn list_after(tx: &mut Tx, after: &[u8], limit: i64) -> Result<Vec<FileRecord>, Error> {
    Ok(files::table
        .filter(files::fleet_id.eq(tx.fleet().0))
        .filter(files::sha256.gt(after))
        .order(files::sha256)
        .limit(limit)
        .select(FileRecord::as_select())
        .load(tx.conn())
        .await?)
}

/// Which of these blobs are files.
///
/// # Errors
/// Those of the database.
pub async fn which_kept(tx: &mut Tx, ids: &[Uuid]) -> Result<HashSet<Uuid>, Error> {
    let known: Vec<Uuid> = files::table
        .filter(files::fleet_id.eq(tx.fleet().0))
        .filter(files::file_id.eq_any(ids))
        .select(files::file_id)
        .load(tx.conn())
        .await?;
    Ok(known.into_iter().collect())
}
