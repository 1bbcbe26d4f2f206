//! A card is created once, however often and from wherever it is sent.

use dropwise::ids::fresh;
use end_to_end::cards::{Cards, create, path};
use end_to_end::{Client, World};
use serde_json::{Value, json};
use std::collections::HashMap;
use uuid::Uuid;

/// A body of every kind that can be created here.
pub(in super::super) fn bodies(of: &Cards) -> Vec<(&'static str, Value)> {
    vec![
        ("place", json!({"name": "Van 3", "what": "van"})),
        ("item", json!({"name": "Finishing polish", "what": "product", "ml_per_dose": "0.25"})),
        ("item", json!({"name": "Tape", "what": "supply"})),
        ("item", json!({"name": "Wool pad", "what": "pad_model", "salvage_amount": "1"})),
        (
            "container",
            json!({"label": "B-2", "item_id": of.product, "place_id": of.depot, "nominal_ml": "250",
                   "tare_g": "40", "tare_sd_g": "0.4", "dose": "shot"}),
        ),
        ("pad", json!({"label": "P-2", "item_id": of.pad_model, "place_id": of.depot})),
        ("machine", json!({"label": "M-2", "place_id": of.depot, "hourly_cost_amount": "2"})),
        ("vehicle_class", json!({"name": "Van", "sections": [{"name": "side", "area_m2": "3.2"}]})),
        (
            "recipe",
            json!({"name": "Two steps", "stages": [{"what": "cutting", "item_id": of.product, "min_per_m2": "9"},
                   {"what": "finishing", "min_per_m2": "5", "passes": 3, "speed_step": 4}]}),
        ),
        ("client", json!({"name": "Another client", "contact": "by letter"})),
        (
            "vehicle",
            json!({"client_id": of.client, "vehicle_class_id": of.vehicle_class, "description": "Red van", "plate": "T 1"}),
        ),
        ("service", json!({"name": "Wash", "price_amount": "35"})),
        (
            "job",
            json!({"place_id": of.van, "client_id": of.client, "vehicle_id": of.vehicle, "crew": [],
                   "starts_at": "2026-03-03T15:00:00Z", "ends_at": "2026-03-03T16:00:00Z",
                   "service_ids": [of.service, of.service], "price_amount": "400", "discount_amount": "12.5",
                   "state": "booked", "note": "Two\nlines"}),
        ),
    ]
}

#[test]
fn every_kind_is_created_read_listed_edited_and_retired_by_office_and_owner() {
    let world = World::new();
    let fleet = world.fleet("kerbside");
    for client in [fleet.as_office(), fleet.as_owner()] {
        let cards = Cards::create(&client);
        for (kind, body) in bodies(&cards) {
            let id = fresh();
            let sent = json!({"kind": kind, "body": body});
            let created = client.put(&path(id), &sent).expect(201);
            assert_eq!(created.etag(), "\"1\"");
            let expected = json!({"id": id, "version": 1, "kind": kind, "body": body});
            assert_eq!(created.json(), expected);
            let read = client.get(&path(id)).expect(200);
            assert_eq!((read.json(), read.etag()), (expected.clone(), "\"1\"".to_owned()));
            assert!(listed(&client, kind).contains(&expected), "{kind} is listed");

            let field = body
                .as_object()
                .unwrap()
                .keys()
                .find(|k| ["name", "label", "description", "note"].contains(&k.as_str()));
            let edited = client.patch(&path(id), "\"1\"", &json!({(field.unwrap()): "Renamed"})).expect(200);
            assert_eq!(edited.etag(), "\"2\"");
            assert_eq!(edited.json()["body"][field.unwrap()], "Renamed");

            let mut etag = edited.etag();
            if kind == "job" {
                etag = client.patch(&path(id), &etag, &json!({"state": "cancelled"})).expect(200).etag();
            }
            let retire = format!("{}/retire", path(id));
            let retired = client.send("POST", &retire, &[("if-match", &etag)], None).expect(200);
            assert!(retired.json()["retired_at"].is_string());
            assert!(listed(&client, kind).iter().all(|card| card["id"] != json!(id)), "{kind} is out of use");
            let _ = client.get(&path(id)).expect(200);
        }
    }
}

fn listed(client: &Client, kind: &str) -> Vec<Value> {
    let page = client.get(&format!("/v1/cards?kind={kind}&room=200")).expect(200).json();
    page["rows"].as_array().unwrap().clone()
}

#[test]
fn the_same_creation_again_answers_as_before_and_another_under_its_id_is_refused() {
    let world = World::new();
    let office = world.fleet("kerbside").as_office();
    let id = fresh();
    let wash = json!({"kind": "service", "body": {"name": "Wash", "price_amount": "35.00"}});
    let first = office.put(&path(id), &wash).expect(201).json();
    assert_eq!(office.put(&path(id), &wash).expect(200).json(), first);
    let reworded = r#"{ "body": {"price_amount": "35", "name": "Wash"}, "kind": "service" }"#;
    let headers = [("content-type", "application/json")];
    assert_eq!(office.send("PUT", &path(id), &headers, Some(reworded.as_bytes())).expect(200).json(), first);
    let dearer = json!({"kind": "service", "body": {"name": "Wash", "price_amount": "36"}});
    office.put(&path(id), &dearer).expect_problem(409, "id_taken");
    let other = json!({"kind": "client", "body": {"name": "Wash"}});
    office.put(&path(id), &other).expect_problem(409, "id_taken");
    assert_eq!(office.get(&path(id)).expect(200).json(), first);
}

#[test]
fn of_many_sending_one_id_at_once_exactly_one_is_first() {
    let world = World::new();
    let office = world.fleet("kerbside").as_office();
    for same in [true, false] {
        let id = fresh();
        let statuses: Vec<u16> = std::thread::scope(|scope| {
            let senders: Vec<_> = (0..8)
                .map(|n| {
                    let (office, name) =
                        (&office, if same { "Wash".to_owned() } else { format!("Wash {n}") });
                    scope.spawn(move || {
                        office.put(&path(id), &json!({"kind": "client", "body": {"name": name}})).status
                    })
                })
                .collect();
            senders.into_iter().map(|sender| sender.join().unwrap()).collect()
        });
        let mut count = HashMap::new();
        for status in statuses {
            *count.entry(status).or_insert(0) += 1;
        }
        let rest = if same { 200 } else { 409 };
        assert_eq!(count, HashMap::from([(201, 1), (rest, 7)]));
    }
}

#[test]
fn names_of_nothing_of_another_fleet_of_another_kind_or_out_of_use_are_all_the_same() {
    let world = World::new();
    let (office, stranger) = (world.fleet("kerbside").as_office(), world.fleet("pier").as_office());
    let (mine, theirs) = (Cards::create(&office), Cards::create(&stranger));
    let gone = create(&office, "place", &json!({"name": "Sold", "what": "van"}));
    let _ =
        office.send("POST", &format!("{}/retire", path(gone)), &[("if-match", "\"1\"")], None).expect(200);
    let mut answers = Vec::new();
    for place in [fresh(), theirs.van, mine.client, gone, Uuid::nil()] {
        let pad = json!({"label": "P", "item_id": mine.pad_model, "place_id": place});
        let answer = office.put(&path(fresh()), &json!({"kind": "pad", "body": pad})).expect(422);
        assert_eq!(answer.json()["pointer"], "/body/place_id");
        answers.push(answer.json());
    }
    answers.dedup();
    assert_eq!(answers.len(), 1, "a foreign id must look like one that never was: {answers:?}");
    assert_eq!(answers[0]["code"], "no_such_record");
    // The other fleet's ids are free here: whether they are used there cannot be found out.
    let _ = office
        .put(&path(theirs.van), &json!({"kind": "place", "body": {"name": "V", "what": "van"}}))
        .expect(201);
    assert_eq!(stranger.get(&path(theirs.van)).expect(200).json()["body"]["name"], "Van 1");
    office.get(&path(theirs.depot)).expect_problem(404, "not_found");
}

#[test]
fn what_a_card_names_must_go_together() {
    let world = World::new();
    let fleet = world.fleet("kerbside");
    let office = fleet.as_office();
    let cards = Cards::create(&office);
    let other = create(&office, "client", &json!({"name": "Another"}));
    let job = |changes: Value| {
        let mut body = bodies(&cards).pop().unwrap().1;
        body.as_object_mut().unwrap().extend(changes.as_object().unwrap().clone());
        json!({"kind": "job", "body": body})
    };
    let bottle = json!({"label": "B", "item_id": cards.supply, "place_id": cards.van, "nominal_ml": "1", "tare_g": "1", "dose": "drop"});
    let recipe =
        json!({"name": "R", "stages": [{"what": "cutting", "item_id": cards.pad_model, "min_per_m2": "1"}]});
    let cases = [
        (json!({"kind": "container", "body": bottle}), "not_a_product", "/body/item_id"),
        (
            json!({"kind": "pad", "body": {"label": "P", "item_id": cards.product, "place_id": cards.van}}),
            "not_a_pad_model",
            "/body/item_id",
        ),
        (json!({"kind": "recipe", "body": recipe}), "not_a_product", "/body/stages/0/item_id"),
        (job(json!({"client_id": other})), "vehicle_of_other_client", "/body/vehicle_id"),
        (job(json!({"crew": [fresh()]})), "no_such_record", "/body/crew/0"),
        (job(json!({"state": "settled"})), "job_not_booked", "/body/state"),
        (job(json!({"ends_at": "2026-03-03T15:00:00Z"})), "job_ends_first", "/body/ends_at"),
    ];
    for (body, code, pointer) in cases {
        let answer = office.put(&path(fresh()), &body).expect(422).json();
        assert_eq!((&answer["code"], &answer["pointer"]), (&json!(code), &json!(pointer)), "{body}");
    }
    let crew = job(json!({"crew": [fleet.technician.id]}));
    let _ = office.put(&path(fresh()), &crew).expect(201);
}

#[test]
fn a_fleet_has_one_card_of_its_own_and_ids_are_of_version_seven() {
    let world = World::new();
    let fleet = world.fleet("kerbside");
    let settings = json!({"name": "Second", "currency": "EUR", "zone": "Europe/Lisbon"});
    let sent = json!({"kind": "fleet", "body": settings});
    fleet.as_owner().put(&path(fresh()), &sent).expect_problem(409, "one_fleet_card");
    fleet.as_owner().put(&path(fleet.id.0), &sent).expect_problem(409, "one_fleet_card");
    let body = json!({"kind": "client", "body": {"name": "A"}});
    for id in [Uuid::nil(), Uuid::max(), Uuid::new_v4()] {
        fleet.as_office().put(&path(id), &body).expect_problem(422, "id_not_v7");
    }
    fleet.as_office().put("/v1/cards/not-an-id", &body).expect_problem(404, "not_found");
}

#[test]
fn fields_nobody_knows_and_fields_only_answers_have_are_refused_everywhere() {
    let world = World::new();
    let office = world.fleet("kerbside").as_office();
    let cards = Cards::create(&office);
    for (kind, body) in bodies(&cards) {
        let id = fresh();
        for name in ["colour", "id", "version", "retired_at", "fleet_id", "created_at"] {
            let mut inside = body.clone();
            inside[name] = json!("x");
            let inside = json!({"kind": kind, "body": inside});
            let refused = office.put(&path(id), &inside).expect(422);
            assert_eq!(refused.json()["code"], "bad_field", "{inside}");
            let outside = json!({"kind": kind, "body": body, (name): "x"});
            office.put(&path(id), &outside).expect_problem(422, "bad_field");
        }
        office.get(&path(id)).expect_problem(404, "not_found");
        let _ = office.put(&path(id), &json!({"kind": kind, "body": body})).expect(201);
        office.patch(&path(id), "\"1\"", &json!({"version": 7})).expect_problem(422, "bad_field");
        office.patch(&path(id), "\"1\"", &json!({"kind": "client"})).expect_problem(422, "bad_field");
        assert_eq!(office.get(&path(id)).expect(200).json()["version"], 1);
    }
}

#[test]
fn numbers_that_are_none_too_large_too_long_or_negative_are_refused_and_not_kept() {
    let world = World::new();
    let office = world.fleet("kerbside").as_office();
    let wrong = [
        "1e400",
        "NaN",
        "-1",
        "12",
        "1.5",
        "true",
        "null",
        "[]",
        "{}",
        r#""""#,
        r#"" 1""#,
        r#""1 ""#,
        r#""+1""#,
        r#""-0.01""#,
        r#""1e3""#,
        r#""NaN""#,
        r#""Infinity""#,
        r#""0x10""#,
        r#""1,5""#,
        r#""1_000""#,
        r#""٣""#,
        r#""1.2.3""#,
        r#""0.1234567890123456789012345678901234567890""#,
        r#""1234567890123456789012345678901234567890""#,
        r#""0.0000001""#,
        r#""100000000.01""#,
        r#""99999999999999999999999999999""#,
    ];
    let power = format!("\"1{}\"", "0".repeat(400));
    for number in wrong.into_iter().chain([power.as_str()]) {
        let id = fresh();
        for text in [
            format!(
                r#"{{"kind":"item","body":{{"name":"Compound","what":"product","ml_per_dose":{number}}}}}"#
            ),
            format!(
                r#"{{"kind":"vehicle_class","body":{{"name":"S","sections":[{{"name":"a","area_m2":{number}}}]}}}}"#
            ),
            format!(r#"{{"body":{{"name":"Wash","price_amount":{number}}},"kind":"service"}}"#),
        ] {
            // A field that may be left out may be null as well.
            if number == "null" && !text.contains("area") {
                continue;
            }
            let headers = [("content-type", "application/json")];
            let answer = office.send("PUT", &path(id), &headers, Some(text.as_bytes()));
            assert_eq!(answer.status, 422, "{text}: {}", answer.text());
            assert!(!answer.text().contains("serde"), "{}", answer.text());
        }
        office.get(&path(id)).expect_problem(404, "not_found");
    }
}
