//! Refresh tokens: each good for one successor; a copy ends the family (T09), a lost reply does not
//! (T10); sessions end when they must (T11).

use chrono::{DateTime, Duration, Utc};
use end_to_end::sign_in::{PASSWORD, sign_in};
use end_to_end::{Answer, Client, World};
use serde_json::{Value, json};
use std::time::Instant;

fn noon() -> DateTime<Utc> {
    "2026-06-01T12:00:00Z".parse().expect("an instant")
}

fn open(world: &World, member: &str) -> Value {
    sign_in(&world.as_nobody(), "harbour", member, PASSWORD).expect(201).json()
}

fn renew(world: &World, session: &Value) -> Answer {
    world.as_nobody().post("/v1/sessions/refresh", &json!({"refresh_token": session["refresh_token"]}))
}

fn as_holder(world: &World, session: &Value) -> Client {
    world.as_nobody().with_token(session["access_token"].as_str().expect("a token"))
}

fn notes(world: &World) -> Vec<String> {
    let sql = "select what from security_notes order by note_id";
    world.db.as_owner().query(sql, &[]).expect("notes").iter().map(|row| row.get(0)).collect()
}

#[test]
fn a_superseded_token_that_comes_back_ends_the_whole_family() {
    let world = World::at(noon());
    let _fleet = world.fleet_with_passwords("harbour");
    let first = open(&world, "technician");
    let second = renew(&world, &first).expect(200).json();
    let third = renew(&world, &second).expect(200).json();
    renew(&world, &first).expect_problem(401, "refresh_refused");
    renew(&world, &third).expect_problem(401, "refresh_refused");
    as_holder(&world, &third).get("/v1/members/self").expect_problem(401, "not_signed_in");
    assert_eq!(notes(&world), ["refresh_token_reused"], "the owner can read it, once");
    let _ = open(&world, "technician");
}

#[test]
fn a_token_from_far_back_is_known_as_one_of_the_family() {
    let world = World::at(noon());
    let _fleet = world.fleet_with_passwords("harbour");
    let first = open(&world, "technician");
    let mut last = first.clone();
    for _ in 0..60 {
        world.clock.advance(Duration::minutes(10));
        last = renew(&world, &last).expect(200).json();
    }
    renew(&world, &first).expect_problem(401, "refresh_refused");
    renew(&world, &last).expect_problem(401, "refresh_refused");
    assert_eq!(notes(&world), ["refresh_token_reused"]);
}

#[test]
fn a_made_up_token_for_a_known_session_ends_nothing() {
    use base64::Engine;
    use base64::engine::general_purpose::URL_SAFE_NO_PAD;
    let world = World::at(noon());
    let _fleet = world.fleet_with_passwords("harbour");
    let first = open(&world, "technician");
    let text = first["refresh_token"].as_str().expect("a token");
    let mut bytes = URL_SAFE_NO_PAD.decode(text).expect("base64");
    assert_eq!(bytes.len(), 64, "fleet, session and 256 bits");
    bytes[63] ^= 1;
    let forged = json!({"refresh_token": URL_SAFE_NO_PAD.encode(bytes)});
    renew(&world, &forged).expect_problem(401, "refresh_refused");
    for odd in ["", "x", "ÿ", &"A".repeat(86), text.get(..85).expect("ascii")] {
        renew(&world, &json!({"refresh_token": odd})).expect_problem(401, "refresh_refused");
    }
    let _ = renew(&world, &first).expect(200);
    assert!(notes(&world).is_empty());
}

#[test]
fn a_lost_reply_is_given_again_and_logs_nobody_out() {
    let world = World::at(noon());
    let _fleet = world.fleet_with_passwords("harbour");
    let first = open(&world, "technician");
    let lost = renew(&world, &first).expect(200).json();
    world.clock.advance(Duration::minutes(10));
    let again = renew(&world, &first).expect(200).json();
    assert_eq!(lost["refresh_token"], again["refresh_token"], "the same successor, not a second branch");
    let _ = as_holder(&world, &again).get("/v1/members/self").expect(200);
    let _ = renew(&world, &again).expect(200);
    assert!(notes(&world).is_empty());
}

#[test]
fn a_lost_reply_asked_for_too_late_ends_the_family() {
    let world = World::at(noon());
    let _fleet = world.fleet_with_passwords("harbour");
    let first = open(&world, "technician");
    let second = renew(&world, &first).expect(200).json();
    world.clock.advance(Duration::minutes(10) + Duration::seconds(1));
    renew(&world, &first).expect_problem(401, "refresh_refused");
    renew(&world, &second).expect_problem(401, "refresh_refused");
    assert_eq!(notes(&world), ["refresh_token_reused"]);
}

#[test]
fn the_same_token_sent_many_times_at_once_has_one_successor() {
    let world = World::at(noon());
    let _fleet = world.fleet_with_passwords("harbour");
    let first = open(&world, "technician");
    let given: Vec<Value> = std::thread::scope(|scope| {
        let asked: Vec<_> =
            (0..16).map(|_| scope.spawn(|| renew(&world, &first).expect(200).json())).collect();
        asked.into_iter().map(|t| t.join().expect("an answer")).collect()
    });
    assert!(given.iter().all(|session| session["refresh_token"] == given[0]["refresh_token"]));
    let _ = renew(&world, &given[0]).expect(200);
    assert!(notes(&world).is_empty());
}

#[test]
fn the_database_holds_no_token_and_no_password() {
    let world = World::at(noon());
    let _fleet = world.fleet_with_passwords("harbour");
    let first = open(&world, "technician");
    let second = renew(&world, &first).expect(200).json();
    let dump: String = world
        .db
        .as_owner()
        .query_one("select string_agg(s::text, '') || (select string_agg(p::text, '') from passwords p) from sessions s", &[])
        .expect("a dump")
        .get(0);
    for session in [&first, &second] {
        use base64::Engine;
        use base64::engine::general_purpose::URL_SAFE_NO_PAD;
        let text = session["refresh_token"].as_str().expect("a token");
        let secret: Vec<u8> = URL_SAFE_NO_PAD.decode(text).expect("base64")[32..].to_vec();
        let hex: String = secret.iter().map(|byte| format!("{byte:02x}")).collect();
        assert!(!dump.contains(text) && !dump.contains(&hex));
        assert!(!dump.contains(session["access_token"].as_str().expect("a token")));
    }
    assert!(!dump.contains(PASSWORD));
}

#[test]
fn no_session_outlives_thirty_days_or_two_idle_weeks() {
    let world = World::at(noon());
    let _fleet = world.fleet_with_passwords("harbour");
    let mut busy = open(&world, "technician");
    let idle = open(&world, "office");
    for _ in 0..5 {
        world.clock.advance(Duration::days(5));
        busy = renew(&world, &busy).expect(200).json();
    }
    renew(&world, &idle).expect_problem(401, "refresh_refused");
    world.clock.advance(Duration::days(5));
    renew(&world, &busy).expect_problem(401, "refresh_refused");
    let _ = open(&world, "technician");
}

/// How long a token went on being taken, at most ten seconds.
fn taken_for(client: &Client) -> std::time::Duration {
    let start = Instant::now();
    while client.get("/v1/members/self").status == 200 && start.elapsed().as_secs() < 10 {
        std::thread::sleep(std::time::Duration::from_millis(50));
    }
    start.elapsed()
}

#[test]
fn another_role_or_an_end_counts_within_five_seconds() {
    let world = World::new();
    let fleet = world.fleet_with_passwords("harbour");
    let owner = fleet.as_owner();
    let (promoted, retired) = (open(&world, "technician"), open(&world, "office"));
    for (session, change) in [(&promoted, "role"), (&retired, "retire")] {
        let client = as_holder(&world, session);
        let me = client.get("/v1/members/self").expect(200);
        let path = format!("/v1/members/{}", me.json()["member_id"].as_str().expect("an id"));
        let _ = match change {
            "role" => owner.patch(&path, &me.etag(), &json!({"role": "office"})),
            _ => owner.send("POST", &format!("{path}/retire"), &[], None),
        }
        .expect(200);
        let time = taken_for(&client);
        assert!(time.as_secs() < 5, "after {change} the old token was taken for {time:?}");
        renew(&world, session).expect_problem(401, "refresh_refused");
    }
    assert_eq!(notes(&world), ["role_changed", "member_retired"]);
    let again = as_holder(&world, &open(&world, "technician"));
    assert_eq!(again.get("/v1/members/self").expect(200).json()["role"], "office");
}
