//! A technician never receives money, whatever they ask.

use super::calls::call;
use super::stage::{Actor, Stage, Whose, all_operations};
use end_to_end::cards::create;
use serde_json::{Value, json};

/// Parts of names that mean money or pay.
const MONEY: [&str; 11] = [
    "amount",
    "price",
    "cost",
    "wage",
    "margin",
    "revenue",
    "discount",
    "burden",
    "salvage",
    "currency_total",
    "hourly",
];

fn keys(value: &Value, into: &mut Vec<String>) {
    match value {
        Value::Object(fields) => {
            for (key, inner) in fields {
                into.push(key.clone());
                keys(inner, into);
            }
        }
        Value::Array(items) => items.iter().for_each(|inner| keys(inner, into)),
        _ => {}
    }
}

#[test]
fn no_answer_to_a_technician_has_a_field_of_money() {
    let stage = Stage::set();
    let mut looked = 0;
    for operation in all_operations() {
        let Some(call) = call(&stage, &operation, Actor::Technician, Whose::Ours) else { continue };
        let answer = call.send(&stage.client(Actor::Technician));
        // A file has bytes and no fields.
        let json = answer.header("content-type").is_some_and(|kind| kind.ends_with("json"));
        if answer.body.is_empty() || !json {
            continue;
        }
        let mut found = Vec::new();
        keys(&answer.json(), &mut found);
        for key in found {
            assert!(
                !MONEY.iter().any(|word| key.contains(word)),
                "{}: {key} in {}",
                operation.id,
                answer.text()
            );
        }
        looked += 1;
    }
    assert!(looked > 8);
}

#[test]
fn amounts_only_the_office_may_know_reach_no_technician_anywhere() {
    let stage = Stage::set();
    // An amount that appears nowhere by chance.
    let canary = "7391.17";
    let cards = &stage.cards;
    for (kind, body) in [
        ("item", json!({"name": "Pad with a worth", "what": "pad_model", "salvage_amount": canary})),
        ("machine", json!({"label": "M-9", "place_id": cards.van, "hourly_cost_amount": canary})),
        ("service", json!({"name": "Priced", "price_amount": canary})),
    ] {
        let _ = create(&stage.owner_of(&stage.ours), kind, &body);
    }
    let pay = json!({"hourly_amount": canary, "burden_share": "0.1"});
    stage
        .owner_of(&stage.ours)
        .put(&format!("/v1/members/{}/pay-rates/2026-01-01", stage.ours.technician.id), &pay)
        .expect_any(&[200, 201]);
    let receipt = json!({"kind": "receipt", "happened_at": stage.world.clock.now(), "body":
        {"item_id": cards.product, "place_id": cards.van, "quantity": "1000", "total_amount": canary}});
    stage.owner_of(&stage.ours).put(&format!("/v1/entries/{}", dropwise::ids::fresh()), &receipt).expect(200);
    let kinds = [
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
    let mut asked: Vec<String> = kinds.iter().map(|kind| format!("/v1/cards?kind={kind}&room=200")).collect();
    asked.push("/v1/device/trail".to_owned());
    asked.push("/v1/device/fresh-copy".to_owned());
    asked.push("/v1/members/self".to_owned());
    for id in [cards.product, cards.machine, cards.service, cards.job, cards.pad_model] {
        asked.push(format!("/v1/cards/{id}"));
    }
    let technician = stage.client(Actor::Technician);
    let office = stage.client(Actor::Office);
    let mut seen_by_office = 0;
    for path in asked {
        let told = technician.get(&path).text();
        assert!(!told.contains("7391"), "{path}: {told}");
        seen_by_office += usize::from(office.get(&path).text().contains(canary));
    }
    assert!(seen_by_office >= 3, "the canary was never there: {seen_by_office}");
}
