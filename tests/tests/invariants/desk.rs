//! A fleet with one card of every kind, and short ways to book entries and look at the books.

use chrono::{DateTime, Utc};
use dropwise::flows::answers::audit;
use dropwise::ids::fresh;
use dropwise::store::Db;
use end_to_end::cards::{self, Cards};
use end_to_end::{Fleet, World};
use serde_json::{Value, json};
use uuid::Uuid;

/// A fleet on 2 March 2026, 14:00 in Denver.
pub struct Desk {
    pub world: World,
    pub fleet: Fleet,
    pub cards: Cards,
}

/// An entry that happened at noon of that day, in Denver.
pub fn entry(kind: &str, body: &Value) -> Value {
    json!({"kind": kind, "happened_at": "2026-03-02T19:00:00Z", "body": body})
}

impl Desk {
    pub fn new(handle: &str) -> Self {
        let now: DateTime<Utc> = "2026-03-02T21:00:00Z".parse().unwrap();
        let world = World::at(now);
        let fleet = world.fleet(handle);
        let cards = Cards::create(&fleet.as_office());
        let desk = Self { world, fleet, cards };
        desk.send_technician_to(cards.van);
        desk
    }

    /// Lets the technician work from a van; sessions are looked at again within three seconds.
    fn send_technician_to(&self, van: Uuid) {
        let path = format!("/v1/members/{}", self.fleet.technician.id);
        let owner = self.fleet.as_owner();
        let etag = owner.get(&path).expect(200).etag();
        let _ = owner.patch(&path, &etag, &json!({"home_place_id": van})).expect(200);
    }

    #[track_caller]
    pub fn take(&self, kind: &str, body: Value) -> Uuid {
        let id = fresh();
        let answer =
            self.fleet.as_office().put(&format!("/v1/entries/{id}"), &entry(kind, &body)).expect(200);
        assert_eq!(answer.json()["verdict"], "taken");
        id
    }

    #[track_caller]
    pub fn take_as_technician(&self, kind: &str, body: Value) -> Uuid {
        let id = fresh();
        let tech = self.fleet.as_technician();
        let answer = tech.put(&format!("/v1/entries/{id}"), &entry(kind, &body)).expect(200);
        assert_eq!(answer.json()["verdict"], "taken");
        id
    }

    #[track_caller]
    pub fn refuse(&self, kind: &str, body: Value, code: &str) {
        let path = format!("/v1/entries/{}", fresh());
        self.fleet.as_office().put(&path, &entry(kind, &body)).expect_problem(422, code);
    }

    #[track_caller]
    pub fn receive(&self, item: Uuid, place: Uuid, quantity: &str, total: &str) {
        self.take(
            "receipt",
            json!({"item_id": item, "place_id": place, "quantity": quantity, "total_amount": total}),
        );
    }

    pub fn another_job(&self) -> Uuid {
        let of = self.cards;
        let body = json!({"place_id": of.van, "client_id": of.client, "vehicle_id": of.vehicle, "crew": [],
                          "starts_at": "2026-03-02T20:00:00Z", "ends_at": "2026-03-02T22:00:00Z",
                          "service_ids": [of.service], "state": "booked"});
        cards::create(&self.fleet.as_office(), "job", &body)
    }

    pub fn level(&self) -> Value {
        let levels = self.fleet.as_owner().get("/v1/levels/containers").expect(200).json();
        levels["rows"][0].clone()
    }

    pub fn costs(&self, job: Uuid) -> Value {
        self.fleet.as_owner().get(&format!("/v1/jobs/{job}/costs")).expect(200).json()
    }

    /// Every row of every book of the database, for comparing before and after.
    pub fn books(&self) -> String {
        const TABLES: [&str; 11] = [
            "entries",
            "stock_lines",
            "stock_levels",
            "stock_values",
            "use_days",
            "cost_lines",
            "cost_figures",
            "container_levels",
            "container_marks",
            "pad_states",
            "pad_lines",
        ];
        let mut owner = self.world.db.as_owner();
        let mut all = String::new();
        for table in TABLES {
            let sql =
                format!("select coalesce(string_agg(t::text, ';' order by t::text), '') from {table} t");
            let rows: String = owner.query_one(&sql, &[]).unwrap().get(0);
            all += &format!("{table}: {rows}\n");
        }
        all
    }

    /// How many trips are booked: each has one line.
    pub fn trips(&self) -> i64 {
        let sql = "select count(*) from cost_lines where what = 'travel'";
        self.world.db.as_owner().query_one(sql, &[]).unwrap().get(0)
    }

    pub fn quantity(&self, item: Uuid) -> String {
        let sql = "select trim_scale(quantity)::text from stock_values where item_id = $1";
        self.world.db.as_owner().query_one(sql, &[&item]).unwrap().get(0)
    }

    /// I2, I3 and I7 hold.
    #[track_caller]
    pub fn audit(&self) {
        let url = self.world.db.server_url();
        let fleet = self.fleet.id;
        let findings = actix_web::rt::System::new().block_on(async move {
            let db = Db::open(&url, 1).expect("a pool");
            db.read_long(fleet, async |tx| audit::whole(tx).await).await.expect("an audit")
        });
        assert_eq!(findings.len(), 6);
        for finding in findings {
            assert_eq!(finding.compared.wrong, 0, "{finding:?}");
        }
    }
}
