//! A worksheet's result, with the steps between when they were asked for.

use crate::stock::series::SeriesShape;
use serde_json::{Map, Value, json};

/// Collects the fields of a result and its steps in the order they were computed.
pub(super) struct Answer {
    fields: Map<String, Value>,
    steps: Option<Vec<Value>>,
}

impl Answer {
    /// An empty result; steps are kept only when asked for.
    pub(super) fn new(steps: bool) -> Self {
        Self { fields: Map::new(), steps: steps.then(Vec::new) }
    }

    /// The same result with one field more.
    pub(super) fn put(mut self, name: &str, value: impl Into<Value>) -> Self {
        self.fields.insert(name.to_owned(), value.into());
        self
    }

    /// The same result with one intermediate figure more.
    pub(super) fn step(mut self, name: impl Into<String>, value: impl Into<Value>) -> Self {
        if let Some(steps) = &mut self.steps {
            steps.push(json!({ "name": name.into(), "value": value.into() }));
        }
        self
    }

    /// The same result, saying what stands out about the series; silent when nothing does.
    pub(super) fn caution(self, shape: SeriesShape) -> Self {
        match shape.caution() {
            Some(sentence) => self.put("caution", sentence),
            None => self,
        }
    }

    /// The finished result.
    pub(super) fn done(mut self) -> Value {
        if let Some(steps) = self.steps {
            self.fields.insert("steps".to_owned(), Value::Array(steps));
        }
        Value::Object(self.fields)
    }
}
