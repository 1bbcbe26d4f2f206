//! Where the bytes of files lie: a folder, or any S3-compatible store. Every name is made here, the
//! fleet first, then the day it was made on, so that what a crash left behind is found day by day.
//!
//! Never: a name that anybody sent.

use crate::error::Error;
use crate::ids::FleetId;
use bytes::Bytes;
use chrono::NaiveDate;
use futures_util::TryStreamExt;
use object_store::local::LocalFileSystem;
use object_store::path::Path;
use object_store::prefix::PrefixStore;
use object_store::{ObjectStore, ObjectStoreExt, PutMode, PutOptions, PutPayload};
use std::fs::DirBuilder;
use std::io::ErrorKind;
use std::os::unix::fs::DirBuilderExt;
use std::path::PathBuf;
use std::sync::Arc;
use uuid::Uuid;

/// What lies there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shelf {
    /// Parts of files that are still on their way in.
    Parts,
    /// Whole files.
    Kept,
}

impl Shelf {
    const fn word(self) -> &'static str {
        match self {
            Self::Parts => "parts",
            Self::Kept => "kept",
        }
    }
}

/// The name of one blob.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BlobName {
    /// Whose.
    pub fleet: FleetId,
    /// Where.
    pub shelf: Shelf,
    /// The day it was made on, in UTC.
    pub made_on: NaiveDate,
    /// An id of the server's own.
    pub id: Uuid,
}

impl BlobName {
    fn path(&self) -> Path {
        day(self.fleet, self.shelf, self.made_on).join(self.id.to_string())
    }
}

fn shelf(fleet: FleetId, shelf: Shelf) -> Path {
    Path::from_iter([fleet.to_string(), shelf.word().to_owned()])
}

fn day(fleet: FleetId, on: Shelf, made_on: NaiveDate) -> Path {
    shelf(fleet, on).join(made_on.to_string())
}

/// The store of bytes. Cheap to clone.
#[derive(Debug, Clone)]
pub struct Blobs {
    store: Arc<dyn ObjectStore>,
    /// The folder, where the store is one: half-written files lie there that the store does not list.
    folder: Option<PathBuf>,
}

impl Blobs {
    /// The store at a folder, which is made when it is not there, or at a URL such as
    /// `s3://bucket/fleets`, whose keys and region are read from the environment (`AWS_…`).
    ///
    /// # Errors
    /// [`Error::Internal`] when there is no such kind of store in this build, or the folder cannot be made.
    pub fn open(location: &str) -> Result<Self, Error> {
        if location.contains("://") {
            let url = location.parse::<url::Url>().map_err(Error::internal)?;
            let (store, path) =
                object_store::parse_url_opts(&url, std::env::vars()).map_err(Error::internal)?;
            return Ok(Self::over(Arc::new(PrefixStore::new(store, path))));
        }
        let folder = PathBuf::from(location);
        DirBuilder::new().recursive(true).mode(0o700).create(&folder).map_err(Error::internal)?;
        // An answer that a part has arrived must hold when the power fails right after it.
        let store = LocalFileSystem::new_with_prefix(&folder).map_err(Error::internal)?.with_fsync(true);
        Ok(Self { store: Arc::new(store), folder: Some(folder) })
    }

    /// Any store at all.
    #[must_use]
    pub fn over(store: Arc<dyn ObjectStore>) -> Self {
        Self { store, folder: None }
    }

    /// Writes a new blob, whole or not at all.
    ///
    /// # Errors
    /// [`Error::StoreFull`]; [`Error::Unavailable`] when the store fails.
    pub async fn put(&self, name: BlobName, pieces: Vec<Bytes>) -> Result<(), Error> {
        let create = PutOptions { mode: PutMode::Create, ..PutOptions::default() };
        let payload = PutPayload::from_iter(pieces);
        self.store.put_opts(&name.path(), payload, create).await.map_err(|error| failed(&error))?;
        Ok(())
    }

    /// How large a blob is; `None` when it is not there.
    ///
    /// # Errors
    /// [`Error::Unavailable`] when the store fails.
    pub async fn size(&self, name: BlobName) -> Result<Option<u64>, Error> {
        match self.store.head(&name.path()).await {
            Ok(about) => Ok(Some(about.size)),
            Err(object_store::Error::NotFound { .. }) => Ok(None),
            Err(error) => Err(failed(&error)),
        }
    }

    /// Some bytes of a blob.
    ///
    /// # Errors
    /// [`Error::NotFound`]; [`Error::Unavailable`] when the store fails.
    pub async fn read(&self, name: BlobName, range: std::ops::Range<u64>) -> Result<Bytes, Error> {
        self.store.get_range(&name.path(), range).await.map_err(|error| failed(&error))
    }

    /// Takes a blob away; one that is not there is gone already.
    ///
    /// # Errors
    /// [`Error::Unavailable`] when the store fails.
    pub async fn delete(&self, name: BlobName) -> Result<(), Error> {
        match self.store.delete(&name.path()).await {
            Ok(()) | Err(object_store::Error::NotFound { .. }) => Ok(()),
            Err(error) => Err(failed(&error)),
        }
    }

    /// Takes blobs away that nothing refers to any more. What cannot be taken away now is found by the
    /// sweep of its day.
    pub async fn discard(&self, names: &[BlobName]) {
        for name in names {
            if let Err(error) = self.delete(*name).await {
                tracing::warn!(%error, "a blob could not be taken away");
            }
        }
    }

    /// The days on which blobs of a fleet were made, earliest first.
    ///
    /// # Errors
    /// [`Error::Unavailable`] when the store fails.
    pub async fn days(&self, fleet: FleetId, on: Shelf) -> Result<Vec<NaiveDate>, Error> {
        let listed =
            self.store.list_with_delimiter(Some(&shelf(fleet, on))).await.map_err(|error| failed(&error))?;
        let named = listed.common_prefixes.iter();
        let mut days: Vec<NaiveDate> = named.filter_map(|path| path.filename()?.parse().ok()).collect();
        days.sort_unstable();
        Ok(days)
    }

    /// The blobs of a fleet that were made on a day.
    ///
    /// # Errors
    /// [`Error::Unavailable`] when the store fails.
    pub async fn made_on(&self, fleet: FleetId, on: Shelf, made_on: NaiveDate) -> Result<Vec<Uuid>, Error> {
        let listed = self.store.list(Some(&day(fleet, on, made_on)));
        let named = listed.map_ok(|about| about.location.filename().and_then(|name| name.parse().ok()));
        let found: Vec<Option<Uuid>> = named.try_collect().await.map_err(|error| failed(&error))?;
        Ok(found.into_iter().flatten().collect())
    }

    /// Tidies a day of a folder up on which nothing is written any more: what a killed process left half
    /// written, and the folder itself when it is empty. Other stores have neither.
    pub fn tidy(&self, fleet: FleetId, on: Shelf, made_on: NaiveDate) {
        let Some(folder) = &self.folder else { return };
        let of_the_day = folder.join(day(fleet, on, made_on).as_ref());
        let Ok(entries) = std::fs::read_dir(&of_the_day) else { return };
        for entry in entries.filter_map(Result::ok) {
            // The store writes `name#1` first and gives it its name when it is whole.
            if entry.file_name().to_string_lossy().contains('#') {
                let _ = std::fs::remove_file(entry.path());
            }
        }
        let _ = std::fs::remove_dir(&of_the_day);
    }
}

fn failed(error: &object_store::Error) -> Error {
    if matches!(error, object_store::Error::NotFound { .. }) {
        return Error::NotFound;
    }
    let mut cause: Option<&dyn std::error::Error> = Some(error);
    while let Some(because) = cause {
        let io = because.downcast_ref::<std::io::Error>().map(std::io::Error::kind);
        if matches!(io, Some(ErrorKind::StorageFull | ErrorKind::QuotaExceeded)) {
            return Error::StoreFull;
        }
        cause = because.source();
    }
    Error::Unavailable { why: format!("the store of files: {error}"), retry_after_s: 5 }
}
