//! Reads a value by its kind where it stands, without putting both into one document first.

use serde::de::value::StrDeserializer;
use serde::de::{DeserializeSeed, Deserializer, Error as _, IntoDeserializer, MapAccess, Visitor};
use serde_json::Value;

/// What is written as `{"kind": kind, "body": body}`, read by anything tagged so.
///
/// # Errors
/// What does not fit.
pub(crate) fn read<T: serde::de::DeserializeOwned>(kind: &str, body: &Value) -> serde_json::Result<T> {
    T::deserialize(Tagged { kind: Some(kind), body: Some(body) })
}

struct Tagged<'a> {
    kind: Option<&'a str>,
    body: Option<&'a Value>,
}

impl<'de> Deserializer<'de> for Tagged<'de> {
    type Error = serde_json::Error;

    fn deserialize_any<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Self::Error> {
        visitor.visit_map(self)
    }

    serde::forward_to_deserialize_any! {
        bool i8 i16 i32 i64 i128 u8 u16 u32 u64 u128 f32 f64 char str string bytes byte_buf option unit
        unit_struct newtype_struct seq tuple tuple_struct map struct enum identifier ignored_any
    }
}

impl<'de> MapAccess<'de> for Tagged<'de> {
    type Error = serde_json::Error;

    fn next_key_seed<K: DeserializeSeed<'de>>(&mut self, seed: K) -> Result<Option<K::Value>, Self::Error> {
        // The kind first: only then can the body be read as what it is.
        let name = match (self.kind, self.body) {
            (Some(_), _) => "kind",
            (None, Some(_)) => "body",
            (None, None) => return Ok(None),
        };
        let name: StrDeserializer<'_, Self::Error> = name.into_deserializer();
        seed.deserialize(name).map(Some)
    }

    fn next_value_seed<T: DeserializeSeed<'de>>(&mut self, seed: T) -> Result<T::Value, Self::Error> {
        if let Some(kind) = self.kind.take() {
            let kind: StrDeserializer<'_, Self::Error> = kind.into_deserializer();
            return seed.deserialize(kind);
        }
        let body = self.body.take().ok_or_else(|| serde_json::Error::custom("no value left"))?;
        seed.deserialize(body)
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use super::*;
    use serde::Deserialize;
    use serde_json::json;

    #[derive(Debug, PartialEq, Deserialize)]
    #[serde(tag = "kind", content = "body", rename_all = "snake_case")]
    enum Thing {
        Pad(Pad),
        Count(u8),
    }

    #[derive(Debug, PartialEq, Deserialize)]
    #[serde(deny_unknown_fields)]
    struct Pad {
        label: String,
    }

    #[test]
    fn reads_what_the_document_would_have_said() {
        for (kind, body) in [
            ("pad", json!({"label": "P-1"})),
            ("count", json!(7)),
            ("count", json!(700)),
            ("pad", json!({})),
            ("pad", json!({"label": "P-1", "more": 1})),
            ("pad", json!({"label": 1})),
            ("pad", json!(null)),
            ("pod", json!({"label": "P-1"})),
        ] {
            let whole: Result<Thing, _> = serde_json::from_value(json!({"kind": kind, "body": body}));
            let apart: Result<Thing, _> = read(kind, &body);
            assert_eq!(apart.map_err(|e| e.to_string()), whole.map_err(|e| e.to_string()), "{kind} {body}");
        }
    }
}
