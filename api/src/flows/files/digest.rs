//! The SHA-256 of a file as a type: 64 hexadecimal digits on the wire, 32 bytes in the tables.

use crate::error::Error;
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use sha2::{Digest, Sha256};
use std::fmt::Write;
use utoipa::openapi::schema::{ObjectBuilder, Type};
use utoipa::openapi::{RefOr, Schema};
use utoipa::{PartialSchema, ToSchema};

/// SHA-256 of a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct FileDigest([u8; 32]);

impl FileDigest {
    /// The digest of all pieces, one after the other.
    #[must_use]
    pub fn over<'a>(pieces: impl IntoIterator<Item = &'a [u8]>) -> Self {
        let mut hash = Sha256::new();
        for piece in pieces {
            hash.update(piece);
        }
        Self(hash.finalize().into())
    }

    /// As it is written: 64 hexadecimal digits, lower case.
    #[must_use]
    pub fn read(text: &str) -> Option<Self> {
        let digits = text.as_bytes();
        if digits.len() != 64 {
            return None;
        }
        let mut bytes = [0; 32];
        for (byte, pair) in bytes.iter_mut().zip(digits.chunks_exact(2)) {
            let [high, low] = pair else { return None };
            *byte = (digit(*high)? << 4) | digit(*low)?;
        }
        Some(Self(bytes))
    }

    /// From the tables.
    ///
    /// # Errors
    /// [`Error::Internal`] when these are not 32 bytes.
    pub fn of_bytes(bytes: &[u8]) -> Result<Self, Error> {
        bytes.try_into().map(Self).map_err(Error::internal)
    }

    /// As the tables have it.
    #[must_use]
    pub const fn bytes(&self) -> &[u8; 32] {
        &self.0
    }
}

const fn digit(text: u8) -> Option<u8> {
    match text {
        b'0'..=b'9' => Some(text - b'0'),
        b'a'..=b'f' => Some(text - b'a' + 10),
        _ => None,
    }
}

impl std::fmt::Display for FileDigest {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        self.0.iter().try_for_each(|byte| write!(f, "{byte:02x}"))
    }
}

impl Serialize for FileDigest {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut text = String::with_capacity(64);
        write!(text, "{self}").map_err(serde::ser::Error::custom)?;
        serializer.serialize_str(&text)
    }
}

impl<'de> Deserialize<'de> for FileDigest {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = String::deserialize(deserializer)?;
        let wrong = || serde::de::Error::custom("a SHA-256 has 64 hexadecimal digits in lower case");
        Self::read(&text).ok_or_else(wrong)
    }
}

impl PartialSchema for FileDigest {
    fn schema() -> RefOr<Schema> {
        ObjectBuilder::new()
            .schema_type(Type::String)
            .pattern(Some("^[0-9a-f]{64}$"))
            .description(Some("SHA-256 of the file as it is sent, in hexadecimal."))
            .build()
            .into()
    }
}
impl ToSchema for FileDigest {}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_digest_is_read_as_it_is_written_and_in_no_other_way() {
        // FIPS 180-4, the example "abc".
        let abc = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        let digest = FileDigest::over([&b"a"[..], b"bc"]);
        assert_eq!(digest.to_string(), abc);
        assert_eq!(FileDigest::read(abc), Some(digest));
        for wrong in [&abc.to_uppercase(), &abc[1..], &format!("{abc}0"), &abc.replace('b', "g"), "", "é"] {
            assert_eq!(FileDigest::read(wrong), None, "{wrong}");
        }
    }
}
