//! The server's keys: made on first start in a folder that is never committed, never printed.

use aws_lc_rs::rand::{SecureRandom, SystemRandom};
use aws_lc_rs::signature::{Ed25519KeyPair, KeyPair};
use aws_lc_rs::{constant_time, hmac};
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use sha2::{Digest, Sha256};
use std::collections::HashMap;
use std::fs;
use std::io::{Error, ErrorKind, Write};
use std::path::Path;

/// Signing and checking keys of access tokens, and the secret that refresh tokens are derived with.
pub struct Keys {
    pub(super) signing_kid: String,
    pub(super) signing: jsonwebtoken::EncodingKey,
    pub(super) checking: HashMap<String, jsonwebtoken::DecodingKey>,
    pub(super) refresh: [u8; 32],
}

impl std::fmt::Debug for Keys {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Keys({} to check with)", self.checking.len())
    }
}

impl Keys {
    /// The keys in `folder`; a folder without any gets a fresh set.
    ///
    /// Files: `access-<number>.der` (Ed25519, PKCS#8; the highest number signs, all check) and
    /// `refresh.key` (32 random bytes).
    ///
    /// # Errors
    /// When the folder cannot be read or written, or a key is too short or not a key.
    pub fn open(folder: &Path) -> Result<Self, Error> {
        fs::create_dir_all(folder)?;
        let mut files: Vec<_> = fs::read_dir(folder)?
            .filter_map(Result::ok)
            .map(|entry| entry.path())
            .filter(|path| path.extension().is_some_and(|ext| ext == "der"))
            .collect();
        if files.is_empty() {
            let made = Ed25519KeyPair::generate().and_then(|pair| Ok(pair.to_pkcs8()?.as_ref().to_vec()));
            let path = folder.join("access-0001.der");
            write_secret(&path, &made.map_err(|_| bad("no randomness for a signing key"))?)?;
            files.push(path);
        }
        files.sort();
        let mut keys: Option<(String, jsonwebtoken::EncodingKey)> = None;
        let mut checking = HashMap::new();
        for path in files {
            let der = fs::read(&path)?;
            let pair = Ed25519KeyPair::from_pkcs8(&der)
                .map_err(|_| bad(&format!("{} is not an Ed25519 key in PKCS#8 form", path.display())))?;
            let public = pair.public_key().as_ref();
            let digest = Sha256::digest(public);
            let kid = URL_SAFE_NO_PAD.encode(digest.first_chunk::<12>().unwrap_or(&[0; 12]));
            let check = jsonwebtoken::DecodingKey::from_ed_components(&URL_SAFE_NO_PAD.encode(public))
                .map_err(|_| bad("a public key could not be read back"))?;
            checking.insert(kid.clone(), check);
            keys = Some((kid, jsonwebtoken::EncodingKey::from_ed_der(&der)));
        }
        let (signing_kid, signing) = keys.ok_or_else(|| bad("no signing key"))?;
        Ok(Self { signing_kid, signing, checking, refresh: refresh_secret(&folder.join("refresh.key"))? })
    }
}

impl Keys {
    /// A seal over bytes that go out and must come back unchanged.
    #[must_use]
    pub fn seal(&self, bytes: &[u8]) -> Vec<u8> {
        hmac::sign(&self.sealing_key(), bytes).as_ref().to_vec()
    }

    /// Whether a seal, or the start of one, belongs to these bytes. Takes the same time either way.
    #[must_use]
    pub fn sealed(&self, bytes: &[u8], seal: &[u8]) -> bool {
        let whole = self.seal(bytes);
        let start = whole.get(..seal.len());
        seal.len() >= 16
            && start.is_some_and(|start| constant_time::verify_slices_are_equal(start, seal).is_ok())
    }

    /// A key of its own for seals, so that a seal is never a refresh token.
    fn sealing_key(&self) -> hmac::Key {
        let base = hmac::Key::new(hmac::HMAC_SHA256, &self.refresh);
        hmac::Key::new(hmac::HMAC_SHA256, hmac::sign(&base, b"seal").as_ref())
    }
}

fn refresh_secret(path: &Path) -> Result<[u8; 32], Error> {
    if !path.exists() {
        let mut secret = [0_u8; 32];
        SystemRandom::new().fill(&mut secret).map_err(|_| bad("no randomness for the refresh secret"))?;
        write_secret(path, &secret)?;
    }
    let secret: [u8; 32] = fs::read(path)?
        .try_into()
        .map_err(|_| bad(&format!("{} must hold exactly 32 random bytes", path.display())))?;
    // A constant or hand-typed secret is no secret.
    let mut distinct = secret.to_vec();
    distinct.sort_unstable();
    distinct.dedup();
    if distinct.len() < 12 {
        return Err(bad(&format!(
            "{} does not look random; remove it to have a new one made",
            path.display()
        )));
    }
    Ok(secret)
}

fn write_secret(path: &Path, bytes: &[u8]) -> Result<(), Error> {
    let mut options = fs::OpenOptions::new();
    options.write(true).create_new(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    let mut file = options.open(path)?;
    file.write_all(bytes)?;
    file.sync_all()
}

fn bad(why: &str) -> Error {
    Error::new(ErrorKind::InvalidData, why)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use super::*;
    use crate::auth::token::{self, Bearer};
    use crate::ids::{FleetId, MemberId, SessionId, fresh};
    use chrono::DateTime;

    /// A folder of one test's own, gone when the value is dropped.
    struct Folder(std::path::PathBuf);

    impl Folder {
        fn new() -> Self {
            Self(std::env::temp_dir().join(format!("dropwise-keys-{}", fresh())))
        }
    }

    impl Drop for Folder {
        fn drop(&mut self) {
            let _ = fs::remove_dir_all(&self.0);
        }
    }

    fn token_of(keys: &Keys) -> String {
        let bearer =
            Bearer { fleet: FleetId(fresh()), member: MemberId(fresh()), session: SessionId(fresh()) };
        token::issue(keys, bearer, DateTime::UNIX_EPOCH).unwrap()
    }

    fn holds(keys: &Keys, token: &str) -> bool {
        token::check(keys, token, DateTime::UNIX_EPOCH).is_some()
    }

    #[test]
    fn keys_are_made_once_and_closed_to_others() {
        let folder = Folder::new();
        let (made, opened) = (Keys::open(&folder.0).unwrap(), Keys::open(&folder.0).unwrap());
        assert!(holds(&opened, &token_of(&made)));
        assert_eq!(made.refresh, opened.refresh);
        for file in ["access-0001.der", "refresh.key"] {
            let bits = std::os::unix::fs::PermissionsExt::mode(
                &fs::metadata(folder.0.join(file)).unwrap().permissions(),
            );
            assert_eq!(bits & 0o077, 0, "{file}");
        }
        assert!(!holds(&Keys::open(&Folder::new().0).unwrap(), &token_of(&made)), "another server's keys");
    }

    #[test]
    fn a_newer_key_signs_and_the_older_one_still_checks() {
        let (folder, other) = (Folder::new(), Folder::new());
        let old = Keys::open(&folder.0).unwrap();
        let _ = Keys::open(&other.0).unwrap();
        fs::copy(other.0.join("access-0001.der"), folder.0.join("access-0002.der")).unwrap();
        let both = Keys::open(&folder.0).unwrap();
        assert_ne!(both.signing_kid, old.signing_kid);
        assert!(holds(&both, &token_of(&old)) && holds(&both, &token_of(&both)));
        assert!(!holds(&old, &token_of(&both)), "not yet published there");
        fs::remove_file(folder.0.join("access-0001.der")).unwrap();
        assert!(!holds(&Keys::open(&folder.0).unwrap(), &token_of(&old)), "retired");
    }

    #[test]
    fn what_is_no_key_is_refused_without_being_repeated() {
        for (file, bytes) in [
            ("refresh.key", b"secret".as_slice()),
            ("refresh.key", &[7; 32]),
            ("refresh.key", b"secretsecretsecretsecretsecretse"),
            ("refresh.key", &[]),
            ("access-0001.der", b"secret"),
            ("access-0001.der", &[]),
        ] {
            let folder = Folder::new();
            fs::create_dir_all(&folder.0).unwrap();
            fs::write(folder.0.join(file), bytes).unwrap();
            let why = Keys::open(&folder.0).unwrap_err().to_string();
            assert!(why.contains(file) && !why.contains("secret"), "{why}");
        }
    }

    #[test]
    fn nothing_of_a_key_is_printed() {
        let folder = Folder::new();
        assert_eq!(format!("{:?}", Keys::open(&folder.0).unwrap()), "Keys(1 to check with)");
    }
}
