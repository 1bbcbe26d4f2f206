//! A card as a JSON document: read with a pointer to what does not fit, written, digested, merged.

use super::kinds::{Card, Kind};
use crate::error::{Error, pointer_to};
use serde::de::DeserializeOwned;
use serde_json::{Map, Value};
use sha2::{Digest, Sha256};

/// The card in a body that came from outside; pointers start at the body.
pub(super) fn read(kind: Kind, body: Value) -> Result<Card, Error> {
    Ok(match kind {
        Kind::Fleet => Card::Fleet(fields(body)?),
        Kind::Place => Card::Place(fields(body)?),
        Kind::Item => Card::Item(fields(body)?),
        Kind::Container => Card::Container(fields(body)?),
        Kind::Pad => Card::Pad(fields(body)?),
        Kind::Machine => Card::Machine(fields(body)?),
        Kind::VehicleClass => Card::VehicleClass(fields(body)?),
        Kind::Recipe => Card::Recipe(fields(body)?),
        Kind::Client => Card::Client(fields(body)?),
        Kind::Vehicle => Card::Vehicle(fields(body)?),
        Kind::Service => Card::Service(fields(body)?),
        Kind::Job => Card::Job(fields(body)?),
    })
}

fn fields<T: DeserializeOwned>(body: Value) -> Result<T, Error> {
    serde_path_to_error::deserialize(body).map_err(|error| Error::Invalid {
        code: "bad_field",
        pointer: pointer_to(error.path()),
        sentence: format!("{}.", error.inner()),
    })
}

/// The card in a body of our own tables, which must fit.
pub(crate) fn stored(kind: Kind, body: &Value) -> Result<Card, Error> {
    read(kind, body.clone()).map_err(|error| Error::internal(format!("a stored {}: {error}", kind.word())))
}

/// The fields of a card, without its kind.
pub(super) fn body(card: &Card) -> Result<Value, Error> {
    match card {
        Card::Fleet(fields) => serde_json::to_value(fields),
        Card::Place(fields) => serde_json::to_value(fields),
        Card::Item(fields) => serde_json::to_value(fields),
        Card::Container(fields) => serde_json::to_value(fields),
        Card::Pad(fields) => serde_json::to_value(fields),
        Card::Machine(fields) => serde_json::to_value(fields),
        Card::VehicleClass(fields) => serde_json::to_value(fields),
        Card::Recipe(fields) => serde_json::to_value(fields),
        Card::Client(fields) => serde_json::to_value(fields),
        Card::Vehicle(fields) => serde_json::to_value(fields),
        Card::Service(fields) => serde_json::to_value(fields),
        Card::Job(fields) => serde_json::to_value(fields),
    }
    .map_err(Error::internal)
}

/// SHA-256 of a card as it was read: the order, spacing and trailing zeros it was sent with do not
/// count, so the same creation is recognised however it was written.
pub(super) fn digest(card: &Card) -> Result<Vec<u8>, Error> {
    let text = serde_json::to_vec(card).map_err(Error::internal)?;
    Ok(Sha256::digest(text).to_vec())
}

/// A document after a merge patch: null takes a field out, an object goes on inside, anything else
/// replaces.
///
/// # Source
/// RFC 7396, section 2 (its appendix A is the test below).
pub(super) fn merge(target: &mut Value, patch: &Value) {
    let Value::Object(changes) = patch else {
        *target = patch.clone();
        return;
    };
    if !target.is_object() {
        *target = Value::Object(Map::new());
    }
    let Value::Object(fields) = target else { return };
    for (name, change) in changes {
        if change.is_null() {
            fields.remove(name);
        } else {
            merge(fields.entry(name).or_insert(Value::Null), change);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    /// RFC 7396, appendix A, all fifteen.
    #[test]
    fn merges_as_the_standard_says() {
        let cases = [
            (json!({"a":"b"}), json!({"a":"c"}), json!({"a":"c"})),
            (json!({"a":"b"}), json!({"b":"c"}), json!({"a":"b","b":"c"})),
            (json!({"a":"b"}), json!({"a":null}), json!({})),
            (json!({"a":"b","b":"c"}), json!({"a":null}), json!({"b":"c"})),
            (json!({"a":["b"]}), json!({"a":"c"}), json!({"a":"c"})),
            (json!({"a":"c"}), json!({"a":["b"]}), json!({"a":["b"]})),
            (json!({"a":{"b":"c"}}), json!({"a":{"b":"d","c":null}}), json!({"a":{"b":"d"}})),
            (json!({"a":[{"b":"c"}]}), json!({"a":[1]}), json!({"a":[1]})),
            (json!(["a", "b"]), json!(["c", "d"]), json!(["c", "d"])),
            (json!({"a":"b"}), json!(["c"]), json!(["c"])),
            (json!({"a":"foo"}), json!(null), json!(null)),
            (json!({"a":"foo"}), json!("bar"), json!("bar")),
            (json!({"e":null}), json!({"a":1}), json!({"e":null,"a":1})),
            (json!([1, 2]), json!({"a":"b","c":null}), json!({"a":"b"})),
            (json!({}), json!({"a":{"bb":{"ccc":null}}}), json!({"a":{"bb":{}}})),
        ];
        for (mut target, patch, expected) in cases {
            merge(&mut target, &patch);
            assert_eq!(target, expected, "after {patch}");
        }
    }

    #[test]
    fn a_digest_sees_meaning_and_not_spelling() {
        let card = |text: &str| serde_json::from_str::<Card>(text).expect("a card");
        let one = card(r#"{"kind":"service","body":{"name":"Wash","price_amount":"12.50"}}"#);
        let same = card(r#"{"body": {"price_amount": "12.5", "name": "Wash"}, "kind": "service"}"#);
        let other = card(r#"{"kind":"service","body":{"name":"Wash","price_amount":"12.51"}}"#);
        assert_eq!(digest(&one).unwrap(), digest(&same).unwrap());
        assert_ne!(digest(&one).unwrap(), digest(&other).unwrap());
    }

    #[test]
    fn a_wrong_field_is_pointed_at() {
        let body = json!({"name": "Sedan", "sections": [{"name": "hood", "area_m2": "1e3"}]});
        let Err(Error::Invalid { pointer, .. }) = read(Kind::VehicleClass, body) else { panic!("it fits") };
        assert_eq!(pointer.as_deref(), Some("/sections/0/area_m2"));
    }
}
