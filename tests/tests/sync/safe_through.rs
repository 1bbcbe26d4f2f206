//! `safe_through`: nothing is called safe before a backup or a standby covers it.

use chrono::{DateTime, TimeDelta, Utc};
use dropwise::ids::fresh;
use dropwise::store::Db;
use dropwise::sync::safe;
use end_to_end::binary::dropwise;
use end_to_end::cards::Cards;
use end_to_end::{Fleet, World};
use serde_json::{Value, json};
use std::process::Command;
use uuid::Uuid;

fn cover(world: &World, fleet: &Fleet, to: DateTime<Utc>) {
    let (url, id) = (world.db.server_url(), fleet.id);
    actix_web::rt::System::new().block_on(async move {
        let db = Db::open(&url, 1).expect("a pool");
        safe::backup_verified(&db, id, to).await.expect("a note");
    });
}

fn hand_over(fleet: &Fleet, lane: Uuid, van: Uuid, numbers: std::ops::RangeInclusive<i64>) -> Value {
    let entries: Vec<Value> = numbers
        .map(|n| {
            json!({"n": n, "id": fresh(), "kind": "trip", "happened_at": "2026-03-02T18:00:00Z",
                   "body": {"place_id": van, "distance_km": "3"}})
        })
        .collect();
    let body = json!({"lane_id": lane, "entries": entries});
    let reply = fleet.as_office().post("/v1/device/handover", &body).expect(200).json();
    reply["safe_through"].clone()
}

#[test]
fn a_lane_is_safe_as_far_as_it_was_received_well_before_what_the_backup_covers() {
    let world = World::at("2026-03-02T21:00:00Z".parse().expect("an instant"));
    let fleet = world.fleet("harbour");
    let cards = Cards::create(&fleet.as_office());
    let (lane, minutes) = (fresh(), TimeDelta::minutes);
    let _ = fleet
        .as_office()
        .put(&format!("/v1/devices/{lane}"), &json!({"name": "Phone"}))
        .expect_any(&[200, 201]);
    let start = world.clock.now();
    assert_eq!(hand_over(&fleet, lane, cards.van, 1..=3), json!(null), "no backup, no promise");
    world.clock.advance(minutes(10));
    assert_eq!(hand_over(&fleet, lane, cards.van, 4..=5), json!(null));
    world.clock.advance(minutes(10));
    // Covered to the very time of the first three: their transactions may have been under way.
    cover(&world, &fleet, start);
    assert_eq!(hand_over(&fleet, lane, cards.van, 6..=6), json!(0));
    cover(&world, &fleet, start + minutes(5));
    assert_eq!(
        hand_over(&fleet, lane, cards.van, 7..=7),
        json!(0),
        "received before, not at, the margin's end"
    );
    cover(&world, &fleet, start + minutes(5) + TimeDelta::microseconds(1));
    assert_eq!(hand_over(&fleet, lane, cards.van, 8..=8), json!(3));
    cover(&world, &fleet, start + minutes(16));
    assert_eq!(hand_over(&fleet, lane, cards.van, 9..=9), json!(5));
    // A later word of an earlier backup takes nothing back.
    cover(&world, &fleet, start);
    assert_eq!(hand_over(&fleet, lane, cards.van, 10..=10), json!(5));
}

#[test]
fn the_operators_word_reaches_every_fleet_and_may_not_speak_of_the_future() {
    let world = World::new();
    let fleets = [world.fleet("harbour"), world.fleet("meadow")];
    let say = |covers: &str| {
        let mut command = Command::new(dropwise());
        command.args(["backup-verified", "--covers", covers]).env_clear();
        command.env("DROPWISE_OWNER_DATABASE_URL", world.db.owner_url()).output().expect("a program")
    };
    assert!(!say("2999-01-01T00:00:00Z").status.success());
    assert!(!say("yesterday").status.success());
    let covers = Utc::now() - TimeDelta::hours(3);
    assert!(say(&covers.to_rfc3339()).status.success());
    for fleet in fleets {
        let sql = "select backed_up_to from heads where fleet_id = $1";
        let noted: DateTime<Utc> = world.db.as_owner().query_one(sql, &[&fleet.id.0]).expect("a head").get(0);
        assert_eq!(noted.timestamp(), covers.timestamp());
    }
}
