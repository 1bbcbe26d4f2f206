//! Sweeping: what nobody has sent on for two days, files nothing has referred to for two days, and blobs
//! a crash left behind.
//!
//! A fleet that sends files sweeps behind itself, a bounded step at most once an hour; an operator sweeps
//! everything with `dropwise files sweep`.

use super::{Cabinet, FileDigest, file_name, part_names};
use crate::error::Error;
use crate::ids::FleetId;
use crate::store::blobs::{BlobName, Shelf};
use crate::store::files::{self, FileRecord, PartRecord};
use crate::store::{Db, Tx};
use chrono::{DateTime, Days, NaiveDate, TimeDelta, Utc};
use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

/// How long an unfinished upload and a file nothing refers to stay.
const STAY: TimeDelta = TimeDelta::hours(48);
/// On a day this many days ago nothing is written any more, and everything made on it is older than [`STAY`].
const SETTLED_DAYS: u64 = 3;
/// Between two turns of one fleet in this process.
const PAUSE: TimeDelta = TimeDelta::hours(1);
/// Uploads and files per step.
const ROWS: i64 = 50;
/// Days of names per turn.
const DAYS: usize = 7;
/// Names asked about at once.
const NAMES: usize = 1_000;

/// When each fleet was last swept by this process.
#[derive(Debug, Clone, Default)]
pub(super) struct Turns(Arc<Mutex<HashMap<FleetId, DateTime<Utc>>>>);

impl Turns {
    fn is_due(&self, fleet: FleetId, now: DateTime<Utc>) -> bool {
        let mut last = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if last.get(&fleet).is_some_and(|at| now.signed_duration_since(*at) < PAUSE) {
            return false;
        }
        last.insert(fleet, now);
        true
    }
}

/// What was taken away.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Swept {
    /// Uploads that nobody sent on.
    pub uploads: usize,
    /// Files that nothing referred to.
    pub files: usize,
    /// Blobs that belonged to nothing.
    pub blobs: usize,
}

/// Starts a turn beside the request at hand, when one is due.
pub(super) fn perhaps(db: &Db, cabinet: &Cabinet, fleet: FleetId, now: DateTime<Utc>) {
    if !cabinet.turns.is_due(fleet, now) {
        return;
    }
    let (db, cabinet) = (db.clone(), cabinet.clone());
    tokio::task::spawn_local(async move {
        match turn(&db, &cabinet, fleet, now).await {
            Ok(swept) if swept == Swept::default() => {}
            Ok(swept) => tracing::info!(%fleet, ?swept, "files were swept"),
            Err(error) => {
                tracing::warn!(%fleet, %error, "files could not be swept; the next turn tries again");
            }
        }
    });
}

/// One bounded turn.
///
/// # Errors
/// Those of the database; [`Error::Unavailable`] when the store fails.
pub async fn turn(db: &Db, cabinet: &Cabinet, fleet: FleetId, now: DateTime<Utc>) -> Result<Swept, Error> {
    let mut swept = Swept {
        uploads: stale_uploads(db, cabinet, fleet, now).await?,
        files: unused_files(db, cabinet, fleet, now).await?,
        blobs: 0,
    };
    let done = db.read(fleet, async |tx| files::find_room(tx).await).await?.swept_on;
    let mut days = settled_days(cabinet, fleet, now).await?;
    days.retain(|day| done.is_none_or(|done| *day > done));
    days.truncate(DAYS);
    for day in days {
        swept.blobs += blobs_of(db, cabinet, fleet, day).await?;
        db.write("note_swept", fleet, async move |tx| files::save_swept_on(tx, day).await).await?;
    }
    Ok(swept)
}

/// Everything there is to sweep, days that have been swept before included.
///
/// # Errors
/// Those of the database; [`Error::Unavailable`] when the store fails.
pub async fn everything(
    db: &Db,
    cabinet: &Cabinet,
    fleet: FleetId,
    now: DateTime<Utc>,
) -> Result<Swept, Error> {
    let mut swept = Swept::default();
    loop {
        let uploads = stale_uploads(db, cabinet, fleet, now).await?;
        let unused = unused_files(db, cabinet, fleet, now).await?;
        swept.uploads += uploads;
        swept.files += unused;
        if uploads + unused == 0 {
            break;
        }
    }
    for day in settled_days(cabinet, fleet, now).await? {
        swept.blobs += blobs_of(db, cabinet, fleet, day).await?;
    }
    Ok(swept)
}

async fn stale_uploads(
    db: &Db,
    cabinet: &Cabinet,
    fleet: FleetId,
    now: DateTime<Utc>,
) -> Result<usize, Error> {
    let forget = async move |tx: &mut Tx| {
        let stale = files::list_stale(tx, now - STAY, ROWS).await?;
        let mut left: Vec<PartRecord> = Vec::new();
        for upload in &stale {
            left.extend(files::delete_upload(tx, upload).await?);
        }
        let bytes = stale.iter().map(|upload| upload.size_bytes).sum();
        files::give_back(tx, bytes, i64::try_from(stale.len()).map_err(Error::internal)?).await?;
        Ok((stale.len(), left))
    };
    let (count, left) = db.write("forget_stale_uploads", fleet, forget).await?;
    cabinet.blobs.discard(&part_names(fleet, &left)).await;
    Ok(count)
}

async fn unused_files(
    db: &Db,
    cabinet: &Cabinet,
    fleet: FleetId,
    now: DateTime<Utc>,
) -> Result<usize, Error> {
    let forget = async move |tx: &mut Tx| {
        let mut gone: Vec<FileRecord> = Vec::new();
        for file in files::list_unused(tx, now - STAY, ROWS).await? {
            if files::delete_unused(tx, &file).await? {
                gone.push(file);
            }
        }
        let bytes = gone.iter().map(|file| file.sent_bytes).sum();
        files::give_back(tx, bytes, i64::try_from(gone.len()).map_err(Error::internal)?).await?;
        Ok(gone)
    };
    let gone = db.write("forget_unused_files", fleet, forget).await?;
    for file in &gone {
        tracing::info!(%fleet, digest = %FileDigest::of_bytes(&file.sha256)?, "a file nothing referred to is gone");
    }
    let names: Vec<BlobName> = gone.iter().map(|file| file_name(fleet, file)).collect();
    cabinet.blobs.discard(&names).await;
    Ok(gone.len())
}

/// The days on which something was made and nothing is made any more, earliest first.
async fn settled_days(
    cabinet: &Cabinet,
    fleet: FleetId,
    now: DateTime<Utc>,
) -> Result<Vec<NaiveDate>, Error> {
    let Some(last) = now.date_naive().checked_sub_days(Days::new(SETTLED_DAYS)) else {
        return Ok(Vec::new());
    };
    let mut days = cabinet.blobs.days(fleet, Shelf::Parts).await?;
    days.extend(cabinet.blobs.days(fleet, Shelf::Kept).await?);
    days.retain(|day| *day <= last);
    days.sort_unstable();
    days.dedup();
    Ok(days)
}

/// Takes away what was made on a day and belongs to nothing.
async fn blobs_of(db: &Db, cabinet: &Cabinet, fleet: FleetId, made_on: NaiveDate) -> Result<usize, Error> {
    let mut count = 0;
    for shelf in [Shelf::Parts, Shelf::Kept] {
        let all = cabinet.blobs.made_on(fleet, shelf, made_on).await?;
        for ids in all.chunks(NAMES) {
            let known = db
                .read(fleet, async |tx| match shelf {
                    Shelf::Parts => files::which_parts(tx, ids).await,
                    Shelf::Kept => files::which_kept(tx, ids).await,
                })
                .await?;
            for id in ids.iter().filter(|id| !known.contains(id)) {
                cabinet.blobs.delete(BlobName { fleet, shelf, made_on, id: *id }).await?;
                count += 1;
            }
        }
        cabinet.blobs.tidy(fleet, shelf, made_on);
    }
    Ok(count)
}
