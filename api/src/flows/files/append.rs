//! Appending: the next part of a reserved file, wherever it stands.

use super::{Cabinet, FileDigest, PART_BYTES_MAX, PART_BYTES_MIN, Standing, part_name, wrong_offset};
use crate::auth::Member;
use crate::error::Error;
use crate::ids::fresh;
use crate::store::files::{self, PartRecord, UploadRecord};
use crate::store::{Db, Tx};
use bytes::Bytes;
use chrono::{DateTime, Utc};

/// How a member's reserved file stands.
///
/// # Errors
/// [`Error::NotFound`] when they have reserved none of that digest.
pub async fn standing(tx: &mut Tx, who: Member, digest: FileDigest) -> Result<Standing, Error> {
    let upload = files::find_upload(tx, who.who().member, digest.bytes()).await?;
    Standing::open(&upload.ok_or(Error::NotFound)?)
}

/// Looks before the bytes arrive whether a part that begins there is the next one.
///
/// # Errors
/// [`Error::NotFound`]; [`Error::OutOfStep`] with the place to go on from.
pub async fn expect(tx: &mut Tx, who: Member, digest: FileDigest, offset: i64) -> Result<(), Error> {
    let standing = standing(tx, who, digest).await?;
    if standing.offset_bytes == offset && offset < standing.size_bytes {
        Ok(())
    } else {
        Err(wrong_offset(&standing))
    }
}

/// Keeps a part: first its bytes, then the note that they are there.
///
/// # Errors
/// [`Error::OutOfStep`] when another part came first; [`Error::Invalid`] when it is empty, too small or
/// reaches beyond the end; [`Error::StoreFull`].
pub async fn append(
    db: &Db,
    cabinet: &Cabinet,
    who: Member,
    (digest, offset): (FileDigest, i64),
    pieces: Vec<Bytes>,
    now: DateTime<Utc>,
) -> Result<Standing, Error> {
    let fleet = who.who().fleet;
    let size: usize = pieces.iter().map(Bytes::len).sum();
    let size_bytes = i64::try_from(size).map_err(Error::internal)?;
    let upload = db
        .read(fleet, async |tx| {
            let found = files::find_upload(tx, who.who().member, digest.bytes()).await?;
            found.ok_or(Error::NotFound)
        })
        .await?;
    fits(&upload, offset, size_bytes, size)?;
    let part = PartRecord {
        fleet_id: fleet.0,
        upload_id: upload.upload_id,
        offset_bytes: offset,
        size_bytes,
        made_on: now.date_naive(),
        part_id: fresh(),
    };
    let name = part_name(fleet, &part);
    cabinet.blobs.put(name, pieces).await?;
    let noted = db.write("append_part", fleet, async move |tx| note(tx, who, digest, &part, now).await).await;
    if noted.is_err() {
        // Whether it was noted may be in doubt; then the bytes stay, and the sweep knows.
        let known = db.read(fleet, async |tx| files::which_parts(tx, &[name.id]).await).await;
        if known.is_ok_and(|known| known.is_empty()) {
            cabinet.blobs.discard(&[name]).await;
        }
    }
    noted
}

fn fits(upload: &UploadRecord, offset: i64, size_bytes: i64, size: usize) -> Result<(), Error> {
    let end = offset.saturating_add(size_bytes);
    if offset != upload.received_bytes || upload.finished_at.is_some() {
        Err(wrong_offset(&Standing::open(upload)?))
    } else if size > PART_BYTES_MAX {
        let sentence = format!("A part may have at most {PART_BYTES_MAX} bytes. Send less at a time.");
        Err(Error::TooLarge { code: "part_too_large", sentence })
    } else if end > upload.size_bytes {
        Err(Error::invalid(
            "beyond_the_end",
            "The part reaches beyond the size that was reserved. Send less.",
        ))
    } else if size == 0 || size < PART_BYTES_MIN && end < upload.size_bytes {
        let sentence = format!("A part has at least {PART_BYTES_MIN} bytes, unless it ends the file.");
        Err(Error::invalid("part_too_small", sentence))
    } else {
        Ok(())
    }
}

async fn note(
    tx: &mut Tx,
    who: Member,
    digest: FileDigest,
    part: &PartRecord,
    now: DateTime<Utc>,
) -> Result<Standing, Error> {
    let upload = files::lock_upload(tx, who.who().member, digest.bytes()).await?.ok_or(Error::NotFound)?;
    let mut standing = Standing::open(&upload)?;
    let same = upload.upload_id == part.upload_id && upload.finished_at.is_none();
    if !same || upload.received_bytes != part.offset_bytes {
        return Err(wrong_offset(&standing));
    }
    files::insert_part(tx, &upload, part, now).await?;
    standing.offset_bytes = part.offset_bytes + part.size_bytes;
    Ok(standing)
}
