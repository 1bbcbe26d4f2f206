//! Which entry refers to which file.

use crate::error::Error;
use crate::store::Tx;
use crate::store::schema::{entries, file_uses, files};
use chrono::{DateTime, Utc};
use diesel::prelude::*;
use diesel::sql_types as sql;
use diesel_async::RunQueryDsl;
use serde_json::Value;
use uuid::Uuid;

/// An entry that refers to a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FileUse {
    /// The entry.
    pub entry_id: Uuid,
    /// The job it is about.
    pub job_id: Uuid,
    /// SHA-256 of the file as it was or will be sent.
    pub sha256: Vec<u8>,
}

/// A file that an entry of a job refers to, kept or not.
#[derive(Debug, Clone, PartialEq)]
pub struct JobFile {
    /// The entry.
    pub entry_id: Uuid,
    /// When it happened.
    pub happened_at: DateTime<Utc>,
    /// What the entry says.
    pub body: Value,
    /// SHA-256 of the file as it was or will be sent.
    pub sha256: Vec<u8>,
    /// Of a kept one: its type, how large it is, and since when it is damaged.
    pub kept: Option<(String, i64, Option<DateTime<Utc>>)>,
}

statement! {
    /// Notes uses.
    struct Insert { fleet: Uuid, entries: Vec<Uuid>, jobs: Vec<Uuid>, digests: Vec<Vec<u8>> }
    = "insert into file_uses (fleet_id, entry_id, job_id, sha256) select " [fleet: sql::Uuid]
      ", u.* from unnest(" [entries: sql::Array<sql::Uuid>] ", " [jobs: sql::Array<sql::Uuid>] ", "
      [digests: sql::Array<sql::Bytea>] ") u on conflict do nothing"
}

/// Notes which files new entries refer to.
///
/// # Errors
/// Those of the database.
pub async fn insert_uses(tx: &mut Tx, uses: Vec<FileUse>) -> Result<(), Error> {
    if uses.is_empty() {
        return Ok(());
    }
    let mut insert =
        Insert { fleet: tx.fleet().0, entries: Vec::new(), jobs: Vec::new(), digests: Vec::new() };
    for one in uses {
        insert.entries.push(one.entry_id);
        insert.jobs.push(one.job_id);
        insert.digests.push(one.sha256);
    }
    insert.execute(tx.conn()).await?;
    Ok(())
}

/// The files that entries of a job refer to, in the entries' order; only those that are not kept whole
/// when so asked.
///
/// # Errors
/// Those of the database.
pub async fn list_of_job(
    tx: &mut Tx,
    job: Uuid,
    only_missing: bool,
    after: Option<Uuid>,
    limit: i64,
) -> Result<Vec<JobFile>, Error> {
    type Row = (Uuid, DateTime<Utc>, Value, Vec<u8>, Option<(String, i64, Option<DateTime<Utc>>)>);
    let mut query = file_uses::table
        .inner_join(
            entries::table
                .on(entries::fleet_id.eq(file_uses::fleet_id).and(entries::entry_id.eq(file_uses::entry_id))),
        )
        .left_join(
            files::table.on(files::fleet_id.eq(file_uses::fleet_id).and(files::sha256.eq(file_uses::sha256))),
        )
        .filter(file_uses::fleet_id.eq(tx.fleet().0))
        .filter(file_uses::job_id.eq(job))
        .filter(file_uses::entry_id.gt(after.unwrap_or(Uuid::nil())))
        .filter(entries::reversed_by.is_null())
        .into_boxed();
    if only_missing {
        query =
            query.filter(files::sha256.nullable().is_null().or(files::damaged_at.nullable().is_not_null()));
    }
    let rows: Vec<Row> = query
        .order(file_uses::entry_id)
        .limit(limit)
        .select((
            file_uses::entry_id,
            entries::happened_at,
            entries::body,
            file_uses::sha256,
            (files::media_type, files::kept_bytes, files::damaged_at).nullable(),
        ))
        .load(tx.conn())
        .await?;
    let of =
        |(entry_id, happened_at, body, sha256, kept)| JobFile { entry_id, happened_at, body, sha256, kept };
    Ok(rows.into_iter().map(of).collect())
}

statement! {
    /// Photos without their use, and uses without their photo.
    struct Unlike { fleet: Uuid } -> (sql::BigInt, sql::BigInt)
    = "select count(*), count(*) filter (where e.entry_id is null or u.entry_id is null \
       or encode(u.sha256, 'hex') <> e.body->>'sha256' or u.job_id::text <> e.body->>'job_id') from \
       (select * from entries where fleet_id = " [fleet: sql::Uuid]
      " and kind = 'photo' and basis is not null) e full join \
       (select * from file_uses where fleet_id = " [fleet: sql::Uuid] ") u using (fleet_id, entry_id)"
}

/// How many photos there are, and how many are noted otherwise than they were written down.
///
/// # Errors
/// Those of the database.
pub async fn unlike_entries(tx: &mut Tx) -> Result<(i64, i64), Error> {
    Ok(Unlike { fleet: tx.fleet().0 }.get_result(tx.conn()).await?)
}
