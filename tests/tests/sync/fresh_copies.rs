//! T17: a first copy of a long history, interrupted again and again, while others work; and its order.

use super::reader::{Reader, new_rows, position, tell};
use chrono::{TimeDelta, Utc};
use dropwise::ids::fresh;
use dropwise::store::TrailRow;
use end_to_end::cards::{Cards, create, edit};
use end_to_end::{Client, ProcessWorld, World};
use serde_json::{Value, json};
use std::io::Write;
use std::time::{Duration, Instant};
use uuid::Uuid;

/// How many entries lie in the history: `DROPWISE_COPY_ROWS`.
fn rows() -> i32 {
    std::env::var("DROPWISE_COPY_ROWS").ok().and_then(|text| text.parse().ok()).unwrap_or(20_000)
}

/// Sends a request and goes away before the answer.
fn hang_up(address: std::net::SocketAddr, token: &str, path: &str) {
    let mut socket = end_to_end::raw::open(address);
    let text = format!("GET {path} HTTP/1.1\r\nhost: x\r\nauthorization: Bearer {token}\r\n\r\n");
    socket.write_all(text.as_bytes()).expect("a request");
}

#[test]
fn a_long_history_is_copied_through_fifty_interruptions_in_flat_memory() {
    let world = ProcessWorld::start(&[("DROPWISE_WORKERS", "1")]);
    let (fleet, count) = (&world.fleet, rows());
    let keys = world.serving.keys();
    let bearer = || fleet.token_signed_with(&keys, fleet.technician);
    let client = || Client::new(world.serving.address).with_token(bearer());
    let mut owner = world.db.as_owner();
    // 400 bytes each, about what a section of work takes; every hundredth is a tombstone.
    owner
        .execute(
            "insert into trail (fleet_id, audience_id, kind, record_id, position, turn, state, body)
             select $1, $1, 'entry', gen_random_uuid(), 1000 + i, 1000 + i,
                    case when i % 100 = 0 then 'left' else 'here' end,
                    json_build_object('section', 'hood', 'note', repeat('x', 350), 'i', i)
             from generate_series(1, $2::int) i",
            &[&fleet.id.0, &count],
        )
        .expect("a history");
    owner.batch_execute(&format!("update heads set head = 1000 + {count}; analyze trail")).expect("a head");

    let mut phone = Reader::default();
    let (mut pages, mut interruptions, mut largest) = (0, 0, 0);
    let (start, mut resident) = (Instant::now(), Vec::new());
    let mut next = "/v1/device/fresh-copy?room=500".to_owned();
    loop {
        let client = client();
        // Every other page until fifty times: asked for, then the line goes dead; or read, and lost by the phone.
        if interruptions < 50 {
            if interruptions % 2 == 0 {
                hang_up(world.serving.address, &bearer(), &next);
            } else {
                let lost = client.get(&next).expect(200);
                assert!(lost.body.len() <= 1 << 20);
            }
            interruptions += 1;
        }
        let answer = client.get(&next).expect(200);
        largest = largest.max(answer.body.len());
        let page = answer.json();
        assert!(page["rows"].as_array().expect("rows").len() <= 500);
        phone.keep(&page);
        pages += 1;
        resident.push(world.serving.resident_mib());
        // Meanwhile one old record changes, one leaves and one is new.
        owner
            .execute(
                "with h as (update heads set head = head + 3 where fleet_id = $1 returning head),
                 old as (select record_id, row_number() over () as i from (select record_id from trail
                         where fleet_id = $1 and kind = 'entry' and state = 'here' and position < 1000 + $2
                         order by md5(record_id::text || $3::int::text) limit 2) picked),
                 moved as (update trail t set position = h.head - old.i, turn = h.head,
                           state = case when old.i = 1 then 'left' else 'here' end,
                           body = json_build_object('changed', $3::int) from h, old
                           where t.fleet_id = $1 and t.audience_id = $1 and t.kind = 'entry' and t.record_id = old.record_id)
                 insert into trail (fleet_id, audience_id, kind, record_id, position, turn, body)
                 select $1, $1, 'entry', gen_random_uuid(), h.head, h.head, '{}' from h",
                &[&fleet.id.0, &count, &pages],
            )
            .expect("work by others");
        let Some(token) = page["token"].as_str() else {
            phone.bookmark = page["bookmark"].as_str().map(str::to_owned);
            break;
        };
        next = format!("/v1/device/fresh-copy?room=500&token={token}");
    }
    phone.read_on(&client());
    let took = start.elapsed();
    let sql =
        "select record_id, position from trail where fleet_id = $1 and audience_id = $1 and state = 'here'";
    let truth: Vec<(Uuid, i64)> =
        owner.query(sql, &[&fleet.id.0]).expect("rows").iter().map(|row| (row.get(0), row.get(1))).collect();
    let held: std::collections::HashMap<String, i64> =
        phone.rows.iter().map(|((_, _, id), row)| (id.clone(), position(row))).collect();
    assert_eq!(held.len(), truth.len());
    assert!(truth.iter().all(|(id, at)| held.get(&id.to_string()) == Some(at)), "a stale or missing row");
    let settled = resident[resident.len() / 4];
    let most = resident.iter().copied().fold(f64::NAN, f64::max);
    println!(
        "copied {} rows in {pages} pages of at most {largest} bytes, {interruptions} interruptions, {:.1} s; \
         server resident after a quarter {settled:.1} MiB, at most {most:.1} MiB",
        phone.rows.len(),
        took.as_secs_f64()
    );
    assert!(interruptions >= 38 && pages > 38, "{interruptions} {pages}");
    assert!(most < settled + 12.0, "memory grows with the copy: {settled:.1} to {most:.1} MiB");
}

#[test]
fn what_is_needed_first_comes_first_and_history_last() {
    let world = World::new();
    let fleet = world.fleet("harbour");
    let office = fleet.as_office();
    let cards = Cards::create(&office);
    let path = format!("/v1/members/{}", fleet.technician.id);
    let etag = fleet.as_owner().get(&path).expect(200).etag();
    let _ = fleet.as_owner().patch(&path, &etag, &json!({"home_place_id": cards.van})).expect(200);
    // Half an hour of work from now lies within today, or it is almost midnight in Denver.
    let at = Utc::now();
    let today = create(
        &office,
        "job",
        &json!({"place_id": cards.van, "client_id": cards.client, "vehicle_id": cards.vehicle, "crew": [],
                "starts_at": at, "ends_at": at + TimeDelta::minutes(30),
                "service_ids": [cards.service], "state": "booked"}),
    );
    let entry =
        json!({"kind": "trip", "happened_at": at, "body": {"place_id": cards.van, "distance_km": "3"}});
    let _ = office.put(&format!("/v1/entries/{}", fresh()), &entry).expect(200);
    let opened =
        json!({"kind": "container_open", "happened_at": at, "body": {"container_id": cards.container}});
    let _ = office.put(&format!("/v1/entries/{}", fresh()), &opened).expect(200);

    let mut kinds: Vec<(String, Value)> = Vec::new();
    let mut next = "/v1/device/fresh-copy?room=1".to_owned();
    loop {
        let page = fleet.as_technician().get(&next).expect(200).json();
        for row in page["rows"].as_array().expect("rows") {
            kinds.push((row["kind"].as_str().expect("a kind").to_owned(), row["id"].clone()));
        }
        let Some(token) = page["token"].as_str() else { break };
        next = format!("/v1/device/fresh-copy?room=1&token={token}");
    }
    assert_eq!(kinds[0], ("job".to_owned(), json!(today)));
    let place = |wanted: &str| kinds.iter().position(|(kind, _)| kind == wanted).expect(wanted);
    let last = |wanted: &str| kinds.iter().rposition(|(kind, _)| kind == wanted).expect(wanted);
    for stock in ["container", "container_level", "pad"] {
        assert!(last(stock) < place("item"), "{kinds:?}");
    }
    let history = kinds.iter().filter(|(kind, _)| kind == "entry").count();
    assert!(history >= 2 && place("entry") == kinds.len() - history, "{kinds:?}");
    // Everything is there, and the same in one page.
    assert!(kinds.iter().any(|(_, id)| *id == json!(cards.job)), "the other job");
    let whole = Reader::fresh_copy(&fleet.as_technician());
    let distinct: std::collections::BTreeSet<_> = kinds.iter().map(|(k, id)| (k, id.to_string())).collect();
    assert_eq!(distinct.len(), whole.rows.len());
    edit(&office, cards.container, &json!({"label": "B-2"}));
}

#[test]
fn pages_end_at_a_mebibyte_or_on_a_whole_transaction_and_the_largest_transaction_is_readable() {
    let world = World::new();
    let fleet = world.fleet("harbour");
    let client = fleet.as_technician();
    let mut phone = Reader::default();
    phone.read_on(&client);
    let from = phone.bookmark.clone().expect("a bookmark");
    // Two whole transactions, one of more rows than a page, one of more bytes, and one row of more than both.
    for (count, bytes) in [(3, 10), (4, 10), (1_203, 10), (40, 60_000), (1, 1_500_000), (2, 10)] {
        tell(&world, &fleet, new_rows(&fleet, count, bytes));
    }
    let mut after = from;
    let (mut seen, mut sizes) = (0, Vec::new());
    loop {
        let answer = client.get(&format!("/v1/device/trail?after={after}&room=5")).expect(200);
        assert!(answer.took < Duration::from_secs(10));
        if seen > 20 {
            break;
        }
        let page = answer.json();
        sizes.push(page["rows"].as_array().expect("rows").len());
        seen += sizes.last().expect("a size");
        after = page["bookmark"].as_str().expect("a bookmark").to_owned();
    }
    assert_eq!(sizes[..4], [3, 4, 5, 5], "whole transactions, then as many rows as fit");
    let mut counted = Vec::new();
    let mut bookmark = phone.bookmark.clone().expect("a bookmark");
    loop {
        let answer = client.get(&format!("/v1/device/trail?after={bookmark}")).expect(200);
        let (page, bytes) = (answer.json(), answer.body.len());
        let rows = page["rows"].as_array().expect("rows").len();
        assert!(bytes <= 1 << 20 || rows == 1, "{rows} rows in {bytes} bytes");
        counted.push((rows, page["more"].as_bool().expect("more")));
        bookmark = page["bookmark"].as_str().expect("a bookmark").to_owned();
        if counted.last().is_some_and(|(_, more)| !more) {
            break;
        }
    }
    assert_eq!(
        counted.iter().map(|(rows, _)| rows).sum::<usize>(),
        3 + 4 + 1_203 + 40 + 1 + 2,
        "{counted:?}"
    );
    assert!(counted.iter().any(|(rows, _)| *rows == 17), "seventeen of 60 kB fit: {counted:?}");
    let all = Reader::fresh_copy(&client);
    phone.read_on(&client);
    assert_eq!(all.picture(), phone.picture());
}

#[test]
fn a_copy_asked_from_a_bookmark_that_is_still_good_brings_nothing() {
    let world = World::new();
    let fleet = world.fleet("harbour");
    let client = fleet.as_technician();
    let mut phone = Reader::default();
    phone.read_on(&client);
    let mark = phone.bookmark.clone().expect("a bookmark");
    let page = client.get(&format!("/v1/device/fresh-copy?from={mark}")).expect(200).json();
    assert_eq!((&page["rows"], &page["token"], &page["bookmark"]), (&json!([]), &json!(null), &json!(mark)));
    tell(&world, &fleet, vec![TrailRow::here(fleet.id.0, "note", fresh(), json!({}))]);
    let before = phone.rows.len();
    phone.copy(&client, &format!("&from={mark}"));
    phone.read_on(&client);
    assert_eq!(phone.rows.len(), before + 1);
}
