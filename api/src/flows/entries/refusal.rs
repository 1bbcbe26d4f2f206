//! Why an entry is not taken: a stable code, a sentence, and the field to look at.

use dropwise_core::CoreError;
use serde::{Deserialize, Serialize};
use std::borrow::Cow;

/// A final refusal of one entry. It never blocks the entries after it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct EntryRefusal {
    /// Stable word.
    pub code: Cow<'static, str>,
    /// What is wrong and what to do.
    pub sentence: String,
    /// JSON pointer inside the entry.
    pub pointer: Option<String>,
}

impl EntryRefusal {
    /// A refusal.
    pub fn new(code: &'static str, sentence: impl Into<String>) -> Self {
        Self { code: code.into(), sentence: sentence.into(), pointer: None }
    }

    /// A refusal that points at a field of the body.
    pub(super) fn at(code: &'static str, field: &str, sentence: impl Into<String>) -> Self {
        Self { code: code.into(), sentence: sentence.into(), pointer: Some(format!("/body/{field}")) }
    }
}

impl From<CoreError> for EntryRefusal {
    fn from(error: CoreError) -> Self {
        Self::new(error.code(), format!("{error}."))
    }
}
