//! Files: reserved by their digest, sent in parts that resume at any place, checked and cleaned when
//! they are whole, handed out only to those who may see them, and swept when nothing needs them.
//!
//! Never: money, a name from outside in the store, bytes handed out that are not those that were kept.

pub mod append;
mod budget;
pub mod check;
mod digest;
pub mod fetch;
pub mod finish;
mod intake;
pub mod job_files;
mod kinds;
mod name;
pub mod reserve;
pub mod sweep;

pub use budget::{Budget, Held};
pub use digest::FileDigest;
pub use kinds::{MediaType, Purpose};

use crate::error::Error;
use crate::ids::FleetId;
use crate::store::blobs::{BlobName, Blobs, Shelf};
use crate::store::files::{FileRecord, PartRecord, UploadRecord};
use serde_json::{Value, json};

/// The largest file, in bytes.
pub const FILE_BYTES_MAX: usize = 25 * 1024 * 1024;
/// The largest part, in bytes.
pub const PART_BYTES_MAX: usize = 8 * 1024 * 1024;
/// The smallest part that does not end its file: bounds how many parts there can be.
pub const PART_BYTES_MIN: usize = 64 * 1024;

/// How much room a fleet's files may take.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Quota {
    /// Bytes, as they were sent or reserved.
    pub bytes: u64,
    /// Files, reserved ones included.
    pub files: u64,
}

/// Where files are kept, and within which limits. Cheap to clone.
#[derive(Debug, Clone)]
pub struct Cabinet {
    /// The store of bytes.
    pub blobs: Blobs,
    /// How much room each fleet has.
    pub quota: Quota,
    /// How many bytes of files this process holds in memory at once.
    pub budget: Budget,
    turns: sweep::Turns,
}

impl Cabinet {
    /// A cabinet over a store.
    #[must_use]
    pub fn new(blobs: Blobs, quota: Quota) -> Self {
        Self { blobs, quota, budget: Budget::default(), turns: sweep::Turns::default() }
    }
}

/// How far a file is, as its sender sees it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Standing {
    /// SHA-256 of the file as it is sent.
    pub digest: FileDigest,
    /// What it is for.
    pub what: Purpose,
    /// What it says it is.
    pub media_type: MediaType,
    /// How large the whole is.
    pub size_bytes: i64,
    /// How much of it has arrived: where to go on.
    pub offset_bytes: i64,
    /// Once it is kept: the digest and the size of what is kept, which has no metadata.
    pub kept: Option<(FileDigest, i64)>,
}

impl Standing {
    fn open(upload: &UploadRecord) -> Result<Self, Error> {
        Ok(Self {
            digest: FileDigest::of_bytes(&upload.sha256)?,
            what: Purpose::of_word(&upload.what)?,
            media_type: MediaType::of_word(&upload.media_type)?,
            size_bytes: upload.size_bytes,
            offset_bytes: upload.received_bytes,
            kept: None,
        })
    }

    fn kept(file: &FileRecord) -> Result<Self, Error> {
        Ok(Self {
            digest: FileDigest::of_bytes(&file.sha256)?,
            what: Purpose::of_word(&file.what)?,
            media_type: MediaType::of_word(&file.media_type)?,
            size_bytes: file.sent_bytes,
            offset_bytes: file.sent_bytes,
            kept: Some((FileDigest::of_bytes(&file.kept_sha256)?, file.kept_bytes)),
        })
    }

    /// As a refusal shows it.
    fn told(&self) -> Value {
        json!({
            "sha256": self.digest,
            "state": if self.kept.is_some() { "kept" } else { "open" },
            "size_bytes": self.size_bytes,
            "offset_bytes": self.offset_bytes,
        })
    }
}

/// Whatever goes on from elsewhere than where a file stands.
fn wrong_offset(standing: &Standing) -> Error {
    let sentence = "The file stands elsewhere. Go on from current.offset_bytes.";
    Error::OutOfStep { code: "wrong_offset", sentence, current: standing.told() }
}

fn part_name(fleet: FleetId, part: &PartRecord) -> BlobName {
    BlobName { fleet, shelf: Shelf::Parts, made_on: part.made_on, id: part.part_id }
}

fn part_names(fleet: FleetId, parts: &[PartRecord]) -> Vec<BlobName> {
    parts.iter().map(|part| part_name(fleet, part)).collect()
}

fn file_name(fleet: FleetId, file: &FileRecord) -> BlobName {
    BlobName { fleet, shelf: Shelf::Kept, made_on: file.made_on, id: file.file_id }
}
