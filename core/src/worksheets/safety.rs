//! Worksheets of the `safety` room. Reads inputs, calls one function, writes its result; no formula here.
//!
//! Every result carries a `caution`: this room informs and never clears.

mod cas_number;
mod dilution_class;
mod flash_category;
mod heat_level;
mod pictograms;
mod storage_pair;
mod van_load;

use super::Worksheet;
use crate::safety::CAUTION;
use serde_json::{Map, Value};

/// Every worksheet of this room, in name order.
pub(super) const ALL: &[Worksheet] = &[
    cas_number::SHEET,
    dilution_class::SHEET,
    flash_category::SHEET,
    heat_level::SHEET,
    pictograms::SHEET,
    storage_pair::SHEET,
    van_load::SHEET,
];

/// A result with the room's caution, and with its steps when they were asked for.
fn result<const N: usize>(
    fields: [(&str, Value); N],
    steps: bool,
    list: impl FnOnce() -> Vec<(String, Value)>,
) -> Value {
    let mut result: Map<String, Value> =
        fields.into_iter().map(|(name, value)| (name.to_owned(), value)).collect();
    result.insert("caution".to_owned(), CAUTION.into());
    if steps {
        let list = list().into_iter().map(|(name, value)| {
            Value::Object(Map::from_iter([("name".to_owned(), name.into()), ("value".to_owned(), value)]))
        });
        result.insert("steps".to_owned(), list.collect());
    }
    Value::Object(result)
}

/// A list of words as JSON.
fn words<'a>(words: impl IntoIterator<Item = &'a str>) -> Value {
    words.into_iter().collect()
}
