//! Bodies that no client of ours would send: always refused as the sender's mistake, never stored,
//! never our fault.

mod bodies;
mod breakage;

use bodies::{Attempt, attempts};
use breakage::{malformed, mutants};
use dropwise::ids::fresh;
use end_to_end::{Answer, Client, Fleet, World};
use serde_json::Value;
use uuid::Uuid;

/// Tables that note who knocked at the door, whatever was refused.
const OF_THE_DOOR: [&str; 2] = ["sessions", "security_notes"];
/// Tables that only a taken entry may change.
const BOOKS: [&str; 11] = [
    "stock_lines",
    "stock_levels",
    "stock_values",
    "use_days",
    "cost_lines",
    "cost_figures",
    "container_levels",
    "container_marks",
    "pad_states",
    "pad_lines",
    "jobs",
];

/// Refusals blame the sender, as a problem document, in words that tell nothing of the inside.
fn look_at(answer: &Answer, sent: &[u8]) {
    let sent = String::from_utf8_lossy(&sent[..sent.len().min(300)]).into_owned();
    let status = answer.status;
    assert!((200..500).contains(&status), "{} with {sent}: {status} {}", answer.asked, answer.text());
    if status >= 400 {
        let problem = answer.json();
        assert!(problem["code"].is_string() && problem["detail"].is_string(), "{problem}");
        for inside in ["diesel", "postgres", "panicked", ".rs:", "violates", "serde"] {
            assert!(!answer.text().contains(inside), "{} with {sent}: {}", answer.asked, answer.text());
        }
    }
}

/// What the fleets' tables hold, as one digest.
fn contents(db: &mut postgres::Client, of: impl Fn(&str) -> bool) -> String {
    let names = "select table_name::text from information_schema.columns \
                 where table_schema = 'public' and column_name = 'fleet_id' order by 1";
    let rows = db.query(names, &[]).unwrap();
    let parts: Vec<String> = rows
        .iter()
        .map(|row| row.get::<_, String>(0))
        .filter(|name| of(name))
        .map(|name| {
            format!("(select coalesce(md5(string_agg(t::text, '' order by t::text)), '') from {name} t)")
        })
        .collect();
    assert!(parts.len() >= 5, "there are tables to look at");
    db.query_one(&format!("select {}", parts.join(" || ")), &[]).unwrap().get(0)
}

/// Every operation with a body of JSON, from the document, so that a new one is tried as well. Parts of files are
/// any bytes: see `files/corpus.rs`.
fn write_operations() -> Vec<(String, String)> {
    let document: Value = serde_json::from_str(&dropwise::openapi::document().unwrap()).unwrap();
    let mut found = Vec::new();
    for (path, item) in document["paths"].as_object().unwrap() {
        for (method, operation) in item.as_object().unwrap() {
            if operation["requestBody"]["content"]["application/json"].is_object() {
                found.push((method.to_uppercase(), path.clone()));
            }
        }
    }
    assert!(found.len() >= 10, "the document was not read right: {found:?}");
    found
}

fn filled(path: &str) -> String {
    let parts = path.split('/').map(|part| match part {
        "{from_on}" => "2026-03-01".to_owned(),
        "{sha256}" => "ab".repeat(32),
        part if part.starts_with('{') => fresh().to_string(),
        part => part.to_owned(),
    });
    parts.collect::<Vec<_>>().join("/")
}

#[test]
fn bodies_that_are_no_json_or_no_object_are_refused_by_every_operation_and_change_nothing() {
    let world = World::new();
    let owner = world.fleet("kerbside").as_owner();
    let mut db = world.db.as_owner();
    let before = contents(&mut db, |table| !OF_THE_DOOR.contains(&table));
    for (method, path) in write_operations() {
        for body in malformed() {
            let headers = [("content-type", "application/json"), ("if-match", "\"1\"")];
            let answer = owner.send(&method, &filled(&path), &headers, Some(&body));
            look_at(&answer, &body);
            assert!(answer.status >= 400, "{method} {path} took {}", String::from_utf8_lossy(&body));
        }
        for odd in [
            [("content-type", "text/plain"), ("if-match", "\"1\"")],
            [("content-type", "application/xml"), ("if-match", "\"1\"")],
            [("content-type", "application/x-www-form-urlencoded"), ("if-match", "\"1\"")],
        ] {
            let answer = owner.send(&method, &filled(&path), &odd, Some(b"{}"));
            look_at(&answer, b"{}");
            assert_eq!(answer.status, 415, "{method} {path} {odd:?}: {}", answer.text());
        }
    }
    assert_eq!(contents(&mut db, |table| !OF_THE_DOOR.contains(&table)), before, "nothing was stored");
}

#[test]
fn a_good_body_with_one_bad_spot_is_never_our_fault_and_what_is_refused_is_not_stored() {
    let world = World::new();
    let mut db = world.db.as_owner();
    let (mut refused, mut parked, mut taken) = (0, 0, 0);
    for Attempt { what, body, send } in attempts(&world) {
        let good = send(body.to_string().as_bytes());
        assert!(good.status < 300 && !not_taken(&good), "{what} must work to be broken: {}", good.text());
        // Once to see which are refused, and those once more in a row: they must leave no trace.
        let (mut no_request, mut no_fact) = (Vec::new(), Vec::new());
        for text in mutants(&body) {
            let answer = send(text.as_bytes());
            look_at(&answer, text.as_bytes());
            match answer.status {
                400.. => no_request.push(text),
                _ if not_taken(&answer) => no_fact.push(text),
                _ => taken += 1,
            }
        }
        let again = |texts: &[String]| texts.iter().for_each(|text| drop(send(text.as_bytes())));
        let before = contents(&mut db, |table| !OF_THE_DOOR.contains(&table));
        again(&no_request);
        let after = contents(&mut db, |table| !OF_THE_DOOR.contains(&table));
        assert_eq!(after, before, "{what}: something refused was stored");
        let before = contents(&mut db, |table| BOOKS.contains(&table));
        again(&no_fact);
        assert_eq!(contents(&mut db, |table| BOOKS.contains(&table)), before, "{what}: not taken but booked");
        refused += no_request.len();
        parked += no_fact.len();
    }
    println!("{refused} refused, {parked} kept but not booked, {taken} taken");
    // Some mutants are as good as their origin: an optional field left out, another name.
    assert!(refused > 1_000 && parked > 100 && refused + parked > 5 * taken, "{refused}, {parked}, {taken}");
}

/// Whether the answer holds verdicts, and all of them against the entry.
fn not_taken(answer: &Answer) -> bool {
    let Ok(body) = serde_json::from_slice::<Value>(&answer.body) else { return false };
    let verdicts = match &body["verdicts"] {
        Value::Array(verdicts) => verdicts.clone(),
        _ => vec![body],
    };
    verdicts.iter().all(|one| matches!(one["verdict"].as_str(), Some("refused" | "parked")))
}

/// The van a technician works from, said before they first ask.
fn settle_in(world: &World, fleet: &Fleet, van: Uuid) {
    let sql = "update members set home_place_id = $2 where fleet_id = $1";
    world.db.as_owner().execute(sql, &[&fleet.id.0, &van]).unwrap();
}

/// Sends a body from the present version of what is at `path`.
fn edit(client: &Client, path: &str, body: &[u8]) -> Answer {
    let etag = client.get(path).expect(200).etag();
    let headers = [("content-type", "application/json"), ("if-match", etag.as_str())];
    client.send("PATCH", path, &headers, Some(body))
}
