//! JSON read without benefit of the doubt: no name twice in one object, no deeper than allowed.
//!
//! The library keeps the last of two members of one name; which one the phone meant nobody knows.

use serde::de::{DeserializeSeed, Deserializer, Error as _, MapAccess, SeqAccess, Visitor};
use serde_json::{Map, Number, Value};
use std::cell::Cell;
use std::fmt;

/// Why a text is not read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Fault {
    /// An object has two members of one name.
    NameTwice,
    /// It nests deeper than allowed.
    TooDeep,
    /// A number or a text that JSON can write and nobody can keep.
    Unreadable,
}

/// The value of a JSON text that nests at most `depth` levels.
pub(super) fn read(text: &str, depth: usize) -> Result<Value, (Fault, String)> {
    let fault = Cell::new(Fault::Unreadable);
    let mut reader = serde_json::Deserializer::from_str(text);
    Strict { left: depth, fault: &fault }
        .deserialize(&mut reader)
        .and_then(|value| reader.end().map(|()| value))
        .map_err(|error| (fault.get(), error.to_string()))
}

#[derive(Clone, Copy)]
struct Strict<'a> {
    left: usize,
    fault: &'a Cell<Fault>,
}

impl Strict<'_> {
    fn deeper<E: serde::de::Error>(self) -> Result<Self, E> {
        let left = self.left.checked_sub(1).ok_or_else(|| {
            self.fault.set(Fault::TooDeep);
            E::custom("it is nested too deep")
        })?;
        Ok(Self { left, ..self })
    }
}

impl<'de> DeserializeSeed<'de> for Strict<'_> {
    type Value = Value;

    fn deserialize<D: Deserializer<'de>>(self, reader: D) -> Result<Value, D::Error> {
        reader.deserialize_any(self)
    }
}

impl<'de> Visitor<'de> for Strict<'_> {
    type Value = Value;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a JSON value")
    }

    fn visit_bool<E>(self, value: bool) -> Result<Value, E> {
        Ok(Value::Bool(value))
    }

    fn visit_i64<E>(self, value: i64) -> Result<Value, E> {
        Ok(Value::Number(value.into()))
    }

    fn visit_u64<E>(self, value: u64) -> Result<Value, E> {
        Ok(Value::Number(value.into()))
    }

    fn visit_f64<E: serde::de::Error>(self, value: f64) -> Result<Value, E> {
        Number::from_f64(value).map(Value::Number).ok_or_else(|| E::custom("a number is none"))
    }

    fn visit_str<E>(self, value: &str) -> Result<Value, E> {
        Ok(Value::String(value.to_owned()))
    }

    fn visit_string<E>(self, value: String) -> Result<Value, E> {
        Ok(Value::String(value))
    }

    fn visit_unit<E>(self) -> Result<Value, E> {
        Ok(Value::Null)
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<Value, A::Error> {
        let inner = self.deeper()?;
        let mut values = Vec::new();
        while let Some(value) = list.next_element_seed(inner)? {
            values.push(value);
        }
        Ok(Value::Array(values))
    }

    fn visit_map<A: MapAccess<'de>>(self, mut object: A) -> Result<Value, A::Error> {
        let inner = self.deeper()?;
        let mut fields = Map::new();
        while let Some(name) = object.next_key::<String>()? {
            if fields.contains_key(&name) {
                self.fault.set(Fault::NameTwice);
                return Err(A::Error::custom(format_args!("the name {name:?} stands twice")));
            }
            let value = object.next_value_seed(inner)?;
            fields.insert(name, value);
        }
        Ok(Value::Object(fields))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fault(text: &str, depth: usize) -> Option<Fault> {
        read(text, depth).err().map(|(fault, _)| fault)
    }

    #[test]
    fn what_is_plain_is_read_as_the_library_reads_it() {
        let text = r#"{"a":[1,-2,3.5,1e3,18446744073709551615,"x\u00e9",null,true],"b":{"c":{}}}"#;
        assert_eq!(read(text, 3).unwrap(), serde_json::from_str::<Value>(text).unwrap());
    }

    #[test]
    fn depth_counts_to_the_last_bracket() {
        let nested = |levels: usize| format!("{}{}", "[".repeat(levels), "]".repeat(levels));
        assert_eq!(fault(&nested(16), 16), None);
        assert_eq!(fault(&nested(17), 16), Some(Fault::TooDeep));
        assert_eq!(fault(&nested(30_000), 16), Some(Fault::TooDeep));
    }

    #[test]
    fn a_name_may_stand_once_in_each_object() {
        assert_eq!(fault(r#"{"a":{"x":1},"b":{"x":1}}"#, 9), None);
        assert_eq!(fault(r#"{"a":{"x":1,"x":1}}"#, 9), Some(Fault::NameTwice));
        assert_eq!(fault(r#"{"a":1,"\u0061":2}"#, 9), Some(Fault::NameTwice), "however it is written");
    }

    #[test]
    fn what_nobody_can_keep_is_not_read() {
        for text in ["1e400", r#""\ud800""#, "NaN", "{} {}", "[1,]"] {
            assert_eq!(fault(text, 9), Some(Fault::Unreadable), "{text}");
        }
    }
}
