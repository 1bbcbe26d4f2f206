//! Text that is taken or handed out once and never repeated: not in logs, not in errors.

use secrecy::{ExposeSecret, SecretString};
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use utoipa::openapi::schema::{KnownFormat, ObjectBuilder, SchemaFormat, Type};
use utoipa::openapi::{RefOr, Schema};
use utoipa::{PartialSchema, ToSchema};

/// The longest secret that is read, in bytes: 256 characters of any script.
const LONGEST: usize = 1024;

/// A password, a code or a token as it comes in. It cannot be written out.
#[derive(Debug, Clone)]
pub struct Secret(pub SecretString);

impl<'de> Deserialize<'de> for Secret {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        use serde::de::Error;
        // The library's message would repeat what it found.
        let text = String::deserialize(deserializer).map_err(|_| D::Error::custom("expected a string"))?;
        if text.len() > LONGEST {
            return Err(D::Error::custom("longer than 1024 bytes"));
        }
        Ok(Self(text.into()))
    }
}

impl PartialSchema for Secret {
    fn schema() -> RefOr<Schema> {
        ObjectBuilder::new()
            .schema_type(Type::String)
            .format(Some(SchemaFormat::KnownFormat(KnownFormat::Password)))
            .write_only(true)
            .max_length(Some(LONGEST))
            .build()
            .into()
    }
}
impl ToSchema for Secret {}

/// A token or a code as it is handed out, this once.
#[derive(Debug, Clone)]
pub struct Handout(pub SecretString);

impl Serialize for Handout {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(self.0.expose_secret())
    }
}

impl PartialSchema for Handout {
    fn schema() -> RefOr<Schema> {
        ObjectBuilder::new().schema_type(Type::String).read_only(true).build().into()
    }
}
impl ToSchema for Handout {}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may fail by panicking")]

    use super::*;

    #[test]
    fn a_secret_is_not_printed_and_not_repeated_in_an_error() {
        let secret: Secret = serde_json::from_str("\"canary words in a row\"").unwrap();
        assert_eq!(secret.0.expose_secret(), "canary words in a row");
        assert!(!format!("{secret:?}").contains("canary"));
        let error = serde_json::from_str::<Secret>("{\"canary\": 4711}").unwrap_err().to_string();
        assert!(!error.contains("canary") && !error.contains("4711"), "{error}");
        let long = format!("\"{}\"", "canary".repeat(200));
        assert!(!serde_json::from_str::<Secret>(&long).unwrap_err().to_string().contains("canary"));
    }

    #[test]
    fn a_handout_is_written_once_but_not_printed() {
        let handout = Handout("canary".to_owned().into());
        assert_eq!(serde_json::to_string(&handout).unwrap(), "\"canary\"");
        assert!(!format!("{handout:?}").contains("canary"));
    }
}
