//! Room for large bodies: however many clients send them, or hold them half sent, all of them together
//! take a bounded part of the memory.

use crate::error::Error;
use tokio::sync::{Semaphore, SemaphorePermit};

/// So much of a body is always read.
const SMALL: usize = 16 * 1024;
/// What lies beyond that is counted in blocks.
pub(super) const BLOCK: usize = 16 * 1024;
/// Blocks of all bodies being read: 64 MiB.
const BLOCKS: usize = 64 * 1024 * 1024 / BLOCK;

static ALL: Semaphore = Semaphore::const_new(BLOCKS);

/// One body's part of the room; given back when dropped.
#[derive(Debug, Default)]
pub(super) struct Room(Option<SemaphorePermit<'static>>);

impl Room {
    /// Makes it large enough for so many bytes in all.
    ///
    /// # Errors
    /// [`Error::Unavailable`] when other bodies fill the room.
    pub(super) fn for_bytes(&mut self, bytes: usize) -> Result<(), Error> {
        let needed = bytes.saturating_sub(SMALL).div_ceil(BLOCK);
        let had = self.0.as_ref().map_or(0, SemaphorePermit::num_permits);
        let missing = u32::try_from(needed.saturating_sub(had)).unwrap_or(u32::MAX);
        if missing == 0 {
            return Ok(());
        }
        let more = ALL.try_acquire_many(missing).map_err(|_| Error::Unavailable {
            why: "too many large bodies at once".into(),
            retry_after_s: 2,
        })?;
        match &mut self.0 {
            Some(held) => held.merge(more),
            none => *none = Some(more),
        }
        Ok(())
    }
}
