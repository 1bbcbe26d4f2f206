//! Entry codes: once, in time, and kept nowhere (T06).

use chrono::{DateTime, Duration, Utc};
use end_to_end::sign_in::{PASSWORD, sign_in};
use end_to_end::{Answer, Fleet, World};
use serde_json::json;

fn noon() -> DateTime<Utc> {
    "2026-06-01T12:00:00Z".parse().expect("an instant")
}

fn make(fleet: &Fleet) -> String {
    let path = format!("/v1/members/{}/entry-code", fleet.technician.id);
    let made = fleet.as_owner().send("POST", &path, &[], None).expect(201).json();
    made["code"].as_str().expect("a code").to_owned()
}

fn claim(world: &World, code: &str, password: &str) -> Answer {
    let body = json!({"fleet": "harbour", "code": code, "password": password});
    world.as_nobody().post("/v1/members/claim", &body)
}

#[test]
fn a_code_ends_by_the_servers_clock_and_by_the_next_code() {
    let world = World::at(noon());
    let fleet = world.fleet("harbour");
    let late = make(&fleet);
    world.clock.advance(Duration::hours(72));
    claim(&world, &late, PASSWORD).expect_problem(401, "entry_code_refused");
    let replaced = make(&fleet);
    let code = make(&fleet);
    claim(&world, &replaced, PASSWORD).expect_problem(401, "entry_code_refused");
    world.clock.advance(Duration::hours(72) - Duration::seconds(1));
    let _ = claim(&world, &code, PASSWORD).expect(204);
    let _ = sign_in(&world.as_nobody(), "harbour", "technician", PASSWORD).expect(201);
}

#[test]
fn of_many_who_use_one_code_at_once_one_gets_in() {
    let world = World::new();
    let fleet = world.fleet("harbour");
    let code = make(&fleet);
    let statuses: Vec<u16> = std::thread::scope(|scope| {
        let claims: Vec<_> = (0..8)
            .map(|i| {
                let (world, code) = (&world, &code);
                scope.spawn(move || claim(world, code, &format!("{PASSWORD} number {i}")).status)
            })
            .collect();
        claims.into_iter().map(|t| t.join().expect("an answer")).collect()
    });
    assert_eq!(statuses.iter().filter(|status| **status == 204).count(), 1, "{statuses:?}");
    assert!(statuses.iter().all(|status| [204, 401].contains(status)), "{statuses:?}");
}

#[test]
fn a_reset_ends_what_was_open_and_leaves_the_old_password_until_then() {
    let world = World::new();
    let fleet = world.fleet_with_passwords("harbour");
    let technician = world.enter("harbour", "technician", PASSWORD);
    let code = make(&fleet);
    let _ = sign_in(&world.as_nobody(), "harbour", "technician", PASSWORD).expect(201);
    let _ = claim(&world, &code, "six brown herons flying").expect(204);
    technician.get("/v1/members/self").expect_problem(401, "not_signed_in");
    sign_in(&world.as_nobody(), "harbour", "technician", PASSWORD).expect_problem(401, "sign_in_refused");
}

#[test]
fn only_an_owner_starts_a_reset_and_nobody_chooses_for_another() {
    let world = World::new();
    let fleet = world.fleet("harbour");
    let path = format!("/v1/members/{}/entry-code", fleet.technician.id);
    for asks in [fleet.as_office(), fleet.as_technician()] {
        asks.send("POST", &path, &[], None).expect_problem(403, "not_allowed");
    }
    let member = format!("/v1/members/{}", uuid::Uuid::new_v4());
    let chosen = json!({"handle": "bea", "name": "Bea", "role": "office", "password": PASSWORD});
    fleet.as_owner().put(&member, &chosen).expect_problem(422, "bad_field");
}

#[test]
fn a_dump_holds_no_code() {
    let world = World::new();
    let fleet = world.fleet("harbour");
    let code = make(&fleet);
    let sql = "select (select string_agg(c::text, '') from entry_codes c)
               || (select string_agg(n::text, '') from security_notes n)
               || (select coalesce(string_agg(t::text, ''), '') from trail t)";
    let dump: String = world.db.as_owner().query_one(sql, &[]).expect("a dump").get(0);
    assert!(!dump.contains(&code) && !dump.contains(&code.replace('-', "")));
    let hex: String = code.replace('-', "").bytes().map(|byte| format!("{byte:02x}")).collect();
    assert!(!dump.contains(&hex));
}
