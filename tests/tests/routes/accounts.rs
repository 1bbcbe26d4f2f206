//! Fleets, members, sign-ins, pay, phones and notes.

use dropwise::auth::password::Hasher;
use dropwise::config::HashingConfig;
use dropwise::flows::accounts::fleets::{self, NewFleet};
use dropwise::ids::{LaneId, fresh};
use dropwise::store::Db;
use end_to_end::sign_in::PASSWORD;
use end_to_end::{Client, World};
use serde_json::{Value, json};

fn new_fleet(handle: &str) -> NewFleet {
    NewFleet {
        handle: handle.to_owned(),
        name: "Harbour Shine".to_owned(),
        currency: "USD".to_owned(),
        zone: "America/Denver".to_owned(),
        owner_handle: "ada".to_owned(),
        owner_name: "Ada of the tests".to_owned(),
        owner_password: PASSWORD.to_owned().into(),
    }
}

fn found(world: &World, new: NewFleet) -> Result<(), dropwise::error::Error> {
    let (url, now) = (world.db.server_url(), world.clock.now());
    actix_web::rt::System::new().block_on(async move {
        let db = Db::open(&url, 1)?;
        let hasher = Hasher::new(HashingConfig::default(), 1).expect("a hasher");
        fleets::create(&db, &hasher, new, now).await.map(|_| ())
    })
}

fn sign_in(world: &World, fleet: &str, member: &str, password: &str) -> end_to_end::Answer {
    end_to_end::sign_in::sign_in(&world.as_nobody(), fleet, member, password)
}

/// A world with one fleet made the way an operator makes it, and its owner signed in.
fn owned_world() -> (World, Client) {
    let world = World::new();
    found(&world, new_fleet("harbour")).expect("a fleet");
    let owner = world.enter("harbour", "ada", PASSWORD);
    (world, owner)
}

fn technician(handle: &str) -> Value {
    json!({"handle": handle, "name": "Rosa of the tests", "role": "technician"})
}

#[test]
fn a_new_fleets_owner_signs_in_and_is_who_they_are() {
    let (_world, owner) = owned_world();
    let me = owner.get("/v1/members/self").expect(200);
    assert_eq!(me.json()["handle"], "ada");
    assert_eq!(me.json()["role"], "owner");
    assert_eq!(me.etag(), "\"1\"");
}

#[test]
fn a_handle_is_read_as_a_phone_types_it() {
    let (world, _) = owned_world();
    let _ = sign_in(&world, " Harbour", "Ada ", PASSWORD).expect(201);
}

#[test]
fn a_fleet_needs_a_free_handle_a_real_currency_and_a_real_zone() {
    let world = World::new();
    found(&world, new_fleet("harbour")).expect("a fleet");
    let refused = |new| found(&world, new).expect_err("no fleet").to_string();
    assert!(refused(new_fleet("harbour")).starts_with("handle_taken"));
    assert!(refused(new_fleet("Harbour!")).starts_with("bad_handle"));
    let coinless = NewFleet { currency: "XXX".to_owned(), ..new_fleet("pier") };
    assert!(refused(coinless).starts_with("unknown_currency"));
    let nowhere = NewFleet { zone: "Nowhere".to_owned(), ..new_fleet("pier") };
    assert!(refused(nowhere).starts_with("unknown_zone"));
    let short = NewFleet { owner_password: "short".to_owned().into(), ..new_fleet("pier") };
    assert!(refused(short).starts_with("weak_password"));
    let coins = NewFleet { currency: "XQQ".to_owned(), ..new_fleet("pier") };
    assert!(refused(coins).starts_with("unknown_currency"));
    let nowhere = NewFleet { zone: "Mars/Olympus".to_owned(), ..new_fleet("pier") };
    assert!(refused(nowhere).starts_with("unknown_zone"));
}

#[test]
fn a_member_created_twice_is_created_once() {
    let (world, owner) = owned_world();
    let path = format!("/v1/members/{}", fresh());
    let first = owner.put(&path, &technician("rosa")).expect(200);
    let again = owner.put(&path, &technician("rosa")).expect(200);
    assert_eq!(first.body, again.body);
    owner.put(&path, &technician("ines")).expect_problem(409, "id_in_use");
    owner.put(&format!("/v1/members/{}", fresh()), &technician("rosa")).expect_problem(409, "handle_taken");
    let told: i64 = world
        .db
        .as_owner()
        .query_one("select count(*) from trail where kind = 'member'", &[])
        .expect("a count")
        .get(0);
    assert_eq!(told, 2, "the owner and the technician");
}

#[test]
fn a_member_gets_in_with_a_code_that_works_once() {
    let (world, owner) = owned_world();
    let path = format!("/v1/members/{}", fresh());
    let _ = owner.put(&path, &technician("rosa")).expect(200);
    sign_in(&world, "harbour", "rosa", PASSWORD).expect_problem(401, "sign_in_refused");
    let made = owner.send("POST", &format!("{path}/entry-code"), &[], None).expect(201).json();
    let code = made["code"].as_str().expect("a code");
    let claim = |code: &str, password: &str| {
        let body = json!({"fleet": "harbour", "code": code, "password": password});
        world.as_nobody().post("/v1/members/claim", &body)
    };
    claim(code, "too short").expect_problem(422, "weak_password");
    let _ = claim(&code.to_lowercase(), "a longer one of five words").expect(204);
    claim(code, "and another of five words").expect_problem(401, "entry_code_refused");
    let rosa = world.enter("harbour", "rosa", "a longer one of five words");
    assert_eq!(rosa.get("/v1/members/self").expect(200).json()["role"], "technician");
    rosa.get("/v1/members").expect_problem(403, "not_allowed");
}

#[test]
fn a_stale_edit_shows_the_member_as_they_are() {
    let (_world, owner) = owned_world();
    let path = format!("/v1/members/{}", fresh());
    let first = owner.put(&path, &technician("rosa")).expect(200).etag();
    let second = owner.patch(&path, &first, &json!({"name": "Rosa K."})).expect(200);
    assert_eq!(second.etag(), "\"2\"");
    let stale = owner.patch(&path, &first, &json!({"name": "Rosalind"})).expect(412);
    assert_eq!(stale.json()["current"], second.json());
    owner.send_json("PATCH", &path, &[], &json!({"name": "R"})).expect_problem(428, "version_missing");
    owner.patch(&path, "\"2\"", &json!({"home_place_id": fresh()})).expect_problem(422, "unknown_place");
    owner.patch(&path, "\"2\"", &json!({"nmae": "R"})).expect_problem(422, "bad_field");
}

#[test]
fn the_last_owner_neither_leaves_nor_steps_down() {
    let (world, owner) = owned_world();
    let me = owner.get("/v1/members/self").expect(200);
    let path = format!("/v1/members/{}", me.json()["member_id"].as_str().expect("an id"));
    owner.patch(&path, &me.etag(), &json!({"role": "office"})).expect_problem(409, "last_owner");
    owner.send("POST", &format!("{path}/retire"), &[], None).expect_problem(409, "last_owner");
    // A second owner who never chose a password could let nobody in.
    let other = format!("/v1/members/{}", fresh());
    let _ = owner.put(&other, &json!({"handle": "bea", "name": "Bea", "role": "owner"})).expect(200);
    owner.send("POST", &format!("{path}/retire"), &[], None).expect_problem(409, "last_owner");
    let made = owner.send("POST", &format!("{other}/entry-code"), &[], None).expect(201).json();
    let claim = json!({"fleet": "harbour", "code": made["code"], "password": PASSWORD});
    let _ = world.as_nobody().post("/v1/members/claim", &claim).expect(204);
    let gone = owner.send("POST", &format!("{path}/retire"), &[], None).expect(200).json();
    assert!(gone["retired_at"].is_string());
    sign_in(&world, "harbour", "ada", PASSWORD).expect_problem(401, "sign_in_refused");
    let bea = world.enter("harbour", "bea", PASSWORD);
    bea.patch(&path, "\"2\"", &json!({"name": "Ada?"})).expect_problem(409, "member_retired");
}

#[test]
fn pay_is_dated_kept_and_only_the_owners() {
    let world = World::new();
    let fleet = world.fleet("harbour");
    let path = format!("/v1/members/{}/pay-rates", fleet.technician.id);
    let rate = json!({"hourly_amount": "24.90", "burden_share": "0.18"});
    let owner = fleet.as_owner();
    let first = owner.put(&format!("{path}/2026-02-01"), &rate).expect(200).json();
    assert_eq!(first, json!({"from_on": "2026-02-01", "hourly_amount": "24.9", "burden_share": "0.18"}));
    let _ = owner.put(&format!("{path}/2026-02-01"), &rate).expect(200);
    let other = json!({"hourly_amount": "25", "burden_share": "0.18"});
    owner.put(&format!("{path}/2026-02-01"), &other).expect_problem(409, "rate_in_use");
    let _ = owner.put(&format!("{path}/2026-01-01"), &other).expect(200);
    let list = owner.get(&path).expect(200).json();
    let days: Vec<&str> =
        list["rows"].as_array().expect("rows").iter().filter_map(|row| row["from_on"].as_str()).collect();
    assert_eq!(days, ["2026-01-01", "2026-02-01"]);
    let later = owner.get(&format!("{path}?after=2026-01-01")).expect(200).json();
    assert_eq!(later["rows"].as_array().map(Vec::len), Some(1));
    for asks in [fleet.as_office(), fleet.as_technician()] {
        asks.get(&path).expect_problem(403, "not_allowed");
        asks.put(&format!("{path}/2026-03-01"), &rate).expect_problem(403, "not_allowed");
    }
    let nobody = format!("/v1/members/{}/pay-rates", fresh());
    owner.get(&nobody).expect_problem(404, "not_found");
    owner.put(&format!("{nobody}/2026-01-01"), &rate).expect_problem(404, "not_found");
    owner
        .put(&format!("{path}/2026-04-01"), &json!({"hourly_amount": 25, "burden_share": "0"}))
        .expect_problem(422, "bad_field");
}

#[test]
fn a_phone_is_enrolled_once_and_seen_by_its_member_and_the_office() {
    let world = World::new();
    let fleet = world.fleet("harbour");
    let lane = LaneId(fresh());
    let path = format!("/v1/devices/{lane}");
    let first = fleet.as_technician().put(&path, &json!({"name": "Van 2"})).expect(200);
    assert_eq!(first.json()["last_n"], 0);
    let again = fleet.as_technician().put(&path, &json!({"name": "Van 2"})).expect(200);
    assert_eq!(first.body, again.body);
    fleet.as_office().put(&path, &json!({"name": "Van 2"})).expect_problem(409, "lane_in_use");
    let _ = fleet.as_office().put(&format!("/v1/devices/{}", fresh()), &json!({"name": "Desk"})).expect(200);
    let count =
        |client: Client| client.get("/v1/devices").expect(200).json()["rows"].as_array().map(Vec::len);
    assert_eq!(count(fleet.as_technician()), Some(1));
    assert_eq!(count(fleet.as_office()), Some(2));
    assert_eq!(count(world.fleet("pier").as_owner()), Some(0));
}

#[test]
fn a_changed_password_ends_the_other_sessions_only() {
    let (world, owner) = owned_world();
    let other = world.enter("harbour", "ada", PASSWORD);
    let change = |current: &str, new: &str| {
        let body = json!({"current_password": current, "new_password": new});
        owner.put("/v1/members/self/password", &body)
    };
    change("not the current one", "six herons on one pier").expect_problem(422, "wrong_password");
    change(PASSWORD, "short").expect_problem(422, "weak_password");
    let _ = change(PASSWORD, "six herons on one pier").expect(204);
    let _ = owner.get("/v1/members/self").expect(200);
    other.get("/v1/members/self").expect_problem(401, "not_signed_in");
    sign_in(&world, "harbour", "ada", PASSWORD).expect_problem(401, "sign_in_refused");
    let _ = sign_in(&world, "harbour", "ada", "six herons on one pier").expect(201);
}

#[test]
fn signing_out_counts_at_once() {
    let (_world, owner) = owned_world();
    let _ = owner.get("/v1/members/self").expect(200);
    let _ = owner.delete("/v1/sessions/current").expect(204);
    owner.get("/v1/members/self").expect_problem(401, "not_signed_in");
}

#[test]
fn members_are_listed_page_by_page() {
    let world = World::new();
    let fleet = world.fleet("harbour");
    let office = fleet.as_office();
    let first = office.get("/v1/members?room=2").expect(200).json();
    assert_eq!(first["rows"].as_array().map(Vec::len), Some(2));
    let next = first["next"].as_str().expect("more");
    let second = office.get(&format!("/v1/members?room=2&after={next}")).expect(200).json();
    assert_eq!(second["rows"].as_array().map(Vec::len), Some(1));
    assert!(second.get("next").is_none());
    fleet.as_technician().get("/v1/members").expect_problem(403, "not_allowed");
}

#[test]
fn only_owners_read_who_was_let_in_and_shut_out() {
    let world = World::new();
    let fleet = world.fleet("harbour");
    let retire = format!("/v1/members/{}/retire", fleet.technician.id);
    let _ = fleet.as_owner().send("POST", &retire, &[], None).expect(200);
    let notes = fleet.as_owner().get("/v1/security-notes").expect(200).json();
    assert_eq!(notes["rows"][0]["what"], "member_retired");
    fleet.as_office().get("/v1/security-notes").expect_problem(403, "not_allowed");
}
