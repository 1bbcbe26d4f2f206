//! What a phone wrote, read entry by entry: one that cannot be read is judged by itself and blocks
//! nothing, as long as its number and its id can.

use super::strict_json::{self, Fault};
use crate::error::{Error, pointer_to};
use crate::flows::entries::{EntryRefusal, Incoming};
use crate::http::entries::first_form;
use crate::http::limits::LIMITS;
use crate::ids::LaneId;
use chrono::{DateTime, Utc};
use serde::Deserialize;
use serde::de::{Deserializer, Error as _, IgnoredAny, MapAccess, Visitor};
use serde_json::Value;
use serde_json::value::RawValue;
use std::collections::BTreeMap;
use std::fmt;
use utoipa::ToSchema;
use uuid::Uuid;

/// A run of consecutive entries of one lane.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Handover {
    /// The lane, as enrolled.
    pub(super) lane_id: LaneId,
    /// The receipt of the handover before: it tells a restored database that it has lost something.
    #[serde(default)]
    #[schema(max_length = 200)]
    pub(super) receipt: Option<String>,
    /// In order of their numbers; at most 500.
    #[schema(max_items = 500, value_type = Vec<LaneEntry>)]
    entries: Vec<Box<RawValue>>,
}

/// One entry of a lane. `kind` and `body` belong together: see the schema `Fact`.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct LaneEntry {
    /// Its number in the lane: 1, 2, 3 … without a gap.
    #[schema(minimum = 1)]
    n: i64,
    /// Its id, made by the phone.
    id: Uuid,
    /// What kind of fact.
    #[schema(max_length = 40)]
    kind: String,
    /// The form of that kind; 1 when not said.
    #[serde(default = "first_form")]
    #[schema(minimum = 1, maximum = 1000)]
    form: i16,
    /// When it happened, by the phone's clock. More than 60 s ahead of the server, once `drift_ms` is
    /// taken off, it is booked when it came in, and the verdict is `adjusted`; any past is taken.
    happened_at: DateTime<Utc>,
    /// What happened; nests at most 16 levels, and the whole entry has at most 64 KiB.
    #[schema(value_type = Object)]
    body: Value,
    /// When it was written down, by the phone's clock as it stood; as it happened when not said.
    made_at: Option<DateTime<Utc>>,
    /// Its stamp: milliseconds since 1970 by the server's clock as far as the phone knew it (13 digits),
    /// and a counter (5 digits).
    #[schema(pattern = "^[0-9]{13}-[0-9]{5}$")]
    stamp: Option<String>,
    /// By how much the phone's clock was ahead of the server's when it was last measured.
    #[serde(default)]
    drift_ms: i64,
    /// The stamp of each field that was known when a card was edited.
    #[serde(default)]
    seen: BTreeMap<String, String>,
    /// Entries without which this one makes no sense.
    #[serde(default)]
    needs: Vec<Uuid>,
}

impl Handover {
    /// Reads the frame; the entries are looked at one by one afterwards.
    ///
    /// # Errors
    /// [`Error::Invalid`] for what is no handover, [`Error::TooLarge`] for too many entries.
    pub(super) fn read(bytes: &[u8]) -> Result<Self, Error> {
        if bytes.trim_ascii_start().first() != Some(&b'{') {
            return Err(Error::invalid("bad_json", "The body must be a JSON object."));
        }
        let sent: Self = serde_json::from_slice(bytes).map_err(|error| {
            let code = if error.is_data() { "bad_field" } else { "bad_json" };
            Error::invalid(code, format!("{error}."))
        })?;
        let most = LIMITS.handover_entries;
        if sent.entries.len() > most {
            return Err(Error::TooLarge {
                code: "too_many_entries",
                sentence: format!("A handover takes at most {most} entries. Send the rest in the next one."),
            });
        }
        Ok(sent)
    }

    /// Its entries.
    ///
    /// # Errors
    /// [`Error::Invalid`] for an entry whose number or id cannot be read: it cannot be answered.
    pub(super) fn entries(&self, now: DateTime<Utc>) -> Result<Vec<Incoming>, Error> {
        let each = self.entries.iter().enumerate();
        each.map(|(i, sent)| entry(sent.get(), now).map_err(|error| error.under(&format!("/entries/{i}"))))
            .collect()
    }
}

fn entry(sent: &str, now: DateTime<Utc>) -> Result<Incoming, Error> {
    let Label { n, id } = serde_json::from_str(sent).map_err(|error| {
        let sentence = format!("An entry needs a number and an id to be answered by: {error}.");
        Error::invalid("entry_unnamed", sentence)
    })?;
    let unread = |keep, refusal| Incoming::unread(id, n, sent, keep, refusal, now);
    if sent.len() > LIMITS.entry_bytes {
        let sentence = format!("An entry has at most {} bytes. Write less, or several.", LIMITS.entry_bytes);
        return Ok(unread(false, EntryRefusal::new("entry_too_large", sentence)));
    }
    // The entry itself is one level around its body.
    let value = match strict_json::read(sent, LIMITS.entry_depth.saturating_add(1)) {
        Ok(value) => value,
        Err((fault, why)) => {
            let code = match fault {
                Fault::TooDeep => "entry_too_deep",
                Fault::NameTwice => "name_twice",
                Fault::Unreadable => "entry_unreadable",
            };
            return Ok(unread(true, EntryRefusal::new(code, format!("The entry cannot be read: {why}."))));
        }
    };
    Ok(match serde_path_to_error::deserialize::<_, LaneEntry>(value) {
        Ok(read) => read.into(),
        Err(error) => {
            let pointer = pointer_to(error.path());
            let refusal = EntryRefusal::new("bad_field", format!("{}.", error.into_inner()));
            unread(true, EntryRefusal { pointer, ..refusal })
        }
    })
}

impl From<LaneEntry> for Incoming {
    fn from(sent: LaneEntry) -> Self {
        Self {
            made_at: sent.made_at,
            stamp: sent.stamp,
            drift_ms: sent.drift_ms,
            seen: sent.seen,
            needs: sent.needs,
            ..Self::new(sent.id, Some(sent.n), sent.kind, sent.form, sent.happened_at, sent.body)
        }
    }
}

/// What every entry must have to be answered; whatever else it has is not looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Label {
    n: i64,
    id: Uuid,
}

impl<'de> Deserialize<'de> for Label {
    fn deserialize<D: Deserializer<'de>>(reader: D) -> Result<Self, D::Error> {
        struct Reading;

        impl<'de> Visitor<'de> for Reading {
            type Value = Label;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("an object with n and id")
            }

            fn visit_map<A: MapAccess<'de>>(self, mut object: A) -> Result<Label, A::Error> {
                let (mut n, mut id) = (None, None);
                while let Some(name) = object.next_key::<String>()? {
                    let twice = match name.as_str() {
                        "n" => n.replace(object.next_value::<i64>()?).is_some(),
                        "id" => id.replace(object.next_value::<Uuid>()?).is_some(),
                        _ => object.next_value::<IgnoredAny>().map(|_| false)?,
                    };
                    if twice {
                        return Err(A::Error::custom(format_args!("{name} stands twice")));
                    }
                }
                match (n, id) {
                    (Some(n), _) if n < 1 => Err(A::Error::custom("numbers begin at 1")),
                    (Some(n), Some(id)) => Ok(Label { n, id }),
                    (None, _) => Err(A::Error::missing_field("n")),
                    (_, None) => Err(A::Error::missing_field("id")),
                }
            }
        }

        reader.deserialize_map(Reading)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    const ID: &str = "01890a5d-ac96-774b-bcce-b302099a8057";

    fn judged(sent: &str) -> Incoming {
        entry(sent, DateTime::UNIX_EPOCH).unwrap()
    }

    fn code(sent: &str) -> String {
        judged(sent).flaw.unwrap().refusal.code.into_owned()
    }

    fn with(field: &str) -> String {
        format!(
            r#"{{"n":3,"id":"{ID}","kind":"trip","happened_at":"2026-03-02T18:00:00Z","body":{{}}{field}}}"#
        )
    }

    #[test]
    fn what_can_be_read_is_read_whole() {
        let sent = format!(
            r#","made_at":"2026-03-02T18:00:01Z","stamp":"1772474400000-00002","drift_ms":-70,
            "seen":{{"name":"1772474400000-00001"}},"needs":["{ID}"]"#
        );
        let read = judged(&with(&sent));
        assert_eq!((read.n, read.kind.as_str(), read.form, read.drift_ms), (Some(3), "trip", 1, -70));
        assert_eq!(read.stamp.as_deref(), Some("1772474400000-00002"));
        assert_eq!((read.seen.len(), read.needs.len()), (1, 1));
        assert!(read.made_at.is_some() && read.flaw.is_none());
    }

    #[test]
    fn what_cannot_be_read_keeps_its_number_its_id_and_a_word() {
        assert_eq!(code(&with(r#","surprise":1"#)), "bad_field");
        assert_eq!(code(&with(r#","kind":"trip""#)), "name_twice");
        assert_eq!(code(&with(r#","seen":{"a":1e999}"#)), "entry_unreadable");
        assert_eq!(code(&with(&format!(r#","x":{}{}"#, "[".repeat(17), "]".repeat(17)))), "entry_too_deep");
        assert_eq!(code(&with(&format!(r#","x":"{}""#, "a".repeat(65_536)))), "entry_too_large");
        let kept = judged(&with(r#","surprise":1"#));
        assert_eq!(kept.body, json!({"as_sent": with(r#","surprise":1"#)}));
        assert_eq!((kept.n, kept.id.to_string().as_str()), (Some(3), ID));
        assert_eq!(kept.flaw.unwrap().refusal.pointer.as_deref(), Some("/surprise"));
    }

    #[test]
    fn a_pointer_says_where() {
        let flaw = judged(&with(r#","needs":["x"]"#)).flaw.unwrap();
        assert_eq!(flaw.refusal.pointer.as_deref(), Some("/needs/0"));
    }

    #[test]
    fn a_flawed_entry_written_anew_in_another_order_is_the_same() {
        let one = judged(&format!(r#"{{"n":3,"id":"{ID}","odd":1,"other":[2]}}"#)).flaw;
        let other = judged(&format!(r#"{{ "other":[2], "id":"{ID}","odd":1, "n":3}}"#)).flaw;
        let different = judged(&format!(r#"{{"n":3,"id":"{ID}","odd":1,"other":[3]}}"#)).flaw;
        assert_eq!(one.as_ref().unwrap().digest, other.unwrap().digest);
        assert_ne!(one.unwrap().digest, different.unwrap().digest);
    }

    #[test]
    fn without_number_or_id_nothing_can_be_answered() {
        for sent in [
            "null",
            "[]",
            "{}",
            r#"{"n":1}"#,
            r#"{"id":"01890a5d-ac96-774b-bcce-b302099a8057"}"#,
            r#"{"n":0,"id":"01890a5d-ac96-774b-bcce-b302099a8057"}"#,
            r#"{"n":1,"n":2,"id":"01890a5d-ac96-774b-bcce-b302099a8057"}"#,
            r#"{"n":"1","id":"01890a5d-ac96-774b-bcce-b302099a8057"}"#,
        ] {
            assert!(matches!(entry(sent, DateTime::UNIX_EPOCH), Err(Error::Invalid { .. })), "{sent}");
        }
    }
}
