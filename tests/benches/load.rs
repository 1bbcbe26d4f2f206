//! How fast entries are taken and the trail is read, as ratios to Postgres doing the same rows by itself.
//!
//! Bounded, on the loopback only, on a throw-away Postgres with everything durable. Prints what it
//! measured and asserts no time. `cargo bench -p end-to-end --bench load`; `DROPWISE_BINARY` names the
//! release binary, `LOAD_BATCHES` how many handovers of 500 entries each phone makes.

use dropwise::auth::password::Hasher;
use dropwise::clock::Clock;
use dropwise::config::HashingConfig;
use dropwise::flows::accounts::fleets::{self, NewFleet};
use dropwise::ids::fresh;
use dropwise::store::Db;
use end_to_end::binary::Serving;
use end_to_end::cards::{self, Cards};
use end_to_end::cluster::Cluster;
use end_to_end::{Client, TestDb};
use serde_json::{Value, json};
use std::time::{Duration, Instant};
use uuid::Uuid;

const ENTRIES: usize = 500;
const PHONES: usize = 4;

fn main() {
    let batches: usize = std::env::var("LOAD_BATCHES").ok().and_then(|n| n.parse().ok()).unwrap_or(5);
    let cluster = Cluster::own(&["shared_buffers=128MB", "max_wal_size=2GB"]);
    let db = TestDb::fresh_on(&cluster);
    found(&db);
    let mut server = Serving::start(&db.server_url(), &[("DROPWISE_LOG", "warn")]);
    server.wait_until_ready().expect("a server");
    let owner = signed_in(Client::new(server.address));
    let of = Cards::create(&owner);
    // The owner works from the van, so that its entries are on their trail; sessions notice within 3 s.
    let me = owner.get("/v1/members/self").expect(200);
    let path = format!("/v1/members/{}", me.json()["member_id"].as_str().expect("an id"));
    let _ = owner
        .patch(&path, &owner.get(&path).expect(200).etag(), &json!({"home_place_id": of.van}))
        .expect(200);
    std::thread::sleep(Duration::from_secs(4));
    let phones: Vec<Phone> = (0..PHONES).map(|_| Phone::enrol(&owner, of)).collect();

    let first = evening(&phones, &owner, 0, batches);
    report("handover, first evening", &first);
    for round in 1..9 {
        let _ = evening(&phones, &owner, round, batches);
    }
    let tenth = evening(&phones, &owner, 9, batches);
    report("handover, tenth evening", &tenth);
    println!(
        "growth: the tenth evening took {:.2} of the first",
        tenth.took.as_secs_f64() / first.took.as_secs_f64()
    );

    let rows = tenth.entries;
    let copied = copy_of_entries(&db, rows);
    println!("COPY of {rows} of the same entries in one transaction: {:.0}/s", rate(rows, copied));
    println!("ratio handover to COPY: {:.3}", rate(rows, tenth.took) / rate(rows, copied));

    let (read, took) = read_trail(&owner);
    let psql = psql_of_trail(&db);
    println!("trail: {read} rows at {:.0}/s; psql: {:.0}/s", rate(read, took), rate(psql.0, psql.1));
    println!("ratio trail to psql: {:.3}", rate(read, took) / rate(psql.0, psql.1));
    println!("server resident: {:.1} MiB", server.resident_mib());
}

struct Evening {
    entries: usize,
    took: Duration,
    each: Vec<Duration>,
}

struct Phone {
    lane: Uuid,
    job: Uuid,
    container: Uuid,
    pad: Uuid,
}

impl Phone {
    fn enrol(owner: &Client, of: Cards) -> Self {
        let lane = fresh();
        let enrolled = owner.put(&format!("/v1/devices/{lane}"), &json!({"name": "Load"}));
        assert!(enrolled.status < 300, "{}", enrolled.text());
        let container = json!({"label": "B", "item_id": of.product, "place_id": of.van, "nominal_ml": "50000",
                               "tare_g": "62.5", "dose": "drop"});
        let phone = Self {
            lane,
            job: cards::create(
                owner,
                "job",
                &json!({"place_id": of.van, "client_id": of.client, "vehicle_id": of.vehicle, "crew": [],
                        "starts_at": "2026-03-02T15:00:00Z", "ends_at": "2026-03-02T19:00:00Z",
                        "service_ids": [of.service], "state": "booked"}),
            ),
            container: cards::create(owner, "container", &container),
            pad: cards::create(
                owner,
                "pad",
                &json!({"label": "P", "item_id": of.pad_model, "place_id": of.van}),
            ),
        };
        let open = json!({"kind": "container_open", "happened_at": "2026-03-02T15:00:00Z",
                          "body": {"container_id": phone.container}});
        let _ = owner.put(&format!("/v1/entries/{}", fresh()), &open).expect(200);
        phone
    }

    fn batch(&self, from: usize) -> Value {
        let entries: Vec<Value> = (from..from + ENTRIES)
            .map(|n| {
                json!({"n": n + 1, "id": fresh(), "kind": "section_work", "happened_at": "2026-03-02T16:00:00Z",
                       "body": {"job_id": self.job, "section": "hood", "stage": "polishing", "pad_id": self.pad,
                                "doses": [{"container_id": self.container, "count": 6}]}})
            })
            .collect();
        json!({"lane_id": self.lane, "entries": entries})
    }
}

/// Every phone hands over its queue, all at once.
fn evening(phones: &[Phone], owner: &Client, round: usize, batches: usize) -> Evening {
    let queues: Vec<Vec<Value>> = phones
        .iter()
        .map(|phone| (0..batches).map(|b| phone.batch((round * batches + b) * ENTRIES)).collect())
        .collect();
    let start = Instant::now();
    let each: Vec<Duration> = std::thread::scope(|scope| {
        let senders: Vec<_> = queues
            .iter()
            .map(|queue| {
                scope.spawn(move || {
                    let send = |body: &Value| {
                        let answer = owner.post("/v1/device/handover", body).expect(200);
                        let reply = answer.json();
                        let taken =
                            reply["verdicts"].as_array().unwrap().iter().all(|v| v["verdict"] == "taken");
                        assert!(taken, "{}", reply["verdicts"][0]);
                        answer.took
                    };
                    queue.iter().map(send).collect::<Vec<_>>()
                })
            })
            .collect();
        senders.into_iter().flat_map(|sender| sender.join().expect("a phone")).collect()
    });
    Evening { entries: phones.len() * batches * ENTRIES, took: start.elapsed(), each }
}

fn report(what: &str, evening: &Evening) {
    let mut each = evening.each.clone();
    each.sort_unstable();
    let at = |share: usize| each[(each.len() - 1) * share / 100].as_secs_f64() * 1e3;
    let per_s = rate(evening.entries, evening.took);
    println!(
        "{what}: {per_s:.0} entries/s, per handover of {ENTRIES}: p50 {:.0} ms, p99 {:.0} ms",
        at(50),
        at(99)
    );
}

fn rate(rows: usize, took: Duration) -> f64 {
    rows as f64 / took.as_secs_f64()
}

/// The same entries written by COPY into a table with the same columns and keys.
fn copy_of_entries(db: &TestDb, rows: usize) -> Duration {
    use std::io::{Read, Write};
    let mut owner = db.as_owner();
    owner
        .batch_execute(
            "create table copied (like entries including defaults including indexes including constraints)",
        )
        .unwrap();
    let mut bytes = Vec::new();
    let out = format!("copy (select * from entries where kind = 'section_work' limit {rows}) to stdout");
    owner.copy_out(&out).unwrap().read_to_end(&mut bytes).unwrap();
    let start = Instant::now();
    let mut transaction = owner.transaction().unwrap();
    let mut writer = transaction.copy_in("copy copied from stdin").unwrap();
    writer.write_all(&bytes).unwrap();
    assert_eq!(writer.finish().unwrap(), rows as u64);
    transaction.commit().unwrap();
    start.elapsed()
}

fn read_trail(owner: &Client) -> (usize, Duration) {
    let (mut rows, mut after) = (0, String::new());
    let start = Instant::now();
    loop {
        let page = owner.get(&format!("/v1/device/trail?room=500{after}")).expect(200).json();
        rows += page["rows"].as_array().unwrap().len();
        if page["more"] == false {
            return (rows, start.elapsed());
        }
        after = format!("&after={}", page["bookmark"].as_str().unwrap());
    }
}

fn psql_of_trail(db: &TestDb) -> (usize, Duration) {
    let psql = end_to_end::cluster::tools().expect("the tools").join("psql");
    let sql = "select record_id, kind, position, turn, body from trail order by position";
    let start = Instant::now();
    let out =
        std::process::Command::new(psql).args(["-XAtq", "-c", sql, &db.owner_url()]).output().expect("psql");
    let took = start.elapsed();
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    (out.stdout.iter().filter(|byte| **byte == b'\n').count(), took)
}

const PASSWORD: &str = "only for a throw-away load run";

fn found(db: &TestDb) {
    let new = NewFleet {
        handle: "load".into(),
        name: "Load".into(),
        currency: "USD".into(),
        zone: "America/Denver".into(),
        owner_handle: "owner".into(),
        owner_name: "Owner".into(),
        owner_password: PASSWORD.to_owned().into(),
    };
    let url = db.server_url();
    actix_web::rt::System::new().block_on(async move {
        let hasher = Hasher::new(HashingConfig::default(), 1).expect("a hasher");
        let db = Db::open(&url, 1).expect("a pool");
        let _ = fleets::create(&db, &hasher, new, Clock::system().now()).await.expect("a fleet");
    });
}

fn signed_in(client: Client) -> Client {
    let who = json!({"fleet": "load", "member": "owner", "password": PASSWORD});
    let session = client.post("/v1/sessions", &who).expect(201).json();
    client.with_token(session["access_token"].as_str().expect("a token"))
}
