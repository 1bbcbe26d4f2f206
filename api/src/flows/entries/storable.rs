//! Whatever a phone hands over can be kept: one entry that could not would block all behind it.

use super::Incoming;
use serde_json::Value;
use std::borrow::Cow;

/// Whether the kind or the body has a character that no table takes.
pub(super) fn has_nul(entry: &Incoming) -> bool {
    entry.kind.contains('\0') || in_value(&entry.body)
}

fn in_value(value: &Value) -> bool {
    match value {
        Value::String(text) => text.contains('\0'),
        Value::Array(values) => values.iter().any(in_value),
        Value::Object(fields) => fields.iter().any(|(name, value)| name.contains('\0') || in_value(value)),
        Value::Null | Value::Bool(_) | Value::Number(_) => false,
    }
}

/// The text with a mark where such a character was.
pub(super) fn text(text: &str) -> String {
    text.replace('\0', "\u{fffd}")
}

/// The document with a mark where such a character was; itself when there was none.
pub(super) fn document(value: &Value) -> Cow<'_, Value> {
    if in_value(value) { Cow::Owned(marked(value)) } else { Cow::Borrowed(value) }
}

fn marked(value: &Value) -> Value {
    match value {
        Value::String(plain) => Value::String(text(plain)),
        Value::Array(values) => values.iter().map(marked).collect(),
        Value::Object(fields) => fields.iter().map(|(name, value)| (text(name), marked(value))).collect(),
        Value::Null | Value::Bool(_) | Value::Number(_) => value.clone(),
    }
}
