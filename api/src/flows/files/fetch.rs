//! Fetching: whoever may see a file gets the bytes that were kept, or none.

use super::{Cabinet, FileDigest, MediaType, file_name, name};
use crate::auth::{Member, Role, Who};
use crate::error::Error;
use crate::store::blobs::{BlobName, Blobs};
use crate::store::files::{self, FileRecord};
use crate::store::{Db, Tx};
use bytes::Bytes;
use chrono::{DateTime, Utc};
use futures_util::Stream;
use sha2::{Digest, Sha256};
use std::ops::Range;

/// How much is read from the store at a time.
const STEP: u64 = 4 * 1024 * 1024;

/// A file that may be handed out.
#[derive(Debug, Clone)]
pub struct Fetched {
    /// What it is.
    pub media_type: MediaType,
    /// What it is called.
    pub shown_name: String,
    /// How large what is kept is.
    pub size_bytes: u64,
    /// SHA-256 of what is kept.
    pub kept: FileDigest,
    at: BlobName,
    blobs: Blobs,
}

impl Fetched {
    /// Its bytes within a range, a step at a time.
    pub fn stream(self, range: Range<u64>) -> impl Stream<Item = Result<Bytes, Error>> + use<> {
        futures_util::stream::try_unfold((self, range.start), move |(file, from)| async move {
            if from >= range.end {
                return Ok(None);
            }
            let to = range.end.min(from.saturating_add(STEP));
            let bytes = file.blobs.read(file.at, from..to).await?;
            Ok(Some((bytes, (file, to))))
        })
    }
}

/// A file, after its bytes have been compared with the digest they were kept under.
///
/// # Errors
/// [`Error::NotFound`] when there is none, or none this member may see; [`Error::Damaged`].
pub async fn fetch(
    db: &Db,
    cabinet: &Cabinet,
    who: Member,
    digest: FileDigest,
    now: DateTime<Utc>,
) -> Result<Fetched, Error> {
    let asked = who.who();
    let file = db.read(asked.fleet, async |tx| visible(tx, asked, digest).await).await?;
    let at = file_name(asked.fleet, &file);
    if let Err(error) = compare(&cabinet.blobs, at, &file).await {
        if matches!(error, Error::Damaged { .. }) {
            let mark = async move |tx: &mut Tx| files::mark_damaged(tx, &file, now).await;
            db.write("mark_damaged", asked.fleet, mark).await?;
        }
        return Err(error);
    }
    let media_type = MediaType::of_word(&file.media_type)?;
    Ok(Fetched {
        media_type,
        shown_name: name::shown(file.name.as_deref(), media_type),
        size_bytes: file.kept_bytes.unsigned_abs(),
        kept: FileDigest::of_bytes(&file.kept_sha256)?,
        at,
        blobs: cabinet.blobs.clone(),
    })
}

async fn visible(tx: &mut Tx, who: Who, digest: FileDigest) -> Result<FileRecord, Error> {
    let file = files::find(tx, digest.bytes()).await?.ok_or(Error::NotFound)?;
    let seen = match who.role {
        Role::Office | Role::Owner => true,
        Role::Technician => files::is_seen_from(tx, digest.bytes(), who.member, who.home_place).await?,
    };
    if seen { Ok(file) } else { Err(Error::NotFound) }
}

/// Whether what lies in the store is what was kept.
///
/// # Errors
/// [`Error::Damaged`] when it is not; [`Error::Unavailable`] when the store fails.
pub(super) async fn compare(blobs: &Blobs, at: BlobName, file: &FileRecord) -> Result<(), Error> {
    let digest = FileDigest::of_bytes(&file.sha256)?;
    let damaged = |how: &str| Error::Damaged { what: format!("file {digest}: {how}") };
    let size = file.kept_bytes.unsigned_abs();
    match blobs.size(at).await? {
        None => return Err(damaged("is gone")),
        Some(other) if other != size => return Err(damaged("has another size")),
        Some(_) => {}
    }
    let (mut hash, mut from) = (Sha256::new(), 0);
    while from < size {
        let to = size.min(from.saturating_add(STEP));
        hash.update(&blobs.read(at, from..to).await?);
        from = to;
    }
    if hash.finalize()[..] == file.kept_sha256[..] { Ok(()) } else { Err(damaged("has other bytes")) }
}
