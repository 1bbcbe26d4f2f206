//! When each field of a card was last written, as the card keeps it and as phones are told. Pure.

use crate::store::cards::CardRecord;
use crate::sync::rules::stamp::{Hlc, Stamp};
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use uuid::Uuid;

/// The stamps of a card's fields. A field that was never written since the card was made has none.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(in crate::flows) struct Stamps(BTreeMap<String, Stamp>);

#[derive(Serialize, Deserialize)]
struct Kept {
    stamp: String,
    lane: Uuid,
}

impl Stamps {
    /// As the card has them.
    pub(in crate::flows) fn of(record: &CardRecord) -> Self {
        let kept: BTreeMap<String, Kept> = record
            .field_stamps
            .as_ref()
            .and_then(|document| serde_json::from_value(document.clone()).ok())
            .unwrap_or_default();
        let read = kept.into_iter().filter_map(|(field, Kept { stamp, lane })| {
            let stamp = Stamp::parse(&stamp, lane)?;
            Some((field, stamp))
        });
        Self(read.collect())
    }

    /// As the card keeps them.
    pub(in crate::flows) fn document(&self) -> Option<Value> {
        let kept: BTreeMap<&String, Kept> = self
            .0
            .iter()
            .map(|(field, stamp)| (field, Kept { stamp: stamp.text(), lane: stamp.lane }))
            .collect();
        (!kept.is_empty()).then(|| json!(kept))
    }

    /// As phones are told, to be given back as what was seen.
    pub(in crate::flows) fn texts(&self) -> BTreeMap<&str, String> {
        self.0.iter().map(|(field, stamp)| (field.as_str(), stamp.text())).collect()
    }

    pub(in crate::flows) fn get(&self, field: &str) -> Option<Stamp> {
        self.0.get(field).copied()
    }

    pub(in crate::flows) fn set(&mut self, field: &str, stamp: Stamp) {
        self.0.insert(field.to_owned(), stamp);
    }

    /// The stamp of something the desk writes now: later than everything the card has seen.
    pub(in crate::flows) fn desk(&self, now: DateTime<Utc>) -> Stamp {
        let (mut clock, now_ms) = (Hlc::new(Uuid::nil()), now.timestamp_millis());
        if let Some(latest) = self.0.values().max() {
            clock.hear(*latest, now_ms);
        }
        clock.tick(now_ms)
    }
}

#[cfg(test)]
mod tests {
    use super::super::kinds::Kind;
    use super::*;

    #[test]
    fn stamps_are_kept_told_and_overtaken_by_the_desk() {
        let mut record = CardRecord {
            id: Uuid::nil(),
            kind: Kind::Pad,
            version: 1,
            body: json!({}),
            retired_at: None,
            field_stamps: None,
        };
        let mut stamps = Stamps::of(&record);
        assert_eq!((stamps.document(), stamps.texts().len()), (None, 0));
        let ahead = Stamp { ms: 60_000, counter: 4, lane: Uuid::from_u128(9) };
        stamps.set("label", ahead);
        record.field_stamps = stamps.document();
        assert_eq!(Stamps::of(&record), stamps);
        assert_eq!(stamps.texts().get("label").map(String::as_str), Some("0000000060000-00004"));
        let desk = stamps.desk(DateTime::UNIX_EPOCH);
        assert!(desk > ahead && desk.ms == 60_000, "later, and no later than it must: {desk:?}");
    }
}
