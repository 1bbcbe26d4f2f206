//! Passwords: what is acceptable, and hashing with Argon2id off the request threads.
//!
//! Length alone counts (NIST SP 800-63B: at least 15 characters where a password stands alone, no
//! rules of composition, nothing cut or folded), less the passwords everybody tries first.

use crate::config::HashingConfig;
use argon2::password_hash::{PasswordHasher, PasswordVerifier, phc};
use argon2::{Algorithm, Argon2, Params, Version};
use secrecy::{ExposeSecret, SecretString};
use std::collections::HashSet;
use std::sync::Arc;
use tokio::sync::Semaphore;

/// Shortest password, in characters.
pub const SHORTEST: usize = 15;
/// Longest password, in characters; longer would only serve to keep the hasher busy.
pub const LONGEST: usize = 256;
/// Fewest different characters.
const FEWEST_DISTINCT: usize = 6;
/// How many may wait for the hasher before the rest is told to come back.
const QUEUE: usize = 32;

/// Whether a new password will do.
///
/// # Errors
/// The sentence to show.
pub fn acceptable(password: &SecretString) -> Result<(), &'static str> {
    let text = password.expose_secret();
    let length = text.chars().count();
    if length < SHORTEST {
        return Err("a password needs at least 15 characters; a few unrelated words are easiest to remember");
    }
    if length > LONGEST {
        return Err("a password may have at most 256 characters");
    }
    if text.chars().collect::<HashSet<_>>().len() < FEWEST_DISTINCT {
        return Err("this password repeats a few characters and is soon guessed; choose another");
    }
    Ok(())
}

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

/// Hashes and checks, at most one at a time per core, with a bounded queue.
#[derive(Clone)]
pub struct Hasher {
    params: Params,
    turns: Arc<Semaphore>,
    room: Arc<Semaphore>,
    /// A hash of nothing anyone knows, checked when there is no member, so that both take the same time.
    decoy: Arc<str>,
}

impl std::fmt::Debug for Hasher {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Hasher({:?})", self.params)
    }
}

impl Hasher {
    /// A hasher with these parameters.
    ///
    /// # Errors
    /// When the parameters are not Argon2's.
    pub fn new(config: HashingConfig, cores: usize) -> Result<Self, HashingError> {
        let params =
            Params::new(config.memory_kib, config.passes, 1, None).map_err(|_| HashingError::Failed)?;
        let decoy = hash_with(&params, &uuid::Uuid::new_v4().to_string())?;
        Ok(Self {
            params,
            turns: Arc::new(Semaphore::new(cores.max(1))),
            room: Arc::new(Semaphore::new(QUEUE)),
            decoy: decoy.into(),
        })
    }

    /// The PHC string of a password.
    ///
    /// # Errors
    /// [`HashingError`].
    pub async fn hash(&self, password: SecretString) -> Result<String, HashingError> {
        let params = self.params.clone();
        self.off_thread(move || hash_with(&params, password.expose_secret())).await
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
        self.off_thread(move || {
            let known = stored.is_some();
            let phc = stored.as_deref().unwrap_or(&decoy);
            let hash = phc::PasswordHash::new(phc).map_err(|_| HashingError::Failed)?;
            let argon = Argon2::new(Algorithm::Argon2id, Version::V0x13, params.clone());
            let right = argon.verify_password(password.expose_secret().as_bytes(), &hash).is_ok() && known;
            let weaker = Params::try_from(&hash)
                .map_or(true, |had| had.m_cost() < params.m_cost() || had.t_cost() < params.t_cost());
            let rehashed =
                if right && weaker { Some(hash_with(&params, password.expose_secret())?) } else { None };
            Ok(Checked { right, rehashed })
        })
        .await
    }

    async fn off_thread<T: Send + 'static>(
        &self,
        work: impl FnOnce() -> Result<T, HashingError> + Send + 'static,
    ) -> Result<T, HashingError> {
        let place = Arc::clone(&self.room).try_acquire_owned().map_err(|_| HashingError::Busy)?;
        let turn = Arc::clone(&self.turns).acquire_owned().await.map_err(|_| HashingError::Failed)?;
        let done = tokio::task::spawn_blocking(move || {
            let answer = work();
            drop((turn, place));
            answer
        });
        done.await.map_err(|_| HashingError::Failed)?
    }
}

fn hash_with(params: &Params, password: &str) -> Result<String, HashingError> {
    let argon = Argon2::new(Algorithm::Argon2id, Version::V0x13, params.clone());
    let hash: phc::PasswordHash =
        argon.hash_password(password.as_bytes()).map_err(|_| HashingError::Failed)?;
    Ok(hash.to_string())
}
