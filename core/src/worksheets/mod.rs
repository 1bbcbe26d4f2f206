//! Every computation as a worksheet: JSON inputs in, JSON result out, the steps between on request.
//!
//! One table lists them all; the command line, the API and the reference tests read that table and
//! nothing else. A worksheet only translates: the formula it calls lives in its own room.

mod exact;
mod safety;
mod stats;
mod steps;
mod stock;

use crate::CoreError;
use rust_decimal::Decimal;
use serde::de::DeserializeOwned;
use serde_json::{Map, Value};
use std::str::FromStr;

/// One computation that can be asked for by name.
pub struct Worksheet {
    /// The stable name, e.g. `bottle_filter`.
    pub method: &'static str,
    /// What it answers, in one sentence.
    pub sentence: &'static str,
    /// Inputs to result. When `steps` is asked for, the result may carry a `steps` key more.
    pub run: fn(inputs: &Value, steps: bool) -> Result<Value, Refusal>,
}

/// Why a worksheet has no result: a stable code, a sentence, and where in the inputs to look.
#[derive(Debug, Clone, PartialEq)]
pub struct Refusal {
    /// Stable word for machines.
    pub code: &'static str,
    /// A sentence that says what is wrong and what would be right.
    pub sentence: String,
    /// JSON pointer of the input at fault, when known.
    pub pointer: Option<String>,
    /// Further facts, e.g. the state before the refused event.
    pub details: Map<String, Value>,
}

impl Refusal {
    /// A refusal without pointer or details.
    #[must_use]
    pub fn new(code: &'static str, sentence: impl Into<String>) -> Self {
        Self { code, sentence: sentence.into(), pointer: None, details: Map::new() }
    }

    /// The same refusal, pointing at one input.
    #[must_use]
    pub fn at(mut self, pointer: impl Into<String>) -> Self {
        self.pointer = Some(pointer.into());
        self
    }
}

impl From<CoreError> for Refusal {
    fn from(error: CoreError) -> Self {
        Self::new(error.code(), format!("{error}."))
    }
}

/// All worksheets, in name order within each room.
pub fn all() -> impl Iterator<Item = &'static Worksheet> {
    [stats::ALL, exact::ALL, stock::ALL, safety::ALL].into_iter().flatten()
}

/// The worksheet of that name.
#[must_use]
pub fn find(method: &str) -> Option<&'static Worksheet> {
    all().find(|sheet| sheet.method == method)
}

/// Inputs as a typed record; what does not fit is refused as `bad_inputs`.
///
/// # Errors
/// A [`Refusal`] with the reader's own sentence (missing field, wrong type, unknown field).
pub fn read<T: DeserializeOwned>(inputs: &Value) -> Result<T, Refusal> {
    T::deserialize(inputs).map_err(|error| Refusal::new("bad_inputs", error.to_string()))
}

/// A decimal that travels as a plain string (`"12.50"`): no exponent, no underscore, at most 28 digits.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct DecimalText(pub Decimal);

impl FromStr for DecimalText {
    type Err = &'static str;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        const FORM: &str = "a decimal is written as digits with at most one point, e.g. \"12.50\"";
        let digits = text.strip_prefix('-').unwrap_or(text);
        let (whole, part) = digits.split_once('.').unwrap_or((digits, "0"));
        let plain = |s: &str| !s.is_empty() && s.bytes().all(|b| b.is_ascii_digit());
        if !plain(whole) || !plain(part) || whole.len() + part.len() > 29 {
            return Err(FORM);
        }
        Decimal::from_str_exact(text).map(Self).map_err(|_| FORM)
    }
}

impl<'de> serde::Deserialize<'de> for DecimalText {
    fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = String::deserialize(deserializer)?;
        text.parse().map_err(serde::de::Error::custom)
    }
}

impl serde::Serialize for DecimalText {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(&self.0)
    }
}
