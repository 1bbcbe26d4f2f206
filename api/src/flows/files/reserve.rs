//! Reserving: a file is announced by its digest, its size, its type and what it is for.

use super::{Cabinet, FILE_BYTES_MAX, FileDigest, MediaType, Purpose, Standing, name, part_names, sweep};
use crate::auth::{Member, Role};
use crate::error::Error;
use crate::ids::fresh;
use crate::store::files::{self, PartRecord, UploadRecord};
use crate::store::{Db, Tx};
use chrono::{DateTime, Utc};

/// What is announced.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Wish {
    /// SHA-256 of the whole.
    pub digest: FileDigest,
    /// How large the whole is.
    pub size_bytes: u64,
    /// What it is.
    pub media_type: MediaType,
    /// What it is for.
    pub what: Purpose,
    /// What the sender calls it.
    pub name: Option<String>,
}

/// Announces a file. Again, it answers how far the file is; announced otherwise, it begins anew. Whether
/// it was begun now.
///
/// # Errors
/// [`Error::TooLarge`], [`Error::Invalid`], [`Error::NotAllowed`]; [`Error::Conflict`] when the fleet has
/// no room left.
pub async fn reserve(
    db: &Db,
    cabinet: &Cabinet,
    who: Member,
    wish: Wish,
    now: DateTime<Utc>,
) -> Result<(bool, Standing), Error> {
    let fleet = who.who().fleet;
    let size_bytes = checked(&wish, who)?;
    let (quota, name) = (cabinet.quota, wish.name.as_deref().and_then(name::cleaned));
    let upload = UploadRecord {
        fleet_id: fleet.0,
        sha256: wish.digest.bytes().to_vec(),
        member_id: who.who().member.0,
        upload_id: fresh(),
        size_bytes,
        media_type: wish.media_type.word().to_owned(),
        what: wish.what.word().to_owned(),
        name,
        received_bytes: 0,
        reserved_at: now,
        touched_at: now,
        finished_at: None,
    };
    let most =
        (i64::try_from(quota.bytes).unwrap_or(i64::MAX), i64::try_from(quota.files).unwrap_or(i64::MAX));
    let (first, standing, left) =
        db.write("reserve_file", fleet, async move |tx| begin(tx, who, &upload, most).await).await?;
    cabinet.blobs.discard(&part_names(fleet, &left)).await;
    sweep::perhaps(db, cabinet, fleet, now);
    Ok((first, standing))
}

fn checked(wish: &Wish, who: Member) -> Result<i64, Error> {
    if !usize::try_from(wish.size_bytes).is_ok_and(|size| size <= FILE_BYTES_MAX) {
        let sentence = format!("A file may have at most {FILE_BYTES_MAX} bytes. Send a smaller one.");
        return Err(Error::TooLarge { code: "file_too_large", sentence });
    }
    if wish.size_bytes == 0 {
        return Err(Error::invalid_at("empty_file", "/size_bytes", "A file has at least one byte."));
    }
    if wish.name.as_ref().is_some_and(|name| name.chars().count() > name::LONGEST_SENT) {
        let sentence = format!("A name has at most {} characters. Shorten it.", name::LONGEST_SENT);
        return Err(Error::invalid_at("too_long", "/name", sentence));
    }
    if wish.what == Purpose::Sheet && who.who().role == Role::Technician {
        return Err(Error::NotAllowed);
    }
    if !wish.what.takes(wish.media_type) {
        let sentence = "A photo is JPEG or PNG, and a sheet is PDF. Send one of those.";
        return Err(Error::invalid_at("wrong_type", "/media_type", sentence));
    }
    i64::try_from(wish.size_bytes).map_err(Error::internal)
}

async fn begin(
    tx: &mut Tx,
    who: Member,
    new: &UploadRecord,
    (most_bytes, most_files): (i64, i64),
) -> Result<(bool, Standing, Vec<PartRecord>), Error> {
    let had = files::lock_upload(tx, who.who().member, &new.sha256).await?;
    if let Some(file) = files::find(tx, &new.sha256).await?
        && file.damaged_at.is_none()
    {
        return Ok((false, Standing::kept(&file)?, Vec::new()));
    }
    let mut left = Vec::new();
    if let Some(had) = had {
        let same =
            had.size_bytes == new.size_bytes && had.media_type == new.media_type && had.what == new.what;
        if same && had.finished_at.is_none() {
            return Ok((false, Standing::open(&had)?, left));
        }
        left = files::delete_upload(tx, &had).await?;
        if had.finished_at.is_none() {
            files::give_back(tx, had.size_bytes, 1).await?;
        }
    }
    if !files::take(tx, new.size_bytes, most_bytes, most_files).await? {
        let sentence = "The fleet's room for files is used up. Ask whoever runs the server for more.";
        return Err(Error::conflict("no_room_for_files", sentence));
    }
    files::insert_upload(tx, new).await?;
    Ok((true, Standing::open(new)?, left))
}
