//! A phone's own key, and the proof that a refresh token is sent by the phone it was given to.
//!
//! The private key never leaves the phone. What it signs is short and fresh: which token it renews,
//! and when, by the server's clock as the phone knows it. A token copied from the phone, or an answer
//! read on the way, is worth nothing without the key (RFC 9700, 2.2.2: sender-constrained refresh tokens).

use super::refresh::RefreshToken;
use aws_lc_rs::signature::{ED25519, ParsedPublicKey};
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use chrono::{DateTime, Duration, Utc};
use sha2::{Digest, Sha256};

/// How far from the server's clock a proof may have been signed, either way.
pub const PROOF_LIFE: Duration = Duration::minutes(5);
/// What the statement begins with, so that nothing else the key ever signs can be taken for it.
const STATEMENT: &str = "dropwise refresh 1";

/// A phone's Ed25519 public key (RFC 8032): 32 bytes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DeviceKey([u8; 32]);

/// A signature over the statement for one token.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KeyProof {
    /// Unix time in milliseconds at which it was signed, by the server's clock as the phone knows it.
    pub signed_at_ms: i64,
    /// Ed25519 signature: 64 bytes.
    pub signature: Vec<u8>,
}

/// What a proof is worth.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Proven {
    /// The phone of the key sent it, now.
    Holds,
    /// The phone of the key signed it, but too long ago or ahead of time.
    OutOfTime,
    /// No proof of this key for this token.
    Nothing,
}

impl DeviceKey {
    /// From base64url without padding; `None` when it is no public key.
    #[must_use]
    pub fn read(text: &str) -> Option<Self> {
        Self::from_bytes(&URL_SAFE_NO_PAD.decode(text).ok()?)
    }

    /// From the bytes the database keeps.
    #[must_use]
    pub fn from_bytes(bytes: &[u8]) -> Option<Self> {
        let key = Self(bytes.try_into().ok()?);
        key.parsed().map(|_| key)
    }

    /// What the database keeps.
    #[must_use]
    pub const fn bytes(&self) -> &[u8; 32] {
        &self.0
    }

    /// Whether `proof` shows, at `now`, that `token` was sent by the phone of this key.
    #[must_use]
    pub fn check(&self, token: &RefreshToken, proof: &KeyProof, now: DateTime<Utc>) -> Proven {
        let said = statement(&token.text(), proof.signed_at_ms);
        let signed =
            self.parsed().is_some_and(|key| key.verify_sig(said.as_bytes(), &proof.signature).is_ok());
        if !signed {
            return Proven::Nothing;
        }
        let away_ms = now.timestamp_millis().abs_diff(proof.signed_at_ms);
        if away_ms > PROOF_LIFE.num_milliseconds().unsigned_abs() {
            return Proven::OutOfTime;
        }
        Proven::Holds
    }

    fn parsed(&self) -> Option<ParsedPublicKey> {
        ParsedPublicKey::new(&ED25519, self.0).ok()
    }
}

impl KeyProof {
    /// From what a phone sends: the signature in base64url without padding.
    #[must_use]
    pub fn read(signed_at_ms: i64, signature: &str) -> Option<Self> {
        Some(Self { signed_at_ms, signature: URL_SAFE_NO_PAD.decode(signature).ok()? })
    }
}

/// What a phone signs to renew a session: three lines, the first a constant, then the SHA-256 of the
/// refresh token's text in base64url without padding, then the Unix time in milliseconds; no newline at the end.
#[must_use]
pub fn statement(refresh_token: &str, signed_at_ms: i64) -> String {
    let digest = URL_SAFE_NO_PAD.encode(Sha256::digest(refresh_token));
    format!("{STATEMENT}\n{digest}\n{signed_at_ms}")
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use super::*;
    use crate::ids::{FleetId, SessionId, fresh};
    use aws_lc_rs::signature::{Ed25519KeyPair, KeyPair};

    fn token() -> RefreshToken {
        RefreshToken::first(FleetId(fresh()), SessionId(fresh())).unwrap()
    }

    fn key_of(pair: &Ed25519KeyPair) -> DeviceKey {
        DeviceKey::read(&URL_SAFE_NO_PAD.encode(pair.public_key().as_ref())).unwrap()
    }

    fn signed(pair: &Ed25519KeyPair, token: &RefreshToken, at: DateTime<Utc>) -> KeyProof {
        let signed_at_ms = at.timestamp_millis();
        let signature = pair.sign(statement(&token.text(), signed_at_ms).as_bytes());
        KeyProof::read(signed_at_ms, &URL_SAFE_NO_PAD.encode(signature.as_ref())).unwrap()
    }

    #[test]
    fn a_proof_holds_for_its_key_its_token_and_its_time() {
        let (pair, other) = (Ed25519KeyPair::generate().unwrap(), Ed25519KeyPair::generate().unwrap());
        let (token, now) = (token(), DateTime::UNIX_EPOCH + Duration::days(20_000));
        let (key, proof) = (key_of(&pair), signed(&pair, &token, now));
        assert_eq!(key.check(&token, &proof, now), Proven::Holds);
        assert_eq!(key_of(&other).check(&token, &proof, now), Proven::Nothing);
        assert_eq!(key.check(&self::token(), &proof, now), Proven::Nothing);
        let moved = KeyProof { signed_at_ms: proof.signed_at_ms + 1, ..proof.clone() };
        assert_eq!(key.check(&token, &moved, now), Proven::Nothing, "the time is signed too");
        for length in [0, 63, 65] {
            let cut = KeyProof { signature: vec![7; length], ..proof.clone() };
            assert_eq!(key.check(&token, &cut, now), Proven::Nothing);
        }
    }

    #[test]
    fn a_proof_is_fresh_for_five_minutes_either_way() {
        let pair = Ed25519KeyPair::generate().unwrap();
        let (token, made) = (token(), DateTime::UNIX_EPOCH + Duration::days(20_000));
        let (key, proof) = (key_of(&pair), signed(&pair, &token, made));
        for (after_s, proven) in [
            (-301, Proven::OutOfTime),
            (-300, Proven::Holds),
            (0, Proven::Holds),
            (300, Proven::Holds),
            (301, Proven::OutOfTime),
            (86_400, Proven::OutOfTime),
        ] {
            assert_eq!(
                key.check(&token, &proof, made + Duration::seconds(after_s)),
                proven,
                "after {after_s} s"
            );
        }
        for signed_at_ms in [i64::MIN, i64::MAX] {
            let signature = pair.sign(statement(&token.text(), signed_at_ms).as_bytes()).as_ref().to_vec();
            assert_eq!(key.check(&token, &KeyProof { signed_at_ms, signature }, made), Proven::OutOfTime);
        }
    }

    #[test]
    fn the_algorithm_is_the_published_one() {
        // RFC 8032, 7.1, TEST 2.
        let key = "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c";
        let signature = "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da\
                         085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00";
        let bytes = |hex: &str| -> Vec<u8> {
            (0..hex.len() / 2).map(|i| u8::from_str_radix(&hex[2 * i..2 * i + 2], 16).unwrap()).collect()
        };
        let parsed = DeviceKey::from_bytes(&bytes(key)).unwrap().parsed().unwrap();
        assert!(parsed.verify_sig(&[0x72], &bytes(signature)).is_ok());
        assert!(parsed.verify_sig(&[0x73], &bytes(signature)).is_err());
    }

    #[test]
    fn what_is_no_key_is_none() {
        for odd in ["", "x", "AAAA", &"A".repeat(42), &"A".repeat(44), &format!("{}=", "A".repeat(43))] {
            assert!(DeviceKey::read(odd).is_none(), "{odd}");
        }
    }
}
