//! A phone's session is bound to the phone's own key: a copied refresh token is worth nothing without
//! it (T09), and a lost reply still logs nobody out (T10).

use aws_lc_rs::signature::{Ed25519KeyPair, KeyPair};
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use chrono::{DateTime, Duration, Utc};
use dropwise::auth::device_key::statement;
use dropwise::ids::fresh;
use end_to_end::sign_in::{PASSWORD, sign_in};
use end_to_end::{Answer, World, raw};
use serde_json::{Value, json};
use std::io::Write;
use uuid::Uuid;

/// A phone with a key in its keeping.
struct Phone {
    lane: Uuid,
    pair: Ed25519KeyPair,
}

impl Phone {
    fn new() -> Self {
        Self { lane: fresh(), pair: Ed25519KeyPair::generate().expect("a key") }
    }

    fn key(&self) -> String {
        URL_SAFE_NO_PAD.encode(self.pair.public_key().as_ref())
    }

    fn enrol(&self, world: &World, session: &Value) -> Answer {
        enrol(world, session, self.lane, Some(&self.key()))
    }

    fn proof(&self, session: &Value, at: DateTime<Utc>) -> Value {
        let token = session["refresh_token"].as_str().expect("a token");
        let signature = self.pair.sign(statement(token, at.timestamp_millis()).as_bytes());
        json!({"signed_at_ms": at.timestamp_millis(), "signature": URL_SAFE_NO_PAD.encode(signature.as_ref())})
    }

    fn renew(&self, world: &World, session: &Value) -> Answer {
        renew(world, session, Some(self.proof(session, world.clock.now())))
    }
}

fn noon() -> DateTime<Utc> {
    "2026-06-01T12:00:00Z".parse().expect("an instant")
}

fn open(world: &World) -> Value {
    sign_in(&world.as_nobody(), "harbour", "technician", PASSWORD).expect(201).json()
}

fn enrol(world: &World, session: &Value, lane: Uuid, key: Option<&str>) -> Answer {
    let client = world.as_nobody().with_token(session["access_token"].as_str().expect("a token"));
    let mut body = json!({"name": "Phone of van 2"});
    if let Some(key) = key {
        body["device_key"] = json!(key);
    }
    client.put(&format!("/v1/devices/{lane}"), &body)
}

fn renew(world: &World, session: &Value, proof: Option<Value>) -> Answer {
    let mut body = json!({"refresh_token": session["refresh_token"]});
    if let Some(proof) = proof {
        body["proof"] = proof;
    }
    world.as_nobody().post("/v1/sessions/refresh", &body)
}

fn notes(world: &World) -> Vec<String> {
    let sql = "select what from security_notes order by note_id";
    world.db.as_owner().query(sql, &[]).expect("notes").iter().map(|row| row.get(0)).collect()
}

#[test]
fn a_copied_token_renews_nothing_without_the_phones_key_and_the_owner_is_told_once_a_day() {
    let world = World::at(noon());
    let _fleet = world.fleet_with_passwords("harbour");
    let (phone, thief) = (Phone::new(), Phone::new());
    let first = open(&world);
    let enrolled = phone.enrol(&world, &first).expect(200).json();
    assert_eq!(enrolled["has_key"], true);
    let now = world.clock.now();
    let other_token = json!({"refresh_token": open(&world)["refresh_token"]});
    let mut moved = phone.proof(&first, now);
    moved["signed_at_ms"] = json!(now.timestamp_millis() + 1);
    for (what, proof) in [
        ("no proof", None),
        ("another key's", Some(thief.proof(&first, now))),
        ("for another token", Some(phone.proof(&other_token, now))),
        ("at another time than signed", Some(moved)),
        ("no signature", Some(json!({"signed_at_ms": now.timestamp_millis(), "signature": "x"}))),
    ] {
        let answer = renew(&world, &first, proof);
        assert_eq!(answer.status, 401, "{what}: {}", answer.text());
        answer.expect_problem(401, "refresh_refused");
    }
    assert_eq!(notes(&world), ["refresh_without_proof"]);
    world.clock.advance(Duration::days(1));
    renew(&world, &first, None).expect_problem(401, "refresh_refused");
    assert_eq!(notes(&world), ["refresh_without_proof"; 2]);
    // Nothing was ended by it: the phone itself goes on.
    let second = phone.renew(&world, &first).expect(200).json();
    renew(&world, &second, None).expect_problem(401, "refresh_refused");
    let _ = phone.renew(&world, &second).expect(200);
}

#[test]
fn a_proof_is_judged_by_the_servers_clock_and_may_be_signed_again() {
    let world = World::at(noon());
    let _fleet = world.fleet_with_passwords("harbour");
    let phone = Phone::new();
    let first = open(&world);
    let _ = phone.enrol(&world, &first).expect(200);
    for away in [Duration::days(-400), Duration::seconds(-301), Duration::seconds(301), Duration::days(400)] {
        let answer = renew(&world, &first, Some(phone.proof(&first, noon() + away)));
        assert!(answer.header("date").is_some(), "the phone sets its clock by it");
        answer.expect_problem(401, "proof_out_of_time");
    }
    assert!(notes(&world).is_empty(), "a wrong clock is nobody's copy");
    let early = phone.proof(&first, noon() - Duration::seconds(300));
    let second = renew(&world, &first, Some(early)).expect(200).json();
    let _ = phone.renew(&world, &second).expect(200);
}

#[test]
fn a_superseded_token_ends_the_family_of_a_bound_session_too() {
    let world = World::at(noon());
    let _fleet = world.fleet_with_passwords("harbour");
    let phone = Phone::new();
    let first = open(&world);
    let _ = phone.enrol(&world, &first).expect(200);
    let second = phone.renew(&world, &first).expect(200).json();
    let third = phone.renew(&world, &second).expect(200).json();
    renew(&world, &first, None).expect_problem(401, "refresh_refused");
    phone.renew(&world, &third).expect_problem(401, "refresh_refused");
    assert_eq!(notes(&world), ["refresh_token_reused"]);
}

#[test]
fn a_thousand_replies_cut_off_log_nobody_out_and_start_no_second_family() {
    const CUT: i64 = 1_000;
    let world = World::at(noon());
    let _fleet = world.fleet_with_passwords("harbour");
    let phone = Phone::new();
    let mut session = open(&world);
    let _ = phone.enrol(&world, &session).expect(200);
    let renewals = |world: &World| -> i64 {
        world.db.as_owner().query_one("select max(renewals) from sessions", &[]).expect("a count").get(0)
    };
    for _ in 0..CUT {
        let proof = phone.proof(&session, world.clock.now());
        let body = json!({"refresh_token": session["refresh_token"], "proof": proof}).to_string();
        let request = format!(
            "POST /v1/sessions/refresh HTTP/1.1\r\nhost: x\r\ncontent-type: application/json\r\n\
             content-length: {}\r\n\r\n{body}",
            body.len()
        );
        // The reply has left the server, and nobody reads it.
        let mut socket = raw::open(world.server.address);
        socket.write_all(request.as_bytes()).expect("a request");
        socket.set_read_timeout(Some(std::time::Duration::from_secs(20))).expect("a timeout");
        assert_eq!(socket.peek(&mut [0]).expect("a reply on its way"), 1);
        drop(socket);
        world.clock.advance(Duration::seconds(20));
        session = phone.renew(&world, &session).expect(200).json();
    }
    assert_eq!(renewals(&world), CUT, "one step for each, however often it was asked for");
    let sessions: i64 = world
        .db
        .as_owner()
        .query_one("select count(*) from sessions where ended_at is null and device_key is not null", &[])
        .expect("a count")
        .get(0);
    assert_eq!(sessions, 1);
    assert!(notes(&world).is_empty());
}

#[test]
fn a_lost_reply_asked_for_again_needs_the_proof_as_well() {
    let world = World::at(noon());
    let _fleet = world.fleet_with_passwords("harbour");
    let phone = Phone::new();
    let first = open(&world);
    let _ = phone.enrol(&world, &first).expect(200);
    let lost = phone.renew(&world, &first).expect(200).json();
    world.clock.advance(Duration::minutes(9));
    renew(&world, &first, None).expect_problem(401, "refresh_refused");
    let stale = phone.proof(&first, noon());
    renew(&world, &first, Some(stale)).expect_problem(401, "proof_out_of_time");
    let again = phone.renew(&world, &first).expect(200).json();
    assert_eq!(lost["refresh_token"], again["refresh_token"]);
}

#[test]
fn a_session_and_a_phone_keep_the_key_they_have() {
    let world = World::at(noon());
    let _fleet = world.fleet_with_passwords("harbour");
    let (phone, other) = (Phone::new(), Phone::new());
    let first = open(&world);
    for odd in ["", "x", &"A".repeat(42), &phone.key().replace(char::is_alphanumeric, "+")] {
        enrol(&world, &first, phone.lane, Some(odd)).expect_problem(422, "bad_device_key");
    }
    let once = phone.enrol(&world, &first).expect(200).json();
    assert_eq!(once, phone.enrol(&world, &first).expect(200).json(), "the same again");
    other.enrol(&world, &first).expect_problem(409, "session_bound");
    enrol(&world, &first, phone.lane, None).expect_problem(409, "lane_in_use");
    // A phone that signs in anew binds its new session by enrolling as before.
    let second = open(&world);
    enrol(&world, &second, phone.lane, Some(&other.key())).expect_problem(409, "lane_in_use");
    let _ = phone.enrol(&world, &second).expect(200);
    renew(&world, &second, None).expect_problem(401, "refresh_refused");
    let _ = phone.renew(&world, &second).expect(200);
    // What was enrolled without a key may show one later, and its session is bound from then on.
    let (third, late) = (open(&world), Phone::new());
    let without = enrol(&world, &third, late.lane, None).expect(200).json();
    assert_eq!(without["has_key"], false);
    let third = renew(&world, &third, None).expect(200).json();
    assert_eq!(late.enrol(&world, &third).expect(200).json()["has_key"], true);
    renew(&world, &third, None).expect_problem(401, "refresh_refused");
    let _ = late.renew(&world, &third).expect(200);
}
