//! The figures between inputs and result, in the order they were taken: one shape for every worksheet.
//! Never computes one.

use serde_json::{Value, json};

/// Collects `{ "name", "value" }` lines when they were asked for, and costs nothing when not.
pub(super) struct Steps(Option<Vec<Value>>);

impl Steps {
    /// An empty collection; `wanted` is the worksheet's `steps` argument.
    pub(super) fn new(wanted: bool) -> Self {
        Self(wanted.then(Vec::new))
    }

    /// Notes one figure under the name or formula it goes by.
    pub(super) fn note(&mut self, name: &str, value: impl Into<Value>) {
        if let Some(lines) = &mut self.0 {
            lines.push(json!({ "name": name, "value": value.into() }));
        }
    }

    /// The result, carrying the steps as a key more when they were wanted.
    pub(super) fn onto(self, mut result: Value) -> Value {
        if let (Some(lines), Some(fields)) = (self.0, result.as_object_mut()) {
            fields.insert("steps".to_owned(), Value::Array(lines));
        }
        result
    }
}
