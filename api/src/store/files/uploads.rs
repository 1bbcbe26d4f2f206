//! Files on their way in, and the parts of them that have arrived.

use crate::error::Error;
use crate::ids::MemberId;
use crate::store::Tx;
use crate::store::schema::{upload_parts, uploads};
use chrono::{DateTime, NaiveDate, Utc};
use diesel::prelude::*;
use diesel_async::RunQueryDsl;
use std::collections::HashSet;
use uuid::Uuid;

/// One file on its way in.
#[derive(Debug, Clone, PartialEq, Eq, Queryable, Selectable, Insertable)]
#[diesel(table_name = uploads)]
pub struct UploadRecord {
    /// Whose fleet.
    pub fleet_id: Uuid,
    /// SHA-256 of the whole of it.
    pub sha256: Vec<u8>,
    /// Who sends it.
    pub member_id: Uuid,
    /// Its id: another when it is begun anew.
    pub upload_id: Uuid,
    /// How large the whole is.
    pub size_bytes: i64,
    /// What it says it is.
    pub media_type: String,
    /// What it is for.
    pub what: String,
    /// What the sender calls it.
    pub name: Option<String>,
    /// How much has arrived.
    pub received_bytes: i64,
    /// Since when.
    pub reserved_at: DateTime<Utc>,
    /// When something of it last arrived.
    pub touched_at: DateTime<Utc>,
    /// When the whole had arrived and was kept.
    pub finished_at: Option<DateTime<Utc>>,
}

/// A part that has arrived.
#[derive(Debug, Clone, PartialEq, Eq, Queryable, Selectable, Insertable)]
#[diesel(table_name = upload_parts)]
pub struct PartRecord {
    /// Whose fleet.
    pub fleet_id: Uuid,
    /// Of which upload.
    pub upload_id: Uuid,
    /// Where it begins.
    pub offset_bytes: i64,
    /// How large it is.
    pub size_bytes: i64,
    /// The day in its name in the store.
    pub made_on: NaiveDate,
    /// The id in its name in the store.
    pub part_id: Uuid,
}

/// A member's upload of a file.
///
/// # Errors
/// Those of the database.
pub async fn find_upload(
    tx: &mut Tx,
    member: MemberId,
    sha256: &[u8],
) -> Result<Option<UploadRecord>, Error> {
    let found = uploads::table
        .find((tx.fleet().0, sha256, member.0))
        .select(UploadRecord::as_select())
        .first(tx.conn())
        .await;
    Ok(found.optional()?)
}

/// The same, held until the transaction ends.
///
/// # Errors
/// Those of the database.
pub async fn lock_upload(
    tx: &mut Tx,
    member: MemberId,
    sha256: &[u8],
) -> Result<Option<UploadRecord>, Error> {
    let found = uploads::table
        .find((tx.fleet().0, sha256, member.0))
        .select(UploadRecord::as_select())
        .for_update()
        .first(tx.conn())
        .await;
    Ok(found.optional()?)
}

/// Notes a new upload.
///
/// # Errors
/// [`Error::Retry`] when the same was noted meanwhile.
pub async fn insert_upload(tx: &mut Tx, upload: &UploadRecord) -> Result<(), Error> {
    let inserted = diesel::insert_into(uploads::table).values(upload).execute(tx.conn()).await;
    inserted.map(|_| ()).map_err(|error| Error::from(error).when_taken(Error::Retry))
}

/// Notes that a part has arrived, of an upload that is held.
///
/// # Errors
/// Those of the database.
pub async fn insert_part(
    tx: &mut Tx,
    upload: &UploadRecord,
    part: &PartRecord,
    now: DateTime<Utc>,
) -> Result<(), Error> {
    diesel::insert_into(upload_parts::table).values(part).execute(tx.conn()).await?;
    diesel::update(uploads::table.find((upload.fleet_id, &upload.sha256, upload.member_id)))
        .set((uploads::received_bytes.eq(part.offset_bytes + part.size_bytes), uploads::touched_at.eq(now)))
        .execute(tx.conn())
        .await?;
    Ok(())
}

/// The parts of an upload, from its beginning.
///
/// # Errors
/// Those of the database.
pub async fn list_parts(tx: &mut Tx, upload: Uuid) -> Result<Vec<PartRecord>, Error> {
    Ok(upload_parts::table
        .filter(upload_parts::fleet_id.eq(tx.fleet().0))
        .filter(upload_parts::upload_id.eq(upload))
        .order(upload_parts::offset_bytes)
        .select(PartRecord::as_select())
        .load(tx.conn())
        .await?)
}

async fn delete_parts(tx: &mut Tx, upload: Uuid) -> Result<Vec<PartRecord>, Error> {
    let parts = upload_parts::table
        .filter(upload_parts::fleet_id.eq(tx.fleet().0))
        .filter(upload_parts::upload_id.eq(upload));
    Ok(diesel::delete(parts).returning(PartRecord::as_returning()).load(tx.conn()).await?)
}

/// Forgets an upload that is held, and answers which parts lie in the store for nothing now.
///
/// # Errors
/// Those of the database.
pub async fn delete_upload(tx: &mut Tx, upload: &UploadRecord) -> Result<Vec<PartRecord>, Error> {
    let parts = delete_parts(tx, upload.upload_id).await?;
    let row = uploads::table.find((upload.fleet_id, &upload.sha256, upload.member_id));
    diesel::delete(row).execute(tx.conn()).await?;
    Ok(parts)
}

/// Notes that an upload that is held came in whole, and answers which parts are needed no more.
///
/// # Errors
/// Those of the database.
pub async fn finish_upload(
    tx: &mut Tx,
    upload: &UploadRecord,
    now: DateTime<Utc>,
) -> Result<Vec<PartRecord>, Error> {
    diesel::update(uploads::table.find((upload.fleet_id, &upload.sha256, upload.member_id)))
        .set(uploads::finished_at.eq(now))
        .execute(tx.conn())
        .await?;
    delete_parts(tx, upload.upload_id).await
}

/// Some uploads of which nothing has arrived since then, held; those that are held elsewhere are not stale.
///
/// # Errors
/// Those of the database.
pub async fn list_stale(tx: &mut Tx, since: DateTime<Utc>, limit: i64) -> Result<Vec<UploadRecord>, Error> {
    Ok(uploads::table
        .filter(uploads::fleet_id.eq(tx.fleet().0))
        .filter(uploads::finished_at.is_null())
        .filter(uploads::touched_at.lt(since))
        .order(uploads::touched_at)
        .limit(limit)
        .select(UploadRecord::as_select())
        .for_update()
        .skip_locked()
        .load(tx.conn())
        .await?)
}

/// Which of these parts belong to an upload.
///
/// # Errors
/// Those of the database.
pub async fn which_parts(tx: &mut Tx, ids: &[Uuid]) -> Result<HashSet<Uuid>, Error> {
    let known: Vec<Uuid> = upload_parts::table
        .filter(upload_parts::fleet_id.eq(tx.fleet().0))
        .filter(upload_parts::part_id.eq_any(ids))
        .select(upload_parts::part_id)
        .load(tx.conn())
        .await?;
    Ok(known.into_iter().collect())
}
