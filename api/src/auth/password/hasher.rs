//! The threads that hash, and the queue in front of them.

use super::argon::{self, Memory};
use crate::config::HashingConfig;
use argon2::Params;
use secrecy::{ExposeSecret, SecretString};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::mpsc::{Receiver, SyncSender, TrySendError, sync_channel};
use std::sync::{Arc, Mutex, PoisonError};
use tokio::sync::oneshot;

/// How many may wait for the hasher before the rest is told to come back.
const QUEUE: usize = 32;

/// Why the hasher gave no answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum HashingError {
    /// Too many are waiting.
    Busy,
    /// The hasher failed.
    Failed,
}

/// The outcome of a check.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Checked {
    /// Whether the password is right.
    pub right: bool,
    /// A fresh hash, when the password is right and its hash is weaker than the settings now ask.
    pub rehashed: Option<String>,
}

/// Hashes and checks on threads of its own, one per core, with a bounded queue.
///
/// Each thread works in memory of its own, kept from one hash to the next while somebody waits: a hash
/// takes some 19 MiB, and with memory per sign-in two hundred of them at once grew the server by 560 MiB.
/// When nobody waits any more it is given back.
#[derive(Clone)]
pub struct Hasher {
    params: Params,
    queue: SyncSender<Job>,
    /// A hash of nothing anyone knows, checked when there is no member, so that both take the same time.
    decoy: Arc<str>,
}

type Job = Box<dyn FnOnce(&mut Memory) + Send>;

impl std::fmt::Debug for Hasher {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Hasher({:?})", self.params)
    }
}

impl Hasher {
    /// A hasher with these parameters.
    ///
    /// # Errors
    /// When the parameters are not Argon2's, or no thread can be started.
    pub fn new(config: HashingConfig, cores: usize) -> Result<Self, HashingError> {
        let params =
            Params::new(config.memory_kib, config.passes, 1, None).map_err(|_| HashingError::Failed)?;
        let decoy = argon::hash(&params, &uuid::Uuid::new_v4().to_string(), &mut Memory::default())?;
        let (queue, jobs) = sync_channel::<Job>(QUEUE);
        let jobs = Arc::new(Mutex::new(jobs));
        for _ in 0..cores.max(1) {
            let jobs = Arc::clone(&jobs);
            let thread = std::thread::Builder::new().name("hasher".into());
            thread.spawn(move || work_through(&jobs)).map_err(|_| HashingError::Failed)?;
        }
        Ok(Self { params, queue, decoy: decoy.into() })
    }

    /// The PHC string of a password.
    ///
    /// # Errors
    /// [`HashingError`].
    pub async fn hash(&self, password: SecretString) -> Result<String, HashingError> {
        let params = self.params.clone();
        self.off_thread(move |memory| argon::hash(&params, password.expose_secret(), memory)).await
    }

    /// Whether the password belongs to the stored hash. Without one it works just as long, and fails.
    ///
    /// # Errors
    /// [`HashingError`].
    pub async fn check(
        &self,
        password: SecretString,
        stored: Option<String>,
    ) -> Result<Checked, HashingError> {
        let params = self.params.clone();
        let decoy = Arc::clone(&self.decoy);
        self.off_thread(move |memory| {
            let text = password.expose_secret();
            let fits = argon::fits(stored.as_deref().unwrap_or(&decoy), text, memory)?;
            let right = fits && stored.is_some();
            let weaker = right && argon::is_weaker(stored.as_deref().unwrap_or(&decoy), &params)?;
            let rehashed = if weaker { Some(argon::hash(&params, text, memory)?) } else { None };
            Ok(Checked { right, rehashed })
        })
        .await
    }

    async fn off_thread<T: Send + 'static>(
        &self,
        work: impl FnOnce(&mut Memory) -> Result<T, HashingError> + Send + 'static,
    ) -> Result<T, HashingError> {
        let (tell, told) = oneshot::channel();
        let job: Job = Box::new(move |memory| {
            // Whoever asked may have gone while this waited its turn.
            if !tell.is_closed() {
                let _ = tell.send(work(memory));
            }
        });
        self.queue.try_send(job).map_err(|refused| match refused {
            TrySendError::Full(_) => HashingError::Busy,
            TrySendError::Disconnected(_) => HashingError::Failed,
        })?;
        told.await.map_err(|_| HashingError::Failed)?
    }
}

/// One job after the other in the same memory, until the last hasher is gone.
fn work_through(jobs: &Mutex<Receiver<Job>>) {
    let mut memory = Memory::default();
    loop {
        let job = waiting(jobs).or_else(|| {
            memory = Memory::default();
            jobs.lock().unwrap_or_else(PoisonError::into_inner).recv().ok()
        });
        let Some(job) = job else { return };
        // A job that panics answers nobody, and must not take the thread with it.
        let _ = catch_unwind(AssertUnwindSafe(|| job(&mut memory)));
    }
}

/// A job that is there already. While another thread holds the queue it waits for one itself: there is none.
fn waiting(jobs: &Mutex<Receiver<Job>>) -> Option<Job> {
    jobs.try_lock().ok()?.try_recv().ok()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use super::*;

    fn hasher() -> Hasher {
        Hasher::new(HashingConfig::default(), 1).unwrap()
    }

    fn secret(text: &str) -> SecretString {
        text.to_owned().into()
    }

    #[tokio::test]
    async fn a_hash_knows_its_password_and_no_other() {
        let hasher = hasher();
        let phc = hasher.hash(secret("five grey herons wading")).await.unwrap();
        let check = async |password: &str| hasher.check(secret(password), Some(phc.clone())).await.unwrap();
        assert_eq!(check("five grey herons wading").await, Checked { right: true, rehashed: None });
        for other in ["five grey herons Wading", "five grey herons wading ", "five grey herons", ""] {
            assert_eq!(check(other).await, Checked { right: false, rehashed: None }, "{other}");
        }
        assert_ne!(phc, hasher.hash(secret("five grey herons wading")).await.unwrap(), "a salt of its own");
    }

    #[tokio::test]
    async fn nobodys_password_is_never_right() {
        let nobody = hasher().check(secret("five grey herons wading"), None).await.unwrap();
        assert_eq!(nobody, Checked { right: false, rehashed: None });
    }

    #[tokio::test]
    async fn a_weaker_hash_is_replaced_only_for_the_right_password() {
        let weak = hasher().hash(secret("five grey herons wading")).await.unwrap();
        let stronger = Hasher::new(HashingConfig { memory_kib: 19_456, passes: 3 }, 1).unwrap();
        let wrong = stronger.check(secret("six brown herons flying"), Some(weak.clone())).await.unwrap();
        assert_eq!(wrong.rehashed, None);
        let right = stronger.check(secret("five grey herons wading"), Some(weak)).await.unwrap();
        assert!(right.rehashed.unwrap().contains("t=3"));
    }

    #[tokio::test]
    async fn a_full_queue_says_so_at_once_and_empties_again() {
        let hasher = hasher();
        let asked: Vec<_> = (0..QUEUE + 8)
            .map(|_| {
                let hasher = hasher.clone();
                tokio::spawn(async move { hasher.check(secret("x"), None).await })
            })
            .collect();
        let mut busy = 0;
        for answer in asked {
            match answer.await.unwrap() {
                Ok(checked) => assert!(!checked.right),
                Err(why) => {
                    assert_eq!(why, HashingError::Busy);
                    busy += 1;
                }
            }
        }
        assert!((1..=8).contains(&busy), "{busy} turned away");
        assert!(hasher.check(secret("x"), None).await.is_ok());
    }

    #[test]
    fn nothing_of_a_hasher_is_printed() {
        let hasher = hasher();
        assert!(!format!("{hasher:?}").contains(&*hasher.decoy));
    }
}
