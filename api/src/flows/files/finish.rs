//! Finishing: the whole file is checked against its digest and its type, cleaned, and kept.

use super::intake::{self, Unfit};
use super::{Cabinet, FileDigest, MediaType, Standing, file_name, part_name, part_names};
use crate::auth::{Member, Who};
use crate::error::Error;
use crate::ids::fresh;
use crate::store::files::{self, FileRecord, PartRecord, UploadRecord};
use crate::store::{Db, Tx};
use bytes::{Bytes, BytesMut};
use chrono::{DateTime, Utc};

/// Where a member's file stands when it is to be finished.
enum Stage {
    /// It is kept already.
    Kept(Standing),
    /// All of it has arrived.
    Arrived(UploadRecord, Vec<PartRecord>),
}

/// Keeps a file that has arrived whole. Again, it answers the same.
///
/// # Errors
/// [`Error::NotFound`]; [`Error::OutOfStep`] while something is missing; [`Error::Invalid`] when it is not
/// what it was said to be, and then the upload is forgotten; [`Error::StoreFull`].
pub async fn finish(
    db: &Db,
    cabinet: &Cabinet,
    who: Member,
    digest: FileDigest,
    now: DateTime<Utc>,
) -> Result<Standing, Error> {
    let asked = who.who();
    let stage = db.read(asked.fleet, async |tx| stage(tx, asked, digest).await).await?;
    let (upload, parts) = match stage {
        Stage::Kept(standing) => return Ok(standing),
        Stage::Arrived(upload, parts) => (upload, parts),
    };
    let _held = cabinet.budget.whole(usize::try_from(upload.size_bytes).map_err(Error::internal)?).await?;
    let Some(sent) = read(cabinet, asked, &parts).await? else {
        let sentence =
            "Some of what had arrived is gone. Reserve the file again and send it from its beginning.";
        forget(db, cabinet, asked, &upload).await?;
        return Err(Error::conflict("parts_lost", sentence));
    };
    let media_type = MediaType::of_word(&upload.media_type)?;
    let worked = tokio::task::spawn_blocking(move || take_in(&sent, digest, media_type));
    let (kept, kept_digest) = match worked.await.map_err(Error::internal)? {
        Ok(kept) => kept,
        Err(Unfit { code, sentence }) => {
            forget(db, cabinet, asked, &upload).await?;
            return Err(Error::invalid(code, sentence));
        }
    };
    let file = FileRecord {
        fleet_id: upload.fleet_id,
        sha256: upload.sha256.clone(),
        made_on: now.date_naive(),
        file_id: fresh(),
        media_type: upload.media_type.clone(),
        what: upload.what.clone(),
        name: upload.name.clone(),
        sent_bytes: upload.size_bytes,
        kept_bytes: i64::try_from(kept.len()).map_err(Error::internal)?,
        kept_sha256: kept_digest.bytes().to_vec(),
        kept_at: now,
        damaged_at: None,
    };
    let name = file_name(asked.fleet, &file);
    cabinet.blobs.put(name, vec![kept]).await?;
    let keeping = async move |tx: &mut Tx| keep(tx, asked, &upload, &file, now).await;
    match db.write("finish_file", asked.fleet, keeping).await {
        Ok((standing, ours, left)) => {
            cabinet.blobs.discard(&part_names(asked.fleet, &left)).await;
            if !ours {
                cabinet.blobs.discard(&[name]).await;
            }
            Ok(standing)
        }
        Err(error) => {
            // Whether it was noted may be in doubt; then the bytes stay, and the sweep knows.
            let known = db.read(asked.fleet, async |tx| files::which_kept(tx, &[name.id]).await).await;
            if known.is_ok_and(|known| known.is_empty()) {
                cabinet.blobs.discard(&[name]).await;
            }
            Err(error)
        }
    }
}

async fn stage(tx: &mut Tx, who: Who, digest: FileDigest) -> Result<Stage, Error> {
    let file = files::find(tx, digest.bytes()).await?.filter(|file| file.damaged_at.is_none());
    let upload = files::find_upload(tx, who.member, digest.bytes()).await?.ok_or(Error::NotFound)?;
    if upload.finished_at.is_some() {
        // Finished, and swept or damaged since: it must be reserved anew.
        return Ok(Stage::Kept(Standing::kept(&file.ok_or(Error::NotFound)?)?));
    }
    if upload.received_bytes < upload.size_bytes {
        let sentence = "Something of the file is missing. Go on from current.offset_bytes.";
        let current = Standing::open(&upload)?.told();
        return Err(Error::OutOfStep { code: "not_whole", sentence, current });
    }
    let parts = files::list_parts(tx, upload.upload_id).await?;
    Ok(Stage::Arrived(upload, parts))
}

/// All parts as one; `None` when one of them is gone.
async fn read(cabinet: &Cabinet, who: Who, parts: &[PartRecord]) -> Result<Option<Bytes>, Error> {
    let mut whole = BytesMut::new();
    for part in parts {
        let size = part.size_bytes.unsigned_abs();
        let name = part_name(who.fleet, part);
        if cabinet.blobs.size(name).await? != Some(size) {
            return Ok(None);
        }
        whole.extend_from_slice(&cabinet.blobs.read(name, 0..size).await?);
    }
    Ok(Some(whole.freeze()))
}

fn take_in(sent: &Bytes, digest: FileDigest, media_type: MediaType) -> Result<(Bytes, FileDigest), Unfit> {
    if FileDigest::over([&sent[..]]) != digest {
        let sentence = "The file does not have the digest it was reserved under. Reserve it again and send it from its beginning.";
        return Err(Unfit { code: "digest_differs", sentence: sentence.to_owned() });
    }
    let kept = intake::take_in(sent, media_type)?;
    let digest = FileDigest::over([&kept[..]]);
    Ok((kept, digest))
}

/// Forgets an upload that cannot become a file.
async fn forget(db: &Db, cabinet: &Cabinet, who: Who, upload: &UploadRecord) -> Result<(), Error> {
    let upload = upload.clone();
    let forgetting = async move |tx: &mut Tx| {
        let still = files::lock_upload(tx, who.member, &upload.sha256).await?;
        let Some(still) = still.filter(|still| still.upload_id == upload.upload_id) else {
            return Ok(Vec::new());
        };
        if still.finished_at.is_none() {
            files::give_back(tx, still.size_bytes, 1).await?;
        }
        files::delete_upload(tx, &still).await
    };
    let left = db.write("forget_upload", who.fleet, forgetting).await?;
    cabinet.blobs.discard(&part_names(who.fleet, &left)).await;
    Ok(())
}

/// Notes the file; whether it is this one that is kept, or one that was there first.
async fn keep(
    tx: &mut Tx,
    who: Who,
    upload: &UploadRecord,
    file: &FileRecord,
    now: DateTime<Utc>,
) -> Result<(Standing, bool, Vec<PartRecord>), Error> {
    let still = files::lock_upload(tx, who.member, &upload.sha256).await?;
    let still = still.filter(|still| still.upload_id == upload.upload_id).ok_or(Error::NotFound)?;
    if still.finished_at.is_some() {
        // The same was finished twice at once.
        let there = files::find(tx, &upload.sha256).await?.ok_or(Error::NotFound)?;
        return Ok((Standing::kept(&there)?, there.file_id == file.file_id, Vec::new()));
    }
    let before = files::find(tx, &upload.sha256).await?;
    let ours = files::insert(tx, file).await?;
    if !ours || before.is_some() {
        // Its room is taken by the one that was there first, or was there and is mended.
        files::give_back(tx, upload.size_bytes, 1).await?;
    }
    let left = files::finish_upload(tx, &still, now).await?;
    let there = files::find(tx, &upload.sha256).await?.ok_or(Error::NotFound)?;
    Ok((Standing::kept(&there)?, ours, left))
}
