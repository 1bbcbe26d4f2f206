//! How many bytes of files this process holds in memory at once, whoever sends how much.

use super::FILE_BYTES_MAX;
use crate::error::Error;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::{OwnedSemaphorePermit, Semaphore};

/// What is handed out, in KiB: five of the largest files, each as it was sent.
const KIB: usize = 128 * 1024;
/// How long a whole file waits for its turn.
const PATIENCE: Duration = Duration::from_secs(10);

/// The allowance. Cheap to clone.
#[derive(Debug, Clone)]
pub struct Budget(Arc<Semaphore>);

/// What someone holds of it, until dropped.
#[derive(Debug, Default)]
pub struct Held {
    permit: Option<OwnedSemaphorePermit>,
    spare_bytes: usize,
}

impl Default for Budget {
    fn default() -> Self {
        Self(Arc::new(Semaphore::new(KIB)))
    }
}

impl Budget {
    /// Adds some bytes to what is held, at once or not at all: whoever sends slowly holds only what has
    /// arrived.
    ///
    /// # Errors
    /// [`Error::Unavailable`] when too much is on its way.
    pub fn add(&self, held: &mut Held, bytes: usize) -> Result<(), Error> {
        if held.spare_bytes < bytes {
            let kib = (bytes - held.spare_bytes).div_ceil(1024);
            let permits = u32::try_from(kib).map_err(Error::internal)?;
            let more = Arc::clone(&self.0).try_acquire_many_owned(permits).map_err(|_| busy())?;
            match &mut held.permit {
                Some(permit) => permit.merge(more),
                None => held.permit = Some(more),
            }
            held.spare_bytes += kib * 1024;
        }
        held.spare_bytes -= bytes;
        Ok(())
    }

    /// Room for a whole file, as it was sent and as it is kept, when it is free.
    ///
    /// # Errors
    /// [`Error::Unavailable`] when that takes too long.
    pub async fn whole(&self, size_bytes: usize) -> Result<Held, Error> {
        let kib = (2 * size_bytes.min(FILE_BYTES_MAX)).div_ceil(1024);
        let permits = u32::try_from(kib).map_err(Error::internal)?;
        let wait = Arc::clone(&self.0).acquire_many_owned(permits);
        let permit = tokio::time::timeout(PATIENCE, wait).await.map_err(|_| busy())?.map_err(|_| busy())?;
        Ok(Held { permit: Some(permit), spare_bytes: 0 })
    }
}

fn busy() -> Error {
    Error::Unavailable { why: "too many bytes of files are on their way".into(), retry_after_s: 2 }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bytes_are_counted_as_they_come_and_given_back_when_they_go() {
        let budget = Budget::default();
        let mut held = Held::default();
        for _ in 0..KIB {
            budget.add(&mut held, 1000).unwrap();
        }
        assert!(budget.0.available_permits() <= KIB - KIB * 1000 / 1024);
        let mut other = Held::default();
        assert!(budget.add(&mut other, KIB * 1024).is_err(), "more than is left");
        drop(held);
        budget.add(&mut other, KIB * 1024).unwrap();
        assert_eq!(budget.0.available_permits(), 0);
    }
}
