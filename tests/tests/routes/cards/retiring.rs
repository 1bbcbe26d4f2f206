//! Taking cards out of use, and what keeps them in use.

use end_to_end::cards::{Cards, create, edit, path};
use end_to_end::{Answer, Client, World};
use serde_json::json;
use uuid::Uuid;

fn retire(office: &Client, id: Uuid) -> Answer {
    let etag = office.get(&path(id)).expect(200).etag();
    office.send("POST", &format!("{}/retire", path(id)), &[("if-match", &etag)], None)
}

#[test]
fn a_card_that_another_in_use_names_stays_until_that_one_is_gone() {
    let world = World::new();
    let office = world.fleet("kerbside").as_office();
    let cards = Cards::create(&office);
    let named = [
        cards.van,
        cards.product,
        cards.pad_model,
        cards.vehicle_class,
        cards.recipe,
        cards.client,
        cards.vehicle,
        cards.service,
    ];
    for id in named {
        retire(&office, id).expect_problem(409, "still_used");
    }
    retire(&office, cards.job).expect_problem(409, "job_counts");
    edit(&office, cards.job, &json!({"state": "cancelled"}));
    for id in [
        cards.job,
        cards.container,
        cards.pad,
        cards.machine,
        cards.service,
        cards.recipe,
        cards.vehicle,
        cards.client,
        cards.vehicle_class,
        cards.product,
        cards.pad_model,
        cards.van,
    ] {
        let retired = retire(&office, id).expect(200);
        assert!(retired.json()["retired_at"].is_string());
        assert_eq!(retire(&office, id).expect(200).json(), retired.json(), "again is no other answer");
        office.patch(&path(id), &retired.etag(), &json!({"name": "x"})).expect_problem(409, "retired");
    }
    let all = office.get("/v1/cards?kind=place&retired=true").expect(200).json();
    assert_eq!(all["rows"].as_array().unwrap().len(), 3);
}

#[test]
fn a_place_with_stock_or_people_and_an_item_with_stock_stay() {
    let world = World::new();
    let fleet = world.fleet("kerbside");
    let office = fleet.as_office();
    let cards = Cards::create(&office);
    let mut db = world.db.as_owner();
    let sql = "insert into stock_levels (fleet_id, item_id, place_id, quantity) values ($1, $2, $3, 4)";
    db.execute(sql, &[&fleet.id.0, &cards.supply, &cards.depot]).unwrap();
    retire(&office, cards.supply).expect_problem(409, "still_stocked");
    retire(&office, cards.depot).expect_problem(409, "still_stocked");
    db.execute("update stock_levels set quantity = 0 where fleet_id = $1", &[&fleet.id.0]).unwrap();
    let _ = retire(&office, cards.supply).expect(200);
    let sql = "update members set home_place_id = $2 where fleet_id = $1";
    db.execute(sql, &[&fleet.id.0, &cards.depot]).unwrap();
    retire(&office, cards.depot).expect_problem(409, "still_used");
}

#[test]
fn retiring_names_its_version_too() {
    let world = World::new();
    let office = world.fleet("kerbside").as_office();
    let id = create(&office, "client", &json!({"name": "A"}));
    let retire = format!("{}/retire", path(id));
    office.send("POST", &retire, &[], None).expect_problem(428, "version_missing");
    edit(&office, id, &json!({"name": "B"}));
    let stale = office.send("POST", &retire, &[("if-match", "\"1\"")], None).expect(412);
    assert_eq!(stale.json()["current"]["body"]["name"], "B");
}

/// One retires a van while others put pads into it: either the van stays or the pads are refused.
#[test]
fn nothing_in_use_ever_names_a_card_out_of_use() {
    let world = World::new();
    let fleet = world.fleet("kerbside");
    let office = fleet.as_office();
    let cards = Cards::create(&office);
    for _ in 0..10 {
        let van = create(&office, "place", &json!({"name": "V", "what": "van"}));
        std::thread::scope(|scope| {
            scope.spawn(|| retire(&office, van));
            for _ in 0..3 {
                scope.spawn(|| {
                    let pad = json!({"label": "P", "item_id": cards.pad_model, "place_id": van});
                    let answer =
                        office.put(&path(dropwise::ids::fresh()), &json!({"kind": "pad", "body": pad}));
                    assert!(matches!(answer.status, 201 | 422), "{}", answer.text());
                });
            }
        });
    }
    let broken = world.db.as_owner().query(
        "select 1 from card_links l join cards c using (fleet_id, card_id) \
         join cards t on t.fleet_id = l.fleet_id and t.card_id = l.target_id \
         where c.retired_at is null and t.retired_at is not null",
        &[],
    );
    assert!(broken.unwrap().is_empty());
}
