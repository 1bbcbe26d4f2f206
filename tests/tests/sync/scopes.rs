//! Whose rows a phone reads, and what happens when that changes: T10, and a technician sent to another van.

use super::reader::{Reader, stop};
use dropwise::ids::fresh;
use end_to_end::cards::{Cards, edit};
use end_to_end::fleet::Person;
use end_to_end::{Client, Fleet, World};
use serde_json::{Value, json};
use std::time::{Duration, Instant};
use uuid::Uuid;

fn send_to(fleet: &Fleet, person: Person, van: Option<Uuid>) {
    let path = format!("/v1/members/{}", person.id);
    let owner = fleet.as_owner();
    let etag = owner.get(&path).expect(200).etag();
    let _ = owner.patch(&path, &etag, &json!({"home_place_id": van})).expect(200);
}

fn book(office: &Client, kind: &str, body: &Value) {
    let entry = json!({"kind": kind, "happened_at": "2026-03-02T16:00:00Z", "body": body});
    let answer = office.put(&format!("/v1/entries/{}", fresh()), &entry).expect(200).json();
    assert_eq!(answer["verdict"], "taken", "{answer}");
}

/// A fleet whose technician works from the first van and whose office member from the second.
fn two_vans(world: &World) -> (Fleet, Cards) {
    let fleet = world.fleet("harbour");
    let cards = Cards::create(&fleet.as_office());
    send_to(&fleet, fleet.technician, Some(cards.van));
    send_to(&fleet, fleet.office, Some(cards.other_van));
    (fleet, cards)
}

#[test]
fn a_technician_sent_to_another_van_forgets_the_one_and_copies_only_the_other() {
    let world = World::new();
    let (fleet, cards) = two_vans(&world);
    let client = fleet.as_technician();
    let mut phone = Reader::fresh_copy(&client);
    assert!(phone.has(cards.van, "container", cards.container));
    let old = phone.bookmark.clone().expect("a bookmark");

    send_to(&fleet, fleet.technician, Some(cards.other_van));
    edit(&fleet.as_office(), cards.container, &json!({"place_id": cards.other_van}));
    let (code, next, drop) = stop(phone.ask(&client, ""));
    assert_eq!((code.as_str(), next.as_str()), ("scope_changed", "fresh_copy_from"));
    assert_eq!(drop, json!([cards.van]));
    assert_eq!(stop(phone.ask(&client, "")).2, drop, "said again to a phone that lost the answer");
    phone.forget(&drop);

    let page = client.get(&format!("/v1/device/fresh-copy?from={old}")).expect(200).json();
    let audiences: Vec<_> =
        page["rows"].as_array().unwrap().iter().map(|r| r["audience_id"].clone()).collect();
    assert!(!audiences.is_empty() && audiences.iter().all(|a| *a == json!(cards.other_van)), "{audiences:?}");
    phone.copy(&client, &format!("&from={old}"));
    phone.read_on(&client);
    assert_eq!(phone.picture(), Reader::fresh_copy(&client).picture());
    assert!(phone.has(cards.other_van, "container", cards.container));

    // Back again: what was missed of the first van meanwhile has come.
    send_to(&fleet, fleet.technician, Some(cards.van));
    let (_, next, drop) = stop(phone.ask(&client, ""));
    assert_eq!((next.as_str(), &drop), ("fresh_copy_from", &json!([cards.other_van])));
    phone.forget(&drop);
    let from = phone.bookmark.clone().expect("a bookmark");
    phone.copy(&client, &format!("&from={from}"));
    phone.read_on(&client);
    assert_eq!(phone.picture(), Reader::fresh_copy(&client).picture());
    assert!(!phone.has(cards.van, "container", cards.container));
}

#[test]
fn a_scope_that_changes_in_the_middle_of_a_copy_stops_it_and_names_both_vans() {
    let world = World::new();
    let (fleet, cards) = two_vans(&world);
    let client = fleet.as_technician();
    let mut phone = Reader::fresh_copy(&client);
    let old = phone.bookmark.clone().expect("a bookmark");
    send_to(&fleet, fleet.technician, Some(cards.other_van));
    phone.forget(&stop(phone.ask(&client, "")).2);
    edit(&fleet.as_office(), cards.pad, &json!({"place_id": cards.other_van}));
    edit(&fleet.as_office(), cards.container, &json!({"place_id": cards.other_van}));
    let page = client.get(&format!("/v1/device/fresh-copy?room=1&from={old}")).expect(200).json();
    phone.keep(&page);
    let token = page["token"].as_str().expect("more").to_owned();
    send_to(&fleet, fleet.technician, Some(cards.depot));
    let (code, next, drop) = stop(client.get(&format!("/v1/device/fresh-copy?token={token}")));
    assert_eq!((code.as_str(), next.as_str()), ("scope_changed", "fresh_copy_from"));
    assert_eq!(drop, json!([cards.other_van, cards.van]));
    phone.forget(&drop);
    phone.copy(&client, &format!("&from={old}"));
    phone.read_on(&client);
    assert_eq!(phone.picture(), Reader::fresh_copy(&client).picture());
}

#[test]
fn a_technician_sent_there_and_back_before_copying_gets_the_first_van_again() {
    let world = World::new();
    let (fleet, cards) = two_vans(&world);
    let client = fleet.as_technician();
    let mut phone = Reader::fresh_copy(&client);
    let old = phone.bookmark.clone().expect("a bookmark");
    send_to(&fleet, fleet.technician, Some(cards.other_van));
    phone.forget(&stop(phone.ask(&client, "")).2);
    assert!(!phone.has(cards.van, "container", cards.container));
    send_to(&fleet, fleet.technician, Some(cards.van));
    phone.copy(&client, &format!("&from={old}"));
    phone.read_on(&client);
    assert_eq!(phone.picture(), Reader::fresh_copy(&client).picture());
    assert!(phone.has(cards.van, "container", cards.container));
}

#[test]
fn another_members_bookmark_is_of_another_scope_and_a_bent_one_of_nobody() {
    let world = World::new();
    let (fleet, _) = two_vans(&world);
    let phone = Reader::fresh_copy(&fleet.as_technician());
    assert_eq!(
        stop(phone.ask(&fleet.as_owner(), "")),
        ("scope_changed".into(), "fresh_copy".into(), json!([]))
    );
    let other = world.fleet("elsewhere");
    assert_eq!(stop(phone.ask(&other.as_technician(), "")).1, "fresh_copy");
    let token = fleet.as_technician().get("/v1/device/fresh-copy?room=1").expect(200).json()["token"].clone();
    let token = token.as_str().expect("a token");
    let answer = other.as_technician().get(&format!("/v1/device/fresh-copy?token={token}"));
    assert_eq!(stop(answer).1, "fresh_copy");
    // One is never taken for the other, and neither may be bent.
    let mark = phone.bookmark.expect("a bookmark");
    let client = fleet.as_technician();
    let other_letter = if mark[20..].starts_with('A') { 'B' } else { 'A' };
    let bent = format!("{}{other_letter}{}", &mark[..20], &mark[21..]);
    for path in [
        format!("/v1/device/trail?after={token}"),
        format!("/v1/device/fresh-copy?token={mark}"),
        format!("/v1/device/fresh-copy?from={token}"),
        format!("/v1/device/fresh-copy?token={token}&from={mark}"),
        format!("/v1/device/trail?after={bent}"),
        format!("/v1/device/trail?after={}", &mark[4..]),
    ] {
        let _ = client.get(&path).expect(422);
    }
}

/// T10: everything moves between two vans while both phones are away, then late work arrives from each.
#[test]
fn what_moves_between_two_vans_that_are_away_ends_in_one_of_them_on_both_phones() {
    let world = World::new();
    let (fleet, cards) = two_vans(&world);
    let office = fleet.as_office();
    let (first, second) = (fleet.as_technician(), fleet.as_office());
    book(&office, "container_open", &json!({"container_id": cards.container}));
    let mut here = Reader::fresh_copy(&first);
    let mut there = Reader::fresh_copy(&second);
    assert!(here.has(cards.van, "job", cards.job) && here.has(cards.van, "container_level", cards.container));

    // While both are away the office moves the job, the bottle and the pad; work of before still arrives.
    for id in [cards.job, cards.container, cards.pad] {
        edit(&office, id, &json!({"place_id": cards.other_van}));
    }
    let lane = fresh();
    let _ = first.put(&format!("/v1/devices/{lane}"), &json!({"name": "Phone"})).expect_any(&[200, 201]);
    let late = json!({"n": 1, "id": fresh(), "kind": "section_work", "happened_at": "2026-03-02T16:00:00Z",
        "body": {"job_id": cards.job, "section": "hood", "stage": "polishing", "pad_id": cards.pad,
                 "doses": [{"container_id": cards.container, "count": 20}]}});
    let reply =
        first.post("/v1/device/handover", &json!({"lane_id": lane, "entries": [late]})).expect(200).json();
    let verdict = &reply["verdicts"][0];
    assert!(["taken", "adjusted", "refused"].contains(&verdict["verdict"].as_str().unwrap()), "{reply}");

    here.read_on(&first);
    there.read_on(&second);
    for (kind, id) in [
        ("job", cards.job),
        ("container", cards.container),
        ("container_level", cards.container),
        ("pad", cards.pad),
        ("client", cards.client),
        ("vehicle", cards.vehicle),
    ] {
        assert!(!here.has(cards.van, kind, id), "{kind} is still here");
        assert!(there.has(cards.other_van, kind, id), "{kind} has not arrived");
    }
    // Both end where a new phone would begin.
    assert_eq!(here.picture(), Reader::fresh_copy(&first).picture());
    assert_eq!(there.picture(), Reader::fresh_copy(&second).picture());
    // And back: `left` is not `deleted`.
    for id in [cards.job, cards.container, cards.pad] {
        edit(&office, id, &json!({"place_id": cards.van}));
    }
    here.read_on(&first);
    there.read_on(&second);
    assert!(here.has(cards.van, "container_level", cards.container) && here.has(cards.van, "job", cards.job));
    assert!(!there.has(cards.other_van, "container", cards.container));
    assert_eq!(here.picture(), Reader::fresh_copy(&first).picture());
    assert_eq!(there.picture(), Reader::fresh_copy(&second).picture());
}

#[test]
fn a_phone_is_told_its_lanes_last_number_and_nobody_elses() {
    let world = World::new();
    let (fleet, cards) = two_vans(&world);
    let client = fleet.as_technician();
    let lane = fresh();
    let _ = client.put(&format!("/v1/devices/{lane}"), &json!({"name": "Phone"})).expect_any(&[200, 201]);
    let trip = |n: i64| {
        json!({"n": n, "id": fresh(), "kind": "trip", "happened_at": "2026-03-02T18:00:00Z",
           "body": {"place_id": cards.van, "distance_km": "3"}})
    };
    let _ = client
        .post("/v1/device/handover", &json!({"lane_id": lane, "entries": [trip(1), trip(2)]}))
        .expect(200);
    let last = |client: &Client, lane: Uuid| {
        client.get(&format!("/v1/device/trail?lane_id={lane}")).expect(200).json()["last_n"].clone()
    };
    assert_eq!(last(&client, lane), json!(2));
    assert_eq!(last(&client, fresh()), json!(null));
    assert_eq!(last(&fleet.as_owner(), lane), json!(null));
}

#[test]
fn five_hundred_phones_that_must_begin_anew_are_answered_quickly() {
    let world = World::new();
    let (fleet, _) = two_vans(&world);
    let client = fleet.as_technician();
    let mut phone = Reader::fresh_copy(&client);
    let era = "update heads set era = gen_random_uuid()";
    world.db.as_owner().batch_execute(era).expect("another era");
    let start = Instant::now();
    std::thread::scope(|scope| {
        for _ in 0..10 {
            scope.spawn(|| {
                for _ in 0..50 {
                    assert_eq!(stop(phone.ask(&client, "")).0, "restarted");
                }
            });
        }
    });
    let took = start.elapsed();
    println!("500 times 410 in {took:?}");
    assert!(took < Duration::from_secs(20), "{took:?}");
    // Each needs one copy and no more.
    phone = Reader::fresh_copy(&client);
    let _ = phone.ask(&client, "").expect(200);
}
