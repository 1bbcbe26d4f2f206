//! The one way a document is written, whatever order it came in: canonical JSON, RFC 8785.

use crate::error::Error;
use serde::Serialize;
use serde_json::Value;

/// The largest whole number that JSON's readers agree on: 2^53 − 1.
const LARGEST_AGREED: u64 = (1 << 53) - 1;

/// The canonical text of something. `plain`: its own fields are in the order of their names, and
/// [`is_plain`] holds of everything in them.
///
/// # Errors
/// [`Error::Internal`] for what canonical JSON cannot write.
pub(super) fn written(said: &impl Serialize, plain: bool) -> Result<Vec<u8>, Error> {
    if plain {
        return serde_json::to_vec(said).map_err(Error::internal);
    }
    serde_json_canonicalizer::to_vec(said).map_err(Error::internal)
}

/// Whether writing it the ordinary way is canonical already, at a quarter of the cost: its maps are
/// sorted by bytes, which for plain names is the order asked for, texts are escaped alike, and whole
/// numbers are written alike. Fractions are not.
pub(super) fn is_plain(value: &Value) -> bool {
    match value {
        Value::Null | Value::Bool(_) | Value::String(_) => true,
        Value::Number(number) => number.as_i64().is_some_and(|n| n.unsigned_abs() <= LARGEST_AGREED),
        Value::Array(values) => values.iter().all(is_plain),
        Value::Object(fields) => fields.iter().all(|(name, value)| name.is_ascii() && is_plain(value)),
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use super::*;

    fn same(text: &str) -> bool {
        let value: Value = serde_json::from_str(text).unwrap();
        assert_eq!(
            written(&value, is_plain(&value)).unwrap(),
            serde_json_canonicalizer::to_vec(&value).unwrap(),
            "{text}"
        );
        is_plain(&value)
    }

    #[test]
    fn what_is_plain_is_written_as_the_canonical_writer_writes_it() {
        let every: String = (0..0x3000_u32).filter_map(char::from_u32).collect();
        assert!(same(&serde_json::to_string(&every).unwrap()));
        let names: Value = (0..128_u8).rev().map(|c| (char::from(c).to_string(), Value::from(c))).collect();
        assert!(same(&names.to_string()));
        for text in [
            r#"{"b":1,"a":[true,false,null,{}],"":{"B":"x","A":[]},"a b":-7}"#,
            "9007199254740991",
            "-9007199254740991",
            r#""\u2028\u2029\ud83d\ude00\/""#,
        ] {
            assert!(same(text), "{text}");
        }
    }

    #[test]
    fn what_is_not_plain_is_left_to_the_canonical_writer() {
        for text in [
            "1.0",
            "-0",
            "1e21",
            "0.1",
            "9007199254740992",
            "18446744073709551615",
            r#"{"é":1,"z":2}"#,
            r#"[{"\ud83d\ude00":1,"\ufb33":2}]"#,
        ] {
            assert!(!same(text), "{text}");
        }
    }
}
