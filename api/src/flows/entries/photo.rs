//! A photo of a job: it names a file by its digest, which may come before or after it, and books nothing.

use super::Desk;
use super::cards::{Author, Cards};
use super::facts::{Fact, Photo};
use super::refusal::EntryRefusal;
use crate::store::files::FileUse;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// The longest caption, in characters.
const CAPTION: usize = 500;

/// What the cards said.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Basis {
    /// The van of the job.
    pub(super) place_id: Uuid,
}

/// Whether it can be kept. A job that is settled or was called off may still be shown as it was.
pub(super) fn judge(fact: &Photo, cards: &Cards, author: Author) -> Result<Basis, EntryRefusal> {
    let job = cards.own_job(fact.job_id, author)?;
    if let Some(section) = &fact.section {
        cards.section(job, section)?;
    }
    if fact.caption.as_ref().is_some_and(|caption| caption.chars().count() > CAPTION) {
        let sentence = format!("A caption has at most {CAPTION} characters. Shorten it.");
        return Err(EntryRefusal::at("too_long", "caption", sentence));
    }
    Ok(Basis { place_id: job.place_id })
}

/// The files that new photos refer to.
pub(super) fn uses(desk: &Desk) -> Vec<FileUse> {
    let taken = desk.new.iter().filter(|entry| entry.basis.is_some());
    let named = taken.filter_map(|entry| {
        let Fact::Photo(fact) = &desk.earlier.get(&entry.id)?.fact else { return None };
        Some(FileUse { entry_id: entry.id, job_id: fact.job_id, sha256: fact.sha256.bytes().to_vec() })
    });
    named.collect()
}
