//! Two phones of one crew, each with a lane, numbers and a clock of its own.

use crate::invariants::desk::Desk;
use dropwise::ids::fresh;
use end_to_end::Client;
use serde_json::{Map, Value, json};
use std::cell::Cell;
use uuid::Uuid;

/// One phone.
pub(crate) struct Phone<'a> {
    desk: &'a Desk,
    pub(crate) lane: Uuid,
    n: Cell<i64>,
}

/// A stamp as phones write it: so many milliseconds after 2 March 2026, 19:00 UTC.
pub(crate) fn stamp(ms: i64, counter: u16) -> String {
    format!("{:013}-{counter:05}", 1_772_478_000_000 + ms)
}

impl<'a> Phone<'a> {
    pub(crate) fn enrol(desk: &'a Desk) -> Self {
        let lane = fresh();
        let path = format!("/v1/devices/{lane}");
        let _ = desk.fleet.as_technician().put(&path, &json!({"name": "Phone"})).expect_any(&[200, 201]);
        Self { desk, lane, n: Cell::new(0) }
    }

    fn client(&self) -> Client {
        self.desk.fleet.as_technician()
    }

    /// An entry with the next number; `outside` goes beside its body.
    pub(crate) fn entry(&self, kind: &str, body: Value, outside: Value) -> Value {
        self.n.set(self.n.get() + 1);
        let mut entry: Map<String, Value> = Map::new();
        entry.insert("n".into(), json!(self.n.get()));
        entry.insert("id".into(), json!(fresh()));
        entry.insert("kind".into(), json!(kind));
        entry.insert("happened_at".into(), json!("2026-03-02T19:00:00Z"));
        entry.insert("body".into(), body);
        entry.extend(outside.as_object().cloned().unwrap_or_default());
        Value::Object(entry)
    }

    /// An edit of a card.
    pub(crate) fn edit(&self, card: Uuid, set: Value, outside: Value) -> Value {
        self.entry("card_edit", json!({"card_id": card, "set": set}), outside)
    }

    /// Hands entries over and answers the whole reply.
    #[track_caller]
    pub(crate) fn hand_over(&self, entries: &[Value]) -> Value {
        let body = json!({"lane_id": self.lane, "entries": entries});
        self.client().post("/v1/device/handover", &body).expect(200).json()
    }

    /// Hands one entry over and answers its verdict.
    #[track_caller]
    pub(crate) fn send(&self, entry: Value) -> Value {
        self.hand_over(&[entry])["verdicts"][0].clone()
    }

    /// The latest row of the trail about a record.
    pub(crate) fn told(&self, kind: &str, id: Uuid) -> Value {
        let page = self.client().get("/v1/device/trail").expect(200).json();
        let rows = page["rows"].as_array().expect("rows");
        let about = |row: &&Value| row["kind"] == kind && row["id"] == json!(id);
        rows.iter().rfind(about).cloned().unwrap_or(Value::Null)
    }
}

/// A card's body as the office sees it.
#[track_caller]
pub(crate) fn body(desk: &Desk, id: Uuid) -> Value {
    desk.fleet.as_office().get(&format!("/v1/cards/{id}")).expect(200).json()["body"].clone()
}

/// What the office is shown of lost values: field and value, in no particular order.
pub(crate) fn lost(desk: &Desk) -> Vec<(String, Value)> {
    let page = desk.fleet.as_office().get("/v1/lost-values?room=200").expect(200).json();
    let rows = page["rows"].as_array().expect("rows");
    let mut all: Vec<_> =
        rows.iter().map(|row| (row["field"].as_str().unwrap().to_owned(), row["value"].clone())).collect();
    all.sort_by_key(|(field, value)| (field.clone(), value.to_string()));
    all
}
