//! JSON that only passes through: kept as the very text it came in, so that rows can be compared byte by
//! byte and nobody pays for reading what nobody looks at.

use serde::{Deserialize, Deserializer, Serialize, Serializer};
use serde_json::Value;
use serde_json::value::RawValue;
use std::fmt;
use std::sync::Arc;

/// One JSON value as text.
#[derive(Clone, PartialEq, Eq, Hash)]
pub struct Json(Arc<str>);

impl Json {
    /// From text that is known to be JSON.
    #[must_use]
    pub fn new(text: &str) -> Self {
        Self(text.into())
    }

    /// The text.
    #[must_use]
    pub fn text(&self) -> &str {
        &self.0
    }

    /// Its meaning.
    #[must_use]
    pub fn value(&self) -> Value {
        serde_json::from_str(&self.0).expect("it was JSON when it came")
    }
}

impl From<&Value> for Json {
    fn from(value: &Value) -> Self {
        Self(value.to_string().into())
    }
}

impl fmt::Debug for Json {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str(&self.0)
    }
}

impl Serialize for Json {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        let raw: &RawValue = serde_json::from_str(&self.0).map_err(serde::ser::Error::custom)?;
        raw.serialize(to)
    }
}

impl<'de> Deserialize<'de> for Json {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        Ok(Self(Box::<RawValue>::deserialize(from)?.get().into()))
    }
}
