//! A JSON document as the text it is kept as: written once, by whoever made it.

use crate::error::Error;
use diesel::pg::Pg;
use diesel::serialize::{IsNull, Output, ToSql};
use diesel::sql_types::Json;
use serde::Serialize;
use std::io::Write;

/// The text of one JSON document.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct JsonText(String);

impl JsonText {
    /// The document of a value.
    ///
    /// # Errors
    /// [`Error::Internal`] for a value that JSON cannot write.
    pub fn of(value: &impl Serialize) -> Result<Self, Error> {
        serde_json::to_string(value).map(Self).map_err(Error::internal)
    }

    /// The text.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl Serialize for JsonText {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let raw: &serde_json::value::RawValue =
            serde_json::from_str(&self.0).map_err(serde::ser::Error::custom)?;
        raw.serialize(serializer)
    }
}

impl ToSql<Json, Pg> for JsonText {
    fn to_sql<'b>(&'b self, out: &mut Output<'b, '_, Pg>) -> diesel::serialize::Result {
        out.write_all(self.0.as_bytes())?;
        Ok(IsNull::No)
    }
}
