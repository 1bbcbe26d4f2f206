//! The files of a job, and which of them have not come yet.

use super::{FileDigest, MediaType};
use crate::auth::{Member, Role};
use crate::error::Error;
use crate::flows::entries::facts::Photo;
use crate::store::{Tx, files, jobs};
use chrono::{DateTime, Utc};
use uuid::Uuid;

/// Whether a file is there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Presence {
    /// It has not come yet, or not whole.
    Missing,
    /// It is kept.
    Kept,
    /// It was kept, and its bytes are not what they were.
    Damaged,
}

/// One file that an entry of the job refers to.
#[derive(Debug, Clone, PartialEq)]
pub struct JobFile {
    /// The entry.
    pub entry_id: Uuid,
    /// When it was taken.
    pub happened_at: DateTime<Utc>,
    /// What the entry says of it.
    pub photo: Photo,
    /// Whether it is there.
    pub presence: Presence,
    /// Its type and size, when it is or was kept.
    pub kept: Option<(MediaType, i64)>,
}

/// The files of a job in the order of their entries. A technician finds only those of their van's jobs.
///
/// # Errors
/// [`Error::NotFound`] when there is no such job, or none this member may see.
pub async fn list(
    tx: &mut Tx,
    who: Member,
    job: Uuid,
    only_missing: bool,
    after: Option<Uuid>,
    limit: i64,
) -> Result<Vec<JobFile>, Error> {
    let found = jobs::find(tx, job).await?;
    let asked = who.who();
    if asked.role == Role::Technician && asked.home_place != Some(found.place_id) {
        return Err(Error::NotFound);
    }
    let rows = files::list_of_job(tx, job, only_missing, after, limit).await?;
    rows.into_iter().map(read).collect()
}

fn read(row: files::JobFile) -> Result<JobFile, Error> {
    let mut photo: Photo = serde_json::from_value(row.body).map_err(Error::internal)?;
    photo.sha256 = FileDigest::of_bytes(&row.sha256)?;
    let presence = match &row.kept {
        None => Presence::Missing,
        Some((_, _, None)) => Presence::Kept,
        Some((_, _, Some(_))) => Presence::Damaged,
    };
    let kept =
        row.kept.map(|(media_type, bytes, _)| Ok::<_, Error>((MediaType::of_word(&media_type)?, bytes)));
    Ok(JobFile {
        entry_id: row.entry_id,
        happened_at: row.happened_at,
        photo,
        presence,
        kept: kept.transpose()?,
    })
}
