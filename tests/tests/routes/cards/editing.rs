//! Edits: field by field, from a known version, and never against what was recorded.

use end_to_end::cards::{Cards, create, edit, path};
use end_to_end::{Client, World};
use serde_json::{Value, json};

fn refused(office: &Client, id: uuid::Uuid, patch: &Value, code: &str) {
    let etag = office.get(&path(id)).expect(200).etag();
    office.patch(&path(id), &etag, patch).expect_problem(409, code);
    assert_eq!(office.get(&path(id)).expect(200).etag(), etag, "a refused edit changes nothing");
}

/// Writes a fact down at the desk.
fn book(office: &Client, kind: &str, body: &Value) -> uuid::Uuid {
    let id = dropwise::ids::fresh();
    let entry = json!({"kind": kind, "happened_at": "2026-03-02T16:00:00Z", "body": body});
    let verdict = office.put(&format!("/v1/entries/{id}"), &entry).expect(200).json();
    assert_eq!(verdict["verdict"], "taken", "{verdict}");
    id
}

#[test]
fn an_edit_names_its_version_and_a_stale_one_gets_the_current_card() {
    let world = World::new();
    let office = world.fleet("kerbside").as_office();
    let id = create(&office, "client", &json!({"name": "A", "contact": "by letter", "address": "1 Kerb"}));
    office.send_json("PATCH", &path(id), &[], &json!({"name": "B"})).expect_problem(428, "version_missing");
    for odd in ["1", "W/\"1\"", "*", "\"one\"", "\"1\", \"2\""] {
        office.patch(&path(id), odd, &json!({"name": "B"})).expect_problem(422, "bad_version");
    }
    let edited = office.patch(&path(id), "\"1\"", &json!({"name": "B", "contact": null})).expect(200);
    assert_eq!(edited.json()["body"], json!({"name": "B", "address": "1 Kerb"}));
    let stale = office.patch(&path(id), "\"1\"", &json!({"name": "C"})).expect(412);
    assert_eq!((&stale.json()["code"], &stale.json()["current"]), (&json!("edited_since"), &edited.json()));
    let same = office.patch(&path(id), "\"2\"", &json!({"name": "B"})).expect(200);
    assert_eq!(same.etag(), "\"2\"", "what changes nothing keeps its version");
    office.patch(&path(id), "\"2\"", &json!({"name": null})).expect_problem(422, "bad_field");
    office.patch(&path(id), "\"2\"", &json!({"name": " "})).expect_problem(422, "text_empty");
    office.patch(&path(id), "\"2\"", &json!(["name"])).expect_problem(422, "bad_field");
    office.patch(&path(dropwise::ids::fresh()), "\"1\"", &json!({})).expect_problem(404, "not_found");
}

/// Sixteen editors add one each, five times, reading again whenever another was faster.
#[test]
fn of_edits_made_at_once_none_is_lost() {
    let world = World::new();
    let office = world.fleet("kerbside").as_office();
    let id = create(&office, "item", &json!({"name": "Pad", "what": "pad_model", "expected_cycles": 1}));
    let (editors, times) = (16, 5);
    std::thread::scope(|scope| {
        for _ in 0..editors {
            scope.spawn(|| (0..times).for_each(|_| add_one(&office, id)));
        }
    });
    let card = office.get(&path(id)).expect(200).json();
    assert_eq!(card["body"]["expected_cycles"], 1 + editors * times);
    assert_eq!(card["version"], 1 + editors * times);
}

fn add_one(office: &Client, id: uuid::Uuid) {
    loop {
        let card = office.get(&path(id)).expect(200);
        let next = card.json()["body"]["expected_cycles"].as_u64().unwrap() + 1;
        let answer = office.patch(&path(id), &card.etag(), &json!({"expected_cycles": next}));
        match answer.status {
            200 => return,
            412 => {}
            other => panic!("{other}: {}", answer.text()),
        }
    }
}

#[test]
fn only_the_owner_edits_the_fleets_settings_and_its_currency_stays() {
    let world = World::new();
    let fleet = world.fleet("kerbside");
    let (office, owner) = (fleet.as_office(), fleet.as_owner());
    let card = path(fleet.id.0);
    let etag = office.get(&card).expect(200).etag();
    office.patch(&card, &etag, &json!({"name": "Mine"})).expect_problem(403, "not_allowed");
    let edited = owner.patch(&card, &etag, &json!({"name": "Mine", "travel_cost_per_km_amount": "0.42"}));
    assert_eq!(edited.expect(200).json()["body"]["travel_cost_per_km_amount"], "0.42");
    refused(&owner, fleet.id.0, &json!({"currency": "EUR"}), "currency_fixed");
    let etag = owner.get(&card).expect(200).etag();
    owner.patch(&card, &etag, &json!({"zone": "Nowhere"})).expect_problem(422, "unknown_zone");
    owner
        .send("POST", &format!("{card}/retire"), &[("if-match", &etag)], None)
        .expect_problem(409, "one_fleet_card");
}

#[test]
fn what_levels_and_pads_are_worked_out_from_stays_once_they_are_in_use() {
    let world = World::new();
    let fleet = world.fleet("kerbside");
    let office = fleet.as_office();
    let cards = Cards::create(&office);
    let other = create(&office, "item", &json!({"name": "Other", "what": "product"}));
    let model = create(&office, "item", &json!({"name": "Other pad", "what": "pad_model"}));
    edit(&office, cards.container, &json!({"tare_g": "63"}));
    edit(&office, cards.pad, &json!({"item_id": model}));
    book(&office, "container_open", &json!({"container_id": cards.container}));
    let worked = json!({"job_id": cards.job, "section": "hood", "stage": "polishing", "pad_id": cards.pad});
    book(&office, "section_work", &worked);
    for change in [
        json!({"item_id": other}),
        json!({"nominal_ml": "1000"}),
        json!({"tare_g": "62.5"}),
        json!({"dose": "shot"}),
    ] {
        refused(&office, cards.container, &change, "container_opened");
    }
    refused(&office, cards.pad, &json!({"item_id": cards.pad_model}), "pad_in_use");
    refused(&office, cards.product, &json!({"what": "supply", "density_g_per_ml": null}), "item_kind_fixed");
    edit(&office, cards.container, &json!({"label": "B-1b", "tare_sd_g": "0.3"}));
    edit(&office, cards.pad, &json!({"label": "P-1b"}));
}

#[test]
fn a_job_goes_from_booked_to_settled_and_its_figures_stay() {
    let world = World::new();
    let fleet = world.fleet("kerbside");
    let office = fleet.as_office();
    let cards = Cards::create(&office);
    let mut db = world.db.as_owner();
    let mut columns = || {
        let row = db
            .query_one(
                "select state, month::text, net_revenue_amount::text from jobs where fleet_id = $1 and job_id = $2",
                &[&fleet.id.0, &cards.job],
            )
            .unwrap();
        (row.get::<_, String>(0), row.get::<_, String>(1), row.get::<_, String>(2))
    };
    let as_text = |state: &str, month: &str, amount: &str| (state.into(), month.into(), amount.into());
    assert_eq!(columns(), as_text("booked", "2026-03-01", "240.500000"));
    edit(&office, cards.service, &json!({"price_amount": "300"}));
    edit(&office, cards.job, &json!({"note": "Gate code with the office"}));
    assert_eq!(columns(), as_text("booked", "2026-03-01", "240.500000"), "what was agreed stays agreed");
    edit(
        &office,
        cards.job,
        &json!({"discount_amount": "20.005", "starts_at": "2026-03-01T05:00:00Z", "ends_at": "2026-03-01T06:00:00Z"}),
    );
    assert_eq!(
        columns(),
        as_text("booked", "2026-02-01", "280.000000"),
        "still February in Denver; 279.995 to the cent"
    );
    edit(&office, cards.job, &json!({"state": "settled"}));
    for change in [
        json!({"state": "booked"}),
        json!({"state": "cancelled"}),
        json!({"price_amount": "1"}),
        json!({"service_ids": []}),
        json!({"place_id": cards.other_van}),
        json!({"starts_at": "2026-03-01T05:30:00Z"}),
    ] {
        refused(&office, cards.job, &change, "job_settled");
    }
    edit(&office, cards.job, &json!({"note": "Paid by card"}));
    assert_eq!(columns(), as_text("settled", "2026-02-01", "280.000000"));
}

#[test]
fn a_job_with_work_on_it_is_not_cancelled_unless_the_work_was_reversed() {
    let world = World::new();
    let fleet = world.fleet("kerbside");
    let office = fleet.as_office();
    let cards = Cards::create(&office);
    let worked = json!({"job_id": cards.job, "what": "job", "starts_at": "2026-03-02T15:00:00Z", "ends_at": "2026-03-02T15:30:00Z"});
    let entry = book(&office, "work_time", &worked);
    refused(&office, cards.job, &json!({"state": "cancelled"}), "job_has_work");
    book(&office, "reversal", &json!({"entry_id": entry, "why": "another job's"}));
    edit(&office, cards.job, &json!({"state": "cancelled"}));
    refused(&office, cards.job, &json!({"state": "booked"}), "job_cancelled");
}
