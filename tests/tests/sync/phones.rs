//! Phones as these tests hold them: a lane, a number, and an order in which entries are handed over.

use crate::invariants::desk::Desk;
use dropwise::ids::fresh;
use end_to_end::fleet::Person;
use serde_json::{Value, json};
use uuid::Uuid;

/// A phone of someone's, enrolled.
#[derive(Clone)]
pub struct Phone<'a> {
    pub desk: &'a Desk,
    pub person: Person,
    pub lane: Uuid,
    last_n: i64,
}

impl<'a> Phone<'a> {
    pub fn of_technician(desk: &'a Desk) -> Self {
        Self::of(desk, desk.fleet.technician)
    }

    pub fn of(desk: &'a Desk, person: Person) -> Self {
        let lane = fresh();
        let path = format!("/v1/devices/{lane}");
        let _ = desk.fleet.ask(person).put(&path, &json!({"name": "Phone"})).expect(200);
        Self { desk, person, lane, last_n: 0 }
    }

    /// The next entry of this phone.
    pub fn note(&mut self, kind: &str, body: Value) -> Value {
        self.last_n += 1;
        json!({"n": self.last_n, "id": fresh(), "kind": kind, "happened_at": "2026-03-02T18:00:00Z", "body": body})
    }

    /// The next entry, which rests on others.
    pub fn note_after(&mut self, needs: &[&Value], kind: &str, body: Value) -> Value {
        let mut entry = self.note(kind, body);
        entry["needs"] = needs.iter().map(|entry| entry["id"].clone()).collect();
        entry
    }

    #[track_caller]
    pub fn hand_over(&self, entries: &[Value]) -> Value {
        let body = json!({"lane_id": self.lane, "entries": entries});
        self.desk.fleet.ask(self.person).post("/v1/device/handover", &body).expect(200).json()
    }

    #[track_caller]
    pub fn hand_one(&self, entry: &Value) -> Value {
        self.hand_over(std::slice::from_ref(entry))
    }

    /// The verdict and the code on each, as told in the trail after they had been parked.
    pub fn told_verdicts(&self) -> Vec<(String, Value)> {
        let page = self.desk.fleet.ask(self.person).get("/v1/device/trail").expect(200).json();
        assert_eq!(page["more"], false);
        let rows = page["rows"].as_array().unwrap().iter().filter(|row| row["kind"] == "verdict");
        rows.map(|row| (row["id"].as_str().unwrap().to_owned(), row["body"].clone())).collect()
    }
}

pub fn trip(desk: &Desk, km: i64) -> Value {
    json!({"place_id": desk.cards.van, "distance_km": km.to_string()})
}

/// Work from the desk's bottle.
pub fn work(desk: &Desk, count: i64) -> Value {
    let of = desk.cards;
    json!({"job_id": of.job, "section": "hood", "stage": "polishing",
           "doses": [{"container_id": of.container, "count": count}]})
}

pub fn open(desk: &Desk) -> Value {
    json!({"container_id": desk.cards.container})
}

pub fn verdicts(reply: &Value) -> Vec<&str> {
    reply["verdicts"].as_array().unwrap().iter().map(|v| v["verdict"].as_str().unwrap()).collect()
}

pub fn codes(reply: &Value) -> Vec<&str> {
    reply["verdicts"].as_array().unwrap().iter().map(|v| v["code"].as_str().unwrap_or("")).collect()
}

/// Verdict and code of an entry as it is stored.
pub fn stored(desk: &Desk, entry: &Value) -> (String, Option<String>) {
    let id: Uuid = entry["id"].as_str().unwrap().parse().unwrap();
    let row = desk
        .world
        .db
        .as_owner()
        .query_one("select verdict, code from entries where entry_id = $1", &[&id])
        .unwrap();
    (row.get(0), row.get(1))
}

/// What the office may decide on.
pub fn kept(desk: &Desk) -> Vec<Value> {
    let page = desk.fleet.as_office().get("/v1/parked?room=200").expect(200).json();
    page["rows"].as_array().unwrap().clone()
}

/// How many entries wait, for what, and to be looked at.
pub fn waiting(desk: &Desk) -> (i64, i64, i64) {
    let sql = "select (select count(*) from parked), (select count(*) from parked_waits), \
               (select count(*) from parked where look)";
    let row = desk.world.db.as_owner().query_one(sql, &[]).unwrap();
    (row.get(0), row.get(1), row.get(2))
}
