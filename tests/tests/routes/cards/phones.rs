//! What phones are told of cards: to whom, in what state, and what they lose sight of.

use end_to_end::cards::{Cards, create, edit, path};
use end_to_end::{Client, Fleet, World};
use serde_json::{Value, json};
use uuid::Uuid;

/// The state of a record as one audience knows it.
fn told(world: &World, fleet: &Fleet, audience: Uuid, record: Uuid) -> Option<Value> {
    let sql = "select case state when 'here' then body else to_json(state) end::text from trail where fleet_id = $1 and audience_id = $2 and record_id = $3";
    let row = world.db.as_owner().query_opt(sql, &[&fleet.id.0, &audience, &record]).unwrap();
    row.map(|row| serde_json::from_str(row.get(0)).unwrap())
}

fn version(state: Option<Value>) -> Option<u64> {
    state.and_then(|state| state["version"].as_u64())
}

fn left() -> Option<Value> {
    Some(json!("left"))
}

#[test]
fn what_all_vans_use_is_told_to_the_fleet_and_what_one_has_to_that_one() {
    let world = World::new();
    let fleet = world.fleet("kerbside");
    let cards = Cards::create(&fleet.as_office());
    for id in [
        cards.van,
        cards.product,
        cards.machine,
        cards.vehicle_class,
        cards.recipe,
        cards.service,
        fleet.id.0,
    ] {
        assert_eq!(version(told(&world, &fleet, fleet.id.0, id)), Some(1));
        assert_eq!(told(&world, &fleet, cards.van, id), None);
    }
    for id in [cards.container, cards.pad, cards.job, cards.client, cards.vehicle] {
        assert_eq!(version(told(&world, &fleet, cards.van, id)), Some(1));
        assert_eq!(told(&world, &fleet, fleet.id.0, id), None, "not everyone's business");
        assert_eq!(told(&world, &fleet, cards.other_van, id), None);
    }
}

#[test]
fn what_moves_is_left_by_one_van_and_told_whole_to_the_other() {
    let world = World::new();
    let fleet = world.fleet("kerbside");
    let office = fleet.as_office();
    let cards = Cards::create(&office);
    for id in [cards.container, cards.pad, cards.job] {
        edit(&office, id, &json!({"place_id": cards.other_van}));
        assert_eq!(told(&world, &fleet, cards.van, id), left());
        let there = told(&world, &fleet, cards.other_van, id).unwrap();
        assert_eq!((&there["version"], &there["body"]["place_id"]), (&json!(2), &json!(cards.other_van)));
    }
    for id in [cards.client, cards.vehicle] {
        assert_eq!(told(&world, &fleet, cards.van, id), left(), "no job there any more");
        assert_eq!(version(told(&world, &fleet, cards.other_van, id)), Some(1));
    }
    edit(&office, cards.job, &json!({"place_id": cards.van}));
    assert_eq!(version(told(&world, &fleet, cards.van, cards.client)), Some(1), "and back");
    assert_eq!(told(&world, &fleet, cards.other_van, cards.client), left());
}

#[test]
fn a_bottle_takes_its_level_along_and_a_pad_its_wear() {
    let world = World::new();
    let fleet = world.fleet("kerbside");
    let office = fleet.as_office();
    let cards = Cards::create(&office);
    book(&office, "container_open", &json!({"container_id": cards.container, "remaining_ml": "200"}));
    let worked = json!({"job_id": cards.job, "section": "hood", "stage": "polishing", "pad_id": cards.pad,
                        "doses": [{"container_id": cards.container, "count": 12}]});
    book(&office, "section_work", &worked);
    let known = |van: Uuid, kind: &str| {
        let sql = "select record_id, case state when 'here' then body else to_json(state) end::text from trail where fleet_id = $1 and audience_id = $2 and kind = $3";
        let row = world.db.as_owner().query_opt(sql, &[&fleet.id.0, &van, &kind]).unwrap()?;
        Some((row.get::<_, Uuid>(0), serde_json::from_str::<Value>(row.get(1)).unwrap()))
    };
    for (id, kind, field) in
        [(cards.container, "container_level", "remaining_ml"), (cards.pad, "pad_state", "cycles")]
    {
        let (record, before) = known(cards.van, kind).unwrap();
        assert_eq!((record, known(cards.other_van, kind)), (id, None));
        edit(&office, id, &json!({"place_id": cards.other_van}));
        let (record, after) = known(cards.other_van, kind).unwrap();
        assert_eq!((record, &after[field]), (id, &before[field]));
        assert!(after[field].is_number());
        assert_eq!(known(cards.van, kind), Some((id, json!("left"))));
    }
}

/// Writes a fact down at the desk.
fn book(office: &Client, kind: &str, body: &Value) {
    let entry = json!({"kind": kind, "happened_at": "2026-03-02T16:00:00Z", "body": body});
    let verdict = office.put(&format!("/v1/entries/{}", dropwise::ids::fresh()), &entry).expect(200).json();
    assert_eq!(verdict["verdict"], "taken", "{verdict}");
}

#[test]
fn a_client_goes_with_the_last_booked_job_and_not_before() {
    let world = World::new();
    let fleet = world.fleet("kerbside");
    let office = fleet.as_office();
    let cards = Cards::create(&office);
    let second = create(
        &office,
        "job",
        &json!({"place_id": cards.van, "client_id": cards.client, "vehicle_id": cards.vehicle, "crew": [],
                "starts_at": "2026-03-05T15:00:00Z", "ends_at": "2026-03-05T19:00:00Z", "service_ids": [],
                "state": "booked"}),
    );
    edit(&office, cards.job, &json!({"state": "settled"}));
    edit(&office, cards.client, &json!({"contact": "by letter"}));
    assert_eq!(version(told(&world, &fleet, cards.van, cards.client)), Some(2));
    edit(&office, second, &json!({"state": "cancelled"}));
    for id in [cards.client, cards.vehicle] {
        assert_eq!(told(&world, &fleet, cards.van, id), left());
    }
    edit(&office, cards.client, &json!({"contact": "by phone"}));
    assert_eq!(told(&world, &fleet, cards.van, cards.client), left(), "no longer told");
    assert_eq!(version(told(&world, &fleet, cards.van, cards.job)), Some(2), "the job stays");
}

#[test]
fn a_card_out_of_use_says_so() {
    let world = World::new();
    let fleet = world.fleet("kerbside");
    let office = fleet.as_office();
    let cards = Cards::create(&office);
    for (audience, id) in [(cards.van, cards.pad), (fleet.id.0, cards.machine)] {
        let _ =
            office.send("POST", &format!("{}/retire", path(id)), &[("if-match", "\"1\"")], None).expect(200);
        let state = told(&world, &fleet, audience, id).unwrap();
        assert!(state["retired_at"].is_string() && state["version"] == 2, "{state}");
    }
}

/// Two jobs of one client change hands at once; whoever ends last must have known of the other.
#[test]
fn vans_know_their_clients_whatever_the_order_of_two_edits_at_once() {
    let world = World::new();
    let fleet = world.fleet("kerbside");
    let office = fleet.as_office();
    let cards = Cards::create(&office);
    let second = create(
        &office,
        "job",
        &json!({"place_id": cards.other_van, "client_id": cards.client, "vehicle_id": cards.vehicle, "crew": [],
                "starts_at": "2026-03-05T15:00:00Z", "ends_at": "2026-03-05T19:00:00Z", "service_ids": [],
                "state": "booked"}),
    );
    for round in 0..20 {
        let (here, there) =
            if round % 2 == 0 { (cards.van, cards.other_van) } else { (cards.other_van, cards.van) };
        std::thread::scope(|scope| {
            scope.spawn(|| edit(&office, cards.job, &json!({"place_id": there})));
            scope.spawn(|| edit(&office, second, &json!({"place_id": here})));
        });
        for van in [cards.van, cards.other_van] {
            assert_eq!(
                version(told(&world, &fleet, van, cards.client)),
                Some(1),
                "each has one job, round {round}"
            );
        }
    }
}
