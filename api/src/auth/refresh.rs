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

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use super::*;
    use crate::ids::fresh;

    fn keys() -> Keys {
        let folder = std::env::temp_dir().join(format!("dropwise-refresh-{}", fresh()));
        let keys = Keys::open(&folder).unwrap();
        std::fs::remove_dir_all(folder).unwrap();
        keys
    }

    fn first() -> RefreshToken {
        RefreshToken::first(FleetId(fresh()), SessionId(fresh())).unwrap()
    }

    #[test]
    fn a_token_survives_the_way_to_the_phone_and_back() {
        let token = first();
        let read = RefreshToken::read(&token.text()).unwrap();
        assert_eq!((read.fleet, read.session, read.hash()), (token.fleet, token.session, token.hash()));
        let text = token.text();
        for odd in ["", "x", &text[1..], &format!("{text}A"), &text.replace(char::is_alphanumeric, "+")] {
            assert!(RefreshToken::read(odd).is_none(), "{odd}");
        }
    }

    #[test]
    fn a_token_has_one_successor_which_takes_the_servers_secret_to_make() {
        let (keys, token) = (keys(), first());
        assert_eq!(token.successor(&keys).hash(), token.successor(&keys).hash());
        assert_ne!(token.successor(&keys).hash(), token.successor(&self::keys()).hash());
        assert_ne!(token.successor(&keys).hash(), token.hash());
        let moved =
            RefreshToken { session: SessionId(fresh()), ..RefreshToken::read(&token.text()).unwrap() };
        assert_ne!(token.successor(&keys).hash(), moved.successor(&keys).hash(), "bound to its session");
    }

    #[test]
    fn a_family_is_known_as_far_back_as_it_was_renewed() {
        let (keys, token) = (keys(), first());
        let third = token.successor(&keys).successor(&keys).successor(&keys);
        assert!(token.is_forerunner_of(&third.hash(), 3, &keys));
        assert!(!token.is_forerunner_of(&third.hash(), 2, &keys), "no further than asked");
        assert!(!third.is_forerunner_of(&token.hash(), 9, &keys), "not the other way round");
        assert!(!first().is_forerunner_of(&third.hash(), 9, &keys));
    }

    #[test]
    fn nothing_secret_is_printed() {
        let token = first();
        assert!(!format!("{token:?}").contains(&token.text()));
    }
}
