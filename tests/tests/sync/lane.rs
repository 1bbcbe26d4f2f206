//! A lane as these tests hold it: entries are written down in their order and sent as they please.

use dropwise::ids::fresh;
use end_to_end::{Answer, Client};
use serde_json::{Value, json};
use uuid::Uuid;

/// An enrolled phone.
#[derive(Clone)]
pub struct Lane {
    pub client: Client,
    pub id: Uuid,
    pub place: Uuid,
    pub last_n: i64,
}

impl Lane {
    /// Enrols a phone of whoever the client is, for trips of a van.
    pub fn enrol(client: Client, place: Uuid) -> Self {
        let id = fresh();
        client.put(&format!("/v1/devices/{id}"), &json!({"name": "Phone"})).expect_any(&[200, 201]);
        Self { client, id, place, last_n: 0 }
    }

    /// The next so many entries.
    pub fn note(&mut self, count: usize) -> Vec<Value> {
        (0..count).map(|_| self.note_one()).collect()
    }

    pub fn note_one(&mut self) -> Value {
        self.last_n += 1;
        json!({"n": self.last_n, "id": fresh(), "kind": "trip", "happened_at": "2026-03-02T18:00:00Z",
               "body": {"place_id": self.place, "distance_km": "2.5"}})
    }

    /// What is sent to hand these over.
    pub fn body(&self, entries: &[Value]) -> Value {
        json!({"lane_id": self.id, "entries": entries})
    }

    /// Hands over; answers whatever comes.
    pub fn send(&self, entries: &[Value]) -> Answer {
        self.client.post("/v1/device/handover", &self.body(entries))
    }

    /// Hands over text that may be no JSON, and perhaps encoded.
    pub fn send_bytes(&self, bytes: &[u8], encoding: Option<&str>) -> Answer {
        let headers: Vec<_> = std::iter::once(("content-type", "application/json"))
            .chain(encoding.map(|encoding| ("content-encoding", encoding)))
            .collect();
        self.client.send("POST", "/v1/device/handover", &headers, Some(bytes))
    }

    /// Hands over and must be heard.
    #[track_caller]
    pub fn hand_over(&self, entries: &[Value]) -> Value {
        self.send(entries).expect(200).json()
    }
}

/// The verdicts of a reply, in order.
pub fn verdicts(reply: &Value) -> Vec<&str> {
    reply["verdicts"].as_array().unwrap().iter().map(|one| one["verdict"].as_str().unwrap()).collect()
}
