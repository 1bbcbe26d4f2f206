//! An entry as it came in, its meaning not yet looked at.

use super::refusal::EntryRefusal;
use chrono::{DateTime, TimeDelta, Utc};
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};
use sha2::{Digest, Sha256};
use std::borrow::Cow;
use std::collections::BTreeMap;
use uuid::Uuid;

/// An entry as it was handed over.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Incoming {
    /// Its id.
    pub id: Uuid,
    /// Its number in the lane, when it came from a phone.
    pub n: Option<i64>,
    /// What kind it says it is.
    pub kind: String,
    /// Which form of that kind.
    pub form: i16,
    /// When it happened, by the device's clock.
    pub happened_at: DateTime<Utc>,
    /// What happened.
    pub body: Value,
    /// Raw device time at which it was written down; as it happened when not said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub made_at: Option<DateTime<Utc>>,
    /// Its stamp, as text.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stamp: Option<String>,
    /// By how much the device's clock was ahead of the server's, as the phone last measured it.
    #[serde(default)]
    pub drift_ms: i64,
    /// The stamp of each field known when a card was edited.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub seen: BTreeMap<String, String>,
    /// Entries that must be taken before this one.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub needs: Vec<Uuid>,
    /// What kept it from being read; it is then judged by that alone.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub flaw: Option<Flaw>,
}

/// Why an entry could not be read, though its number and id could.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Flaw {
    /// The verdict on it.
    pub refusal: EntryRefusal,
    /// SHA-256 of what was sent, to know a repeat by.
    pub digest: [u8; 32],
}

impl Incoming {
    /// An entry with nothing said beyond what happened and when.
    #[must_use]
    pub const fn new(
        id: Uuid,
        n: Option<i64>,
        kind: String,
        form: i16,
        happened_at: DateTime<Utc>,
        body: Value,
    ) -> Self {
        Self {
            id,
            n,
            kind,
            form,
            happened_at,
            body,
            made_at: None,
            stamp: None,
            drift_ms: 0,
            seen: BTreeMap::new(),
            needs: Vec::new(),
            flaw: None,
        }
    }

    /// When it was written down, by the server's clock as far as the phone knew it.
    #[must_use]
    pub fn written_at(&self) -> DateTime<Utc> {
        let made = self.made_at.unwrap_or(self.happened_at);
        let drift = TimeDelta::try_milliseconds(self.drift_ms);
        drift.and_then(|drift| made.checked_sub_signed(drift)).unwrap_or(made)
    }

    /// An entry of which only number and id could be read, kept as the text that was sent, or as its
    /// size when it is too large to keep.
    #[must_use]
    pub fn unread(
        id: Uuid,
        n: i64,
        sent: &str,
        keep: bool,
        refusal: EntryRefusal,
        now: DateTime<Utc>,
    ) -> Self {
        // Written anew by the phone, its fields may stand in another order: the same all the same.
        let canonical = serde_json::from_str::<Value>(sent)
            .ok()
            .and_then(|value| serde_json_canonicalizer::to_vec(&value).ok())
            .map_or(Cow::Borrowed(sent.as_bytes()), Cow::Owned);
        let flaw = Flaw { refusal, digest: Sha256::digest(canonical).into() };
        let body = if keep { json!({ "as_sent": sent }) } else { json!({ "as_sent_bytes": sent.len() }) };
        Self { flaw: Some(flaw), ..Self::new(id, Some(n), UNREAD.to_owned(), 1, now, body) }
    }
}

/// The kind of an entry that could not be read.
const UNREAD: &str = "unread";
