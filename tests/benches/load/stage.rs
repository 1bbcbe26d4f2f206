//! The server, the fleets and their phones.

use dropwise::auth::password::Hasher;
use dropwise::clock::Clock;
use dropwise::config::HashingConfig;
use dropwise::flows::accounts::fleets::{self, NewFleet};
use dropwise::ids::fresh;
use dropwise::store::Db;
use end_to_end::binary::Serving;
use end_to_end::cards::{self, Cards};
use end_to_end::{Client, TestDb};
use serde_json::json;
use std::fmt::Write;
use uuid::Uuid;

/// Entries per handover: the most there may be.
pub(crate) const ENTRIES: usize = 500;
const PASSWORD: &str = "only for a throw-away load run";

/// A server with nothing in it yet.
pub(crate) struct Stage {
    pub(crate) server: Serving,
    url: String,
}

/// One business: its owner, who works from the van so that its entries are on their trail, and its phones.
pub(crate) struct Fleet {
    pub(crate) owner: Client,
    pub(crate) phones: Vec<Phone>,
}

/// A phone with a job, a bottle and a pad of its own; the product and the pad's model are the fleet's.
pub(crate) struct Phone {
    /// Its own connection, as the fleet's owner.
    pub(crate) client: Client,
    pub(crate) job: Uuid,
    lane: Uuid,
    container: Uuid,
    pad: Uuid,
    next_n: usize,
}

impl Stage {
    pub(crate) fn open(db: &TestDb) -> Self {
        let many = [("DROPWISE_LOG", "warn"), ("DROPWISE_TRIES_PER_SOURCE_PER_MIN", "1000000")];
        let mut server = Serving::start(&db.server_url(), &many);
        server.wait_until_ready().expect("a server");
        Self { server, url: db.server_url() }
    }

    pub(crate) fn fleet(&self, handle: &str, phones: usize) -> Fleet {
        self.found(handle);
        let anybody = Client::new(self.server.address);
        let who = json!({"fleet": handle, "member": "owner", "password": PASSWORD});
        let session = anybody.post("/v1/sessions", &who).expect(201).json();
        let owner = anybody.with_token(session["access_token"].as_str().expect("a token"));
        let of = Cards::create(&owner);
        let me = owner.get("/v1/members/self").expect(200).json();
        let path = format!("/v1/members/{}", me["member_id"].as_str().expect("an id"));
        let etag = owner.get(&path).expect(200).etag();
        let _ = owner.patch(&path, &etag, &json!({"home_place_id": of.van})).expect(200);
        let token = session["access_token"].as_str().expect("a token");
        let connect = || Client::new(self.server.address).with_token(token);
        let phones: Vec<Phone> = (0..phones).map(|_| Phone::enrol(connect(), of)).collect();
        Fleet { owner, phones }
    }

    fn found(&self, handle: &str) {
        let new = NewFleet {
            handle: handle.into(),
            name: handle.into(),
            currency: "USD".into(),
            zone: "America/Denver".into(),
            owner_handle: "owner".into(),
            owner_name: "Owner".into(),
            owner_password: PASSWORD.to_owned().into(),
        };
        let url = self.url.clone();
        actix_web::rt::System::new().block_on(async move {
            let hasher = Hasher::new(HashingConfig::default(), 1).expect("a hasher");
            let db = Db::open(&url, 1).expect("a pool");
            let _ = fleets::create(&db, &hasher, new, Clock::system().now()).await.expect("a fleet");
        });
    }
}

impl Phone {
    fn enrol(client: Client, of: Cards) -> Self {
        let lane = fresh();
        let enrolled = client.put(&format!("/v1/devices/{lane}"), &json!({"name": "Load"}));
        assert!(enrolled.status < 300, "{}", enrolled.text());
        let job = json!({"place_id": of.van, "client_id": of.client, "vehicle_id": of.vehicle, "crew": [],
                         "starts_at": "2026-03-02T15:00:00Z", "ends_at": "2026-03-02T19:00:00Z",
                         "service_ids": [of.service], "state": "booked"});
        let bottle = json!({"label": "B", "item_id": of.product, "place_id": of.van, "nominal_ml": "50000",
                            "tare_g": "62.5", "dose": "drop"});
        let pad = json!({"label": "P", "item_id": of.pad_model, "place_id": of.van});
        let phone = Self {
            job: cards::create(&client, "job", &job),
            container: cards::create(&client, "container", &bottle),
            pad: cards::create(&client, "pad", &pad),
            client,
            lane,
            next_n: 1,
        };
        let open = json!({"kind": "container_open", "happened_at": "2026-03-02T15:00:00Z",
                          "body": {"container_id": phone.container}});
        let _ = phone.client.put(&format!("/v1/entries/{}", fresh()), &open).expect(200);
        phone
    }

    /// The next 500 sections worked, written as the phone sends them.
    pub(crate) fn handover(&mut self) -> Vec<u8> {
        let mut text = format!(r#"{{"lane_id":"{}","entries":["#, self.lane);
        for i in 0..ENTRIES {
            let comma = if i == 0 { "" } else { "," };
            write!(
                text,
                r#"{comma}{{"n":{},"id":"{}","kind":"section_work","happened_at":"2026-03-02T16:00:00Z","body":{{"job_id":"{}","section":"hood","stage":"polishing","pad_id":"{}","doses":[{{"container_id":"{}","count":6}}]}}}}"#,
                self.next_n + i,
                fresh(),
                self.job,
                self.pad,
                self.container
            )
            .expect("a text grows");
        }
        self.next_n += ENTRIES;
        text.push_str("]}");
        text.into_bytes()
    }
}
