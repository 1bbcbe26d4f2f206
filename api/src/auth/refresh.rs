//! Refresh tokens: opaque, kept only as a hash, each good for one successor.
//!
//! The successor is derived from its forerunner with a secret of the server. A phone that lost the
//! reply may therefore ask again and gets the same successor, not a second branch; neither the
//! database nor the secret alone is enough to make one.

use super::Keys;
use crate::ids::{FleetId, SessionId};
use aws_lc_rs::hmac;
use aws_lc_rs::rand::{SecureRandom, SystemRandom};
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use sha2::{Digest, Sha256};
use uuid::Uuid;

/// A refresh token taken apart: where to look it up, and what to prove.
pub struct RefreshToken {
    /// The business, so that the lookup stays inside its walls.
    pub fleet: FleetId,
    /// The sign-in.
    pub session: SessionId,
    secret: [u8; 32],
}

impl std::fmt::Debug for RefreshToken {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "RefreshToken({})", self.session)
    }
}

impl RefreshToken {
    /// The first of a new sign-in: 256 random bits.
    ///
    /// # Errors
    /// A word for the log when the machine has no randomness.
    pub fn first(fleet: FleetId, session: SessionId) -> Result<Self, &'static str> {
        let mut secret = [0_u8; 32];
        SystemRandom::new().fill(&mut secret).map_err(|_| "no randomness")?;
        Ok(Self { fleet, session, secret })
    }

    /// From the text a client sends; anything odd is simply no token.
    #[must_use]
    pub fn read(text: &str) -> Option<Self> {
        let bytes = URL_SAFE_NO_PAD.decode(text).ok()?;
        let (fleet, rest) = bytes.split_first_chunk::<16>()?;
        let (session, secret) = rest.split_first_chunk::<16>()?;
        Some(Self {
            fleet: FleetId(Uuid::from_bytes(*fleet)),
            session: SessionId(Uuid::from_bytes(*session)),
            secret: secret.try_into().ok()?,
        })
    }

    /// The text to hand out. Given once, never kept.
    #[must_use]
    pub fn text(&self) -> String {
        let bytes = [self.fleet.0.as_bytes().as_slice(), self.session.0.as_bytes(), &self.secret].concat();
        URL_SAFE_NO_PAD.encode(bytes)
    }

    /// What the database keeps.
    #[must_use]
    pub fn hash(&self) -> Vec<u8> {
        Sha256::digest(self.secret).to_vec()
    }

    /// The one token that follows this one.
    #[must_use]
    pub fn successor(&self, keys: &Keys) -> Self {
        let key = hmac::Key::new(hmac::HMAC_SHA256, &keys.refresh);
        let tag = hmac::sign(&key, &[self.session.0.as_bytes().as_slice(), &self.secret].concat());
        let mut secret = [0_u8; 32];
        secret.copy_from_slice(tag.as_ref());
        Self { fleet: self.fleet, session: self.session, secret }
    }
    /// Whether one of the next `steps` tokens after this one has that hash: then this one was of the
    /// same family once, and not made up by someone who only knows the session's id.
    #[must_use]
    pub fn is_forerunner_of(&self, hash: &[u8], steps: i64, keys: &Keys) -> bool {
        std::iter::successors(Some(self.successor(keys)), |token| Some(token.successor(keys)))
            .take(usize::try_from(steps).unwrap_or(0))
            .any(|token| token.hash() == hash)
    }
}
