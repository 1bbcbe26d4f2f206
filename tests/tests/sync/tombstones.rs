//! What has left or was deleted is told for a while; then bookmarks from before say so (T11, T13).

use super::reader::{Reader, new_rows, position, stop, tell};
use chrono::{TimeDelta, Utc};
use dropwise::config::SyncConfig;
use dropwise::ids::{FleetId, fresh};
use dropwise::store::{Db, TrailRow};
use dropwise::sync::sweeping;
use end_to_end::{Fleet, World};
use serde_json::json;

fn sweep(world: &World, fleet: FleetId, now: chrono::DateTime<Utc>) -> i64 {
    let url = world.db.server_url();
    actix_web::rt::System::new().block_on(async move {
        let db = Db::open(&url, 1).expect("a pool");
        let before = sweeping::oldest_kept(&SyncConfig::default(), now);
        sweeping::sweep(&db, fleet, before, usize::MAX).await.expect("a sweep")
    })
}

/// A reader's bookmark at every position of a fleet's trail, read row by row.
fn bookmarks(fleet: &Fleet) -> Vec<(i64, String)> {
    let client = fleet.as_technician();
    let (mut all, mut after) = (Vec::new(), String::new());
    loop {
        let page = client.get(&format!("/v1/device/trail?room=1{after}")).expect(200).json();
        let bookmark = page["bookmark"].as_str().expect("a bookmark").to_owned();
        let Some(row) = page["rows"].as_array().expect("rows").first() else { return all };
        after = format!("&after={bookmark}");
        all.push((position(row), bookmark));
    }
}

fn floor(world: &World, fleet: &Fleet) -> i64 {
    let sql = "select floor from heads where fleet_id = $1";
    world.db.as_owner().query_one(sql, &[&fleet.id.0]).expect("a head").get(0)
}

#[test]
fn bookmarks_below_the_floor_are_too_old_and_those_at_it_are_not() {
    let world = World::new();
    let fleet = world.fleet("harbour");
    let (gone, stays) = (fresh(), fresh());
    let everyone = fleet.id.0;
    tell(&world, &fleet, vec![TrailRow::here(everyone, "note", gone, json!({"v": 1}))]);
    tell(&world, &fleet, vec![TrailRow::here(everyone, "note", stays, json!({"v": 1}))]);
    tell(&world, &fleet, new_rows(&fleet, 1, 10));
    let mut away = Reader::default();
    away.read_on(&fleet.as_technician());
    assert!(away.has(everyone, "note", gone));
    tell(&world, &fleet, vec![TrailRow::deleted(everyone, "note", gone)]);
    tell(&world, &fleet, new_rows(&fleet, 2, 10));
    let marks = bookmarks(&fleet);

    let now = Utc::now();
    assert_eq!(sweep(&world, fleet.id, now + TimeDelta::days(89)), 0, "its time is not up");
    assert_eq!(floor(&world, &fleet), 0);
    assert_eq!(sweep(&world, fleet.id, now + TimeDelta::days(91)), 1);
    let floor = floor(&world, &fleet);
    assert!(floor > 0);

    // T11: floor − 1, floor, floor + 1, and every other place.
    let client = fleet.as_technician();
    let mut seen = (0, 0);
    for (position, mark) in &marks {
        let answer = client.get(&format!("/v1/device/trail?after={mark}"));
        if *position < floor {
            assert_eq!(stop(answer), ("too_old".into(), "fresh_copy".into(), json!([])), "{position}");
            seen.0 += 1;
        } else {
            let rows = answer.expect(200).json()["rows"].as_array().expect("rows").len();
            assert_eq!(rows, marks.iter().filter(|(other, _)| other > position).count(), "{position}");
            seen.1 += 1;
        }
    }
    assert!(marks.iter().any(|(p, _)| *p == floor - 1) && marks.iter().any(|(p, _)| *p == floor));
    assert!(marks.iter().any(|(p, _)| *p == floor + 1) && seen.0 >= 3 && seen.1 == 3, "{seen:?}");
    // Without a bookmark it is the same: the start is below the floor.
    assert_eq!(stop(client.get("/v1/device/trail")).0, "too_old");

    // T13: the phone that was away ends in one copy, without the deleted record, and goes on from there.
    assert_eq!(stop(away.ask(&client, "")).1, "fresh_copy");
    let copied = Reader::fresh_copy(&client);
    assert!(!copied.has(everyone, "note", gone) && copied.has(everyone, "note", stays));
    let _ = copied.ask(&client, "").expect(200);
}

#[test]
fn a_new_phone_is_told_of_nothing_that_is_gone() {
    let world = World::new();
    let fleet = world.fleet("harbour");
    let (left, deleted, here) = (fresh(), fresh(), fresh());
    let all = fleet.id.0;
    for id in [left, deleted, here] {
        tell(&world, &fleet, vec![TrailRow::here(all, "note", id, json!({}))]);
    }
    tell(&world, &fleet, vec![TrailRow::left(all, "note", left), TrailRow::deleted(all, "note", deleted)]);
    let page = fleet.as_technician().get("/v1/device/fresh-copy").expect(200).json();
    let states: Vec<_> = page["rows"].as_array().expect("rows").iter().map(|r| &r["state"]).collect();
    assert!(states.iter().all(|state| *state == "here"), "{states:?}");
    let copied = Reader::fresh_copy(&fleet.as_technician());
    assert!(copied.has(all, "note", here) && !copied.has(all, "note", left));
    // In the trail the two are told apart.
    let page = fleet.as_technician().get("/v1/device/trail").expect(200).json();
    let state = |id: uuid::Uuid| {
        let rows = page["rows"].as_array().expect("rows");
        let row = rows.iter().find(|row| row["id"] == json!(id)).expect("told");
        assert_eq!(row["body"], json!({}));
        row["state"].clone()
    };
    assert_eq!([state(left), state(deleted), state(here)], [json!("left"), json!("deleted"), json!("here")]);
}

#[test]
fn a_reader_starts_a_sweep_and_a_record_that_came_back_is_no_tombstone() {
    let world = World::at(Utc::now());
    let fleet = world.fleet("harbour");
    let (back, gone) = (fresh(), fresh());
    let all = fleet.id.0;
    tell(&world, &fleet, vec![TrailRow::left(all, "note", back), TrailRow::left(all, "note", gone)]);
    tell(&world, &fleet, vec![TrailRow::here(all, "note", back, json!({}))]);
    let _ = fleet.as_technician().get("/v1/device/trail").expect(200);
    assert_eq!(floor(&world, &fleet), 0);
    // Sessions end before tombstones do: the stones are made old instead of the world.
    let age = "update trail set told_at = told_at - interval '91 days'";
    world.db.as_owner().batch_execute(age).expect("old stones");
    world.clock.advance(TimeDelta::minutes(61));
    let until = std::time::Instant::now() + std::time::Duration::from_secs(20);
    while floor(&world, &fleet) == 0 {
        let _ = fleet.as_technician().get("/v1/device/trail");
        assert!(std::time::Instant::now() < until, "no reader swept");
        std::thread::sleep(std::time::Duration::from_millis(50));
    }
    let count = "select count(*) from trail where fleet_id = $1 and record_id = $2";
    let rows = |id: uuid::Uuid| -> i64 {
        world.db.as_owner().query_one(count, &[&all, &id]).expect("a count").get(0)
    };
    assert_eq!((rows(back), rows(gone)), (1, 0));
}
