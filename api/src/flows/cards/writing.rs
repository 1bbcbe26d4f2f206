//! A card that is being written field by field: the later stamp wins, and what lost is kept.

use super::kinds::{Card, JobState, Kind};
use super::stamps::Stamps;
use super::{document, fields, trail};
use crate::error::Error;
use crate::ids::fresh;
use crate::store::cards::{self, CardRecord};
use crate::store::fields::{self as history, FieldValue, Overtaken};
use crate::store::{Tx, jobs};
use crate::sync::rules::merge::{Outcome, decide};
use crate::sync::rules::stamp::Stamp;
use chrono::{DateTime, Utc};
use serde_json::{Value, json};
use uuid::Uuid;

/// Who writes.
#[derive(Debug, Clone, Copy)]
pub(in crate::flows) struct Writer {
    pub(in crate::flows) member: Uuid,
    /// The entry it comes with, if with one.
    pub(in crate::flows) entry: Option<Uuid>,
}

/// A held card, what becomes of it, and what is to be remembered.
#[derive(Debug)]
pub(in crate::flows) struct Writing {
    pub(in crate::flows) record: CardRecord,
    pub(in crate::flows) stamps: Stamps,
    before: Card,
    changed: bool,
    values: Vec<FieldValue>,
    overtaken: Vec<Overtaken>,
}

impl Writing {
    /// Begins with a card that is held for an edit.
    pub(in crate::flows) fn of(record: CardRecord) -> Result<Self, Error> {
        Ok(Self {
            stamps: Stamps::of(&record),
            before: document::stored(record.kind, &record.body)?,
            record,
            changed: false,
            values: Vec::new(),
            overtaken: Vec::new(),
        })
    }

    /// Writes one field, which must have been checked. `seen` is the stamp its writer knew it by: who
    /// overwrites what they have seen disagrees with nobody; anything else that goes has lost.
    pub(in crate::flows) fn write(
        &mut self,
        field: &str,
        value: &Value,
        stamp: Stamp,
        seen: Option<&str>,
        by: Writer,
    ) -> Outcome {
        let current = self.stamps.get(field);
        let outcome = decide(current, stamp);
        let word = match outcome {
            Outcome::Won => {
                if let Some(current) = current.filter(|current| seen != Some(current.text().as_str())) {
                    self.overtaken.push(Overtaken {
                        card_id: self.record.id,
                        field: field.to_owned(),
                        stamp: current.text(),
                        lane_id: current.lane,
                    });
                }
                fields::put(&mut self.record.body, field, value);
                self.stamps.set(field, stamp);
                self.changed = true;
                "won"
            }
            Outcome::Lost => "lost",
        };
        self.values.push(value_of(self.record.id, field, value.clone(), stamp, word, by));
        outcome
    }

    /// Moves a job on.
    pub(in crate::flows) fn move_to(&mut self, state: JobState) {
        fields::put(&mut self.record.body, "state", &json!(state));
        self.changed = true;
    }

    /// Where a job stands; nothing for another card.
    pub(in crate::flows) fn state(&self) -> Option<JobState> {
        JobState::from_word(self.record.body.get("state")?.as_str()?)
    }

    /// Writes the card, its history, and what phones are told.
    pub(in crate::flows) async fn save(self, tx: &mut Tx, now: DateTime<Utc>) -> Result<(), Error> {
        if self.changed {
            let version = self.record.version;
            let state = self.state().filter(|_| self.record.kind == Kind::Job);
            let before = self.before.job().map(|job| job.state);
            let record = CardRecord { field_stamps: self.stamps.document(), ..self.record };
            let saved = cards::save(tx, &record, version, now).await?;
            if let Some(state) = state.filter(|state| Some(*state) != before) {
                jobs::set_states(tx, &[(saved.id, state)]).await?;
            }
            trail::tell(tx, &saved, Some(&self.before)).await?;
        }
        history::append(tx, self.values, now).await?;
        history::mark_lost(tx, &self.overtaken).await
    }
}

/// The fields a desk has changed, each with one stamp later than all the card has, and their history.
pub(super) fn desk_values(
    record: &CardRecord,
    after: &Value,
    member: Uuid,
    now: DateTime<Utc>,
) -> (Stamps, Vec<FieldValue>) {
    let mut stamps = Stamps::of(record);
    let stamp = stamps.desk(now);
    let by = Writer { member, entry: None };
    let values = fields::changed(record.kind, &record.body, after)
        .into_iter()
        .map(|field| {
            stamps.set(&field, stamp);
            value_of(record.id, &field, fields::value_of(after, &field), stamp, "won", by)
        })
        .collect();
    (stamps, values)
}

fn value_of(card_id: Uuid, field: &str, value: Value, stamp: Stamp, word: &str, by: Writer) -> FieldValue {
    FieldValue {
        value_id: fresh(),
        card_id,
        field: field.to_owned(),
        value,
        stamp: stamp.text(),
        lane_id: stamp.lane,
        member_id: by.member,
        entry_id: by.entry,
        outcome: word.to_owned(),
        // The store writes one moment for all.
        at: DateTime::UNIX_EPOCH,
        decision: None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const NOTES: [&str; 4] = ["none", "Gate code", "Dog in the yard", "Ask for the key"];

    fn job() -> CardRecord {
        let id = Uuid::from_u128;
        CardRecord {
            id: id(9),
            kind: Kind::Job,
            version: 1,
            body: json!({"place_id": id(1), "client_id": id(2), "vehicle_id": id(3), "crew": [],
                "service_ids": [], "starts_at": "2026-03-02T15:00:00Z", "ends_at": "2026-03-02T19:00:00Z",
                "state": "booked"}),
            retired_at: None,
            field_stamps: None,
        }
    }

    type Edit = (Stamp, &'static str, Value);

    /// Six edits of one writer each: stamps of one lane are never equal.
    fn edits() -> impl Strategy<Value = Vec<Edit>> {
        let one = (0..3_i64, 0..3_usize, 0..4_usize);
        prop::collection::vec(one, 6).prop_map(|drawn| {
            (1_u128..)
                .zip(drawn)
                .map(|(lane, (ms, field, note))| {
                    let stamp = Stamp { ms, counter: 0, lane: Uuid::from_u128(lane) };
                    match field {
                        0 => (stamp, "note", NOTES.get(note).map_or(Value::Null, |note| json!(note))),
                        1 => (stamp, "sections/hood/polishing", json!(["done", "redo"][note % 2])),
                        _ => (stamp, "sections/roof/cutting", Value::Null),
                    }
                })
                .collect()
        })
    }

    /// The card, its stamps, and which values lost.
    fn apply(edits: &[Edit], order: &[usize]) -> (Value, Stamps, Vec<(String, String, Uuid)>) {
        let mut writing = Writing::of(job()).expect("a job");
        for i in order {
            let (stamp, field, value) = &edits[*i];
            let _ = writing.write(field, value, *stamp, None, Writer { member: stamp.lane, entry: None });
        }
        let lost = writing.values.iter().filter(|v| v.outcome == "lost");
        let mut lost: Vec<_> = lost.map(|v| (v.field.clone(), v.stamp.clone(), v.lane_id)).collect();
        lost.extend(writing.overtaken.iter().map(|o| (o.field.clone(), o.stamp.clone(), o.lane_id)));
        lost.sort();
        lost.dedup();
        (writing.record.body, writing.stamps, lost)
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(24))]

        /// All 720 orders in which six edits can arrive: one card, one list of losers.
        #[test]
        fn six_edits_in_every_order_give_one_card_and_one_list_of_losers(edits in edits()) {
            let mut order = [0, 1, 2, 3, 4, 5];
            let first = apply(&edits, &order);
            let fields = edits.iter().map(|(_, field, _)| *field).collect::<std::collections::BTreeSet<_>>();
            prop_assert_eq!(first.2.len(), 6 - fields.len(), "one winner per field, the rest kept");
            let mut orders = 1;
            // Heap's algorithm, without recursion.
            let (mut count, mut i) = ([0_usize; 6], 0);
            while i < 6 {
                if count[i] < i {
                    order.swap(if i % 2 == 0 { 0 } else { count[i] }, i);
                    prop_assert_eq!(&apply(&edits, &order), &first);
                    orders += 1;
                    count[i] += 1;
                    i = 0;
                } else {
                    count[i] = 0;
                    i += 1;
                }
            }
            prop_assert_eq!(orders, 720);
        }
    }

    #[test]
    fn who_overwrites_what_they_saw_disagrees_with_nobody() {
        let mut writing = Writing::of(job()).expect("a job");
        let by = Writer { member: Uuid::nil(), entry: None };
        let stamp = |ms| Stamp { ms, counter: 0, lane: Uuid::from_u128(1) };
        let _ = writing.write("note", &json!("a"), stamp(1), None, by);
        let _ = writing.write("note", &json!("b"), stamp(2), Some(&stamp(1).text()), by);
        assert_eq!(writing.overtaken, []);
        let _ = writing.write("note", &json!("c"), stamp(3), Some(&stamp(1).text()), by);
        assert_eq!(writing.overtaken.len(), 1, "b was never seen");
    }
}
