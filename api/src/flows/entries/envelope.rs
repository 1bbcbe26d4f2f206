//! What a phone wrote on the outside of an entry, as it is kept beside what happened: clocks, and what
//! the entry rests on. Most have nothing there, and nothing is kept.

use super::{Incoming, storable};
use crate::error::Error;
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use std::collections::BTreeMap;
use uuid::Uuid;

/// The outside of an entry, as it is stored.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Envelope {
    /// When it was written down, by the device's clock.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub made_at: Option<DateTime<Utc>>,
    /// When it was written down, by the device's hybrid logical clock.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stamp: Option<String>,
    /// The device's clock less the server's, as last measured (ms).
    #[serde(default, skip_serializing_if = "is_zero")]
    pub drift_ms: i64,
    /// The stamp of each field as its writer knew it.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub seen: BTreeMap<String, String>,
    /// Entries this one rests on.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub needs: Vec<Uuid>,
    /// What the device's clock said of when it happened, where something else was booked.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub device_at: Option<DateTime<Utc>>,
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "serde hands a reference")]
const fn is_zero(drift_ms: &i64) -> bool {
    *drift_ms == 0
}

impl Envelope {
    /// From a stored entry.
    #[must_use]
    pub fn stored(document: &Value) -> Self {
        serde_json::from_value(document.clone()).unwrap_or_default()
    }
}

/// What is kept of an entry's outside; nothing when there is nothing on it.
pub(super) fn of(entry: &Incoming, device_at: Option<DateTime<Utc>>) -> Result<Option<Value>, Error> {
    let plain = entry.made_at.is_none() && entry.stamp.is_none() && entry.drift_ms == 0;
    if plain && entry.seen.is_empty() && entry.needs.is_empty() && device_at.is_none() {
        return Ok(None);
    }
    let envelope = Envelope {
        made_at: entry.made_at,
        stamp: entry.stamp.clone(),
        drift_ms: entry.drift_ms,
        seen: entry.seen.clone(),
        needs: entry.needs.clone(),
        device_at,
    };
    let document = serde_json::to_value(envelope).map_err(Error::internal)?;
    Ok(Some(storable::document(&document).into_owned()))
}
