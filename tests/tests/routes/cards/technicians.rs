//! What a technician sees of cards: no money, and of clients only those their van works for.

use dropwise::ids::fresh;
use end_to_end::cards::{Cards, create, edit, path};
use end_to_end::{Fleet, World};
use serde_json::{Value, json};
use uuid::Uuid;

/// Amounts that stand nowhere else: a leak shows by its digits, whatever the field is called.
const CANARIES: [&str; 6] = ["71.310001", "71.310002", "71.310003", "71.310004", "71.310005", "71.310006"];
const KINDS: [&str; 12] = [
    "fleet",
    "place",
    "item",
    "container",
    "pad",
    "machine",
    "vehicle_class",
    "recipe",
    "client",
    "vehicle",
    "service",
    "job",
];

/// The technician works from that van. Said before they first ask: what is known of them is kept for seconds.
fn settle_in(world: &World, fleet: &Fleet, van: Uuid) {
    let sql = "update members set home_place_id = $3 where fleet_id = $1 and member_id = $2";
    let changed = world.db.as_owner().execute(sql, &[&fleet.id.0, &fleet.technician.id.0, &van]).unwrap();
    assert_eq!(changed, 1);
}

/// A canary in every field of every kind that holds money.
fn put_canaries(fleet: &Fleet, cards: &Cards) {
    let (owner, [travel, salvage, hourly, list, price, discount]) = (fleet.as_owner(), CANARIES);
    edit(&owner, fleet.id.0, &json!({"travel_cost_per_km_amount": travel}));
    edit(&owner, cards.pad_model, &json!({"salvage_amount": salvage}));
    edit(&owner, cards.machine, &json!({"hourly_cost_amount": hourly}));
    edit(&owner, cards.service, &json!({"price_amount": list}));
    edit(&owner, cards.job, &json!({"price_amount": price, "discount_amount": discount}));
}

fn all_ids(fleet: &Fleet, cards: &Cards) -> Vec<Uuid> {
    vec![
        fleet.id.0,
        cards.van,
        cards.depot,
        cards.product,
        cards.supply,
        cards.pad_model,
        cards.container,
        cards.pad,
        cards.machine,
        cards.vehicle_class,
        cards.recipe,
        cards.client,
        cards.vehicle,
        cards.service,
        cards.job,
    ]
}

fn no_amounts(value: &Value, at: &str) {
    match value {
        Value::Object(fields) => {
            for (name, value) in fields {
                assert!(!name.contains("amount") && !name.contains("price"), "{at}/{name} is money");
                no_amounts(value, &format!("{at}/{name}"));
            }
        }
        Value::Array(values) => values.iter().for_each(|value| no_amounts(value, at)),
        _ => {}
    }
}

#[test]
fn no_kind_of_card_shows_a_technician_money_read_listed_or_told() {
    let world = World::new();
    let fleet = world.fleet("kerbside");
    let cards = Cards::create(&fleet.as_office());
    put_canaries(&fleet, &cards);
    settle_in(&world, &fleet, cards.van);
    let (technician, office) = (fleet.as_technician(), fleet.as_office());
    let (mut seen, mut seen_by_office) = (String::new(), String::new());
    for id in all_ids(&fleet, &cards) {
        let answer = technician.get(&path(id)).expect(200);
        no_amounts(&answer.json(), "");
        seen += &answer.text();
        seen_by_office += &office.get(&path(id)).expect(200).text();
    }
    for kind in KINDS {
        let list = format!("/v1/cards?kind={kind}&retired=true");
        let answer = technician.get(&list).expect(200);
        assert_ne!(answer.json()["rows"], json!([]), "{kind}");
        no_amounts(&answer.json(), kind);
        seen += &answer.text();
    }
    let told = world.db.as_owner().query("select body::text from trail where fleet_id = $1", &[&fleet.id.0]);
    for row in told.unwrap() {
        let body: String = row.get(0);
        no_amounts(&serde_json::from_str(&body).unwrap(), "trail");
        seen += &body;
    }
    for canary in CANARIES {
        assert!(!seen.contains(canary), "{canary} reached a technician");
        assert!(seen_by_office.contains(canary), "{canary} must be there to be found");
    }
}

#[test]
fn a_technician_finds_jobs_clients_and_vehicles_of_their_own_van_only() {
    let world = World::new();
    let fleet = world.fleet("kerbside");
    let office = fleet.as_office();
    let cards = Cards::create(&office);
    settle_in(&world, &fleet, cards.other_van);
    let client = create(&office, "client", &json!({"name": "Theirs"}));
    let vehicle = create(
        &office,
        "vehicle",
        &json!({"client_id": client, "vehicle_class_id": cards.vehicle_class, "description": "Blue"}),
    );
    let job = create(
        &office,
        "job",
        &json!({"place_id": cards.other_van, "client_id": client, "vehicle_id": vehicle, "crew": [],
                "starts_at": "2026-03-02T15:00:00Z", "ends_at": "2026-03-02T19:00:00Z", "service_ids": [],
                "state": "booked"}),
    );
    let technician = fleet.as_technician();
    let listed = |kind: &str| -> Vec<Value> {
        let rows =
            technician.get(&format!("/v1/cards?kind={kind}&retired=true")).expect(200).json()["rows"].clone();
        rows.as_array().unwrap().iter().map(|card| card["id"].clone()).collect()
    };
    let missing = technician.get(&path(fresh())).expect(404).text();
    for (kind, own, others) in
        [("job", job, cards.job), ("client", client, cards.client), ("vehicle", vehicle, cards.vehicle)]
    {
        let _ = technician.get(&path(own)).expect(200);
        assert_eq!(technician.get(&path(others)).expect(404).text(), missing, "as if it were not there");
        assert_eq!(listed(kind), [json!(own)]);
    }
    let elsewhere = format!("/v1/cards?kind=job&place={}", cards.van);
    assert_eq!(technician.get(&elsewhere).expect(200).json(), json!({"rows": []}));
    // When the job is done the client is nobody's business on the van any more; the job stays theirs.
    edit(&office, job, &json!({"state": "settled"}));
    for gone in [client, vehicle] {
        technician.get(&path(gone)).expect_problem(404, "not_found");
    }
    assert_eq!((listed("client"), listed("vehicle")), (vec![], vec![]));
    assert_eq!(listed("job"), [json!(job)]);
}

#[test]
fn a_technician_without_a_van_sees_no_jobs_clients_or_vehicles() {
    let world = World::new();
    let fleet = world.fleet("kerbside");
    let cards = Cards::create(&fleet.as_office());
    let technician = fleet.as_technician();
    for (kind, id) in [("job", cards.job), ("client", cards.client), ("vehicle", cards.vehicle)] {
        technician.get(&path(id)).expect_problem(404, "not_found");
        let page = technician.get(&format!("/v1/cards?kind={kind}")).expect(200);
        assert_eq!(page.json(), json!({"rows": []}));
    }
}

#[test]
fn a_technician_creates_edits_and_retires_nothing() {
    let world = World::new();
    let fleet = world.fleet("kerbside");
    let cards = Cards::create(&fleet.as_office());
    let technician = fleet.as_technician();
    let body = json!({"kind": "client", "body": {"name": "A"}});
    technician.put(&path(fresh()), &body).expect_problem(403, "not_allowed");
    technician.patch(&path(cards.pad), "\"1\"", &json!({"label": "x"})).expect_problem(403, "not_allowed");
    technician
        .send("POST", &format!("{}/retire", path(cards.pad)), &[("if-match", "\"1\"")], None)
        .expect_problem(403, "not_allowed");
    assert_eq!(fleet.as_office().get(&path(cards.pad)).expect(200).json()["version"], 1);
}
