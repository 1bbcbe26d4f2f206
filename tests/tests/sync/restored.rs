//! T12: the database is put back to an earlier state, openly or not, also grown past the bookmark since.

use super::lane::Lane;
use super::reader::{Reader, new_rows, stop, tell};
use dropwise::clock::Clock;
use end_to_end::binary::dropwise;
use end_to_end::cards::Cards;
use end_to_end::cluster::tools;
use end_to_end::{Client, Fleet, TestDb, TestServer, World};
use serde_json::{Value, json};
use std::process::Command;

fn run(command: &mut Command) -> String {
    let out = command.output().expect("a program");
    assert!(out.status.success(), "{command:?}: {}", String::from_utf8_lossy(&out.stderr));
    String::from_utf8_lossy(&out.stdout).into_owned()
}

/// The database as a dump, restored into a new one.
struct Dump(tempfile::NamedTempFile);

impl Dump {
    fn of(db: &TestDb) -> Self {
        let file = tempfile::NamedTempFile::new().expect("a file");
        let program = tools().expect("Postgres' programs").join("pg_dump");
        run(Command::new(program).args(["-Fc", "-d", &db.owner_url(), "-f"]).arg(file.path()));
        Self(file)
    }

    fn restored(&self) -> TestDb {
        let db = TestDb::empty();
        let program = tools().expect("Postgres' programs").join("pg_restore");
        run(Command::new(program).args(["-d", &db.owner_url()]).arg(self.0.path()));
        db
    }
}

fn era_command(db: &TestDb, what: &str) -> String {
    let mut command = Command::new(dropwise());
    run(command.args(["era", what]).env_clear().env("DROPWISE_OWNER_DATABASE_URL", db.owner_url()))
}

fn notes(fleet: &Fleet, owner: &Client) -> Vec<String> {
    let _ = fleet;
    let page = owner.get("/v1/security-notes").expect(200).json();
    let rows = page["rows"].as_array().expect("rows");
    rows.iter().map(|note| note["what"].as_str().expect("a word").to_owned()).collect()
}

#[test]
fn a_dump_restored_elsewhere_begins_another_era_even_grown_past_the_bookmark() {
    let world = World::new();
    let fleet = world.fleet("harbour");
    let dump = Dump::of(&world.db);
    tell(&world, &fleet, new_rows(&fleet, 3, 10));
    let mut phone = Reader::default();
    phone.read_on(&fleet.as_technician());

    let restored = dump.restored();
    let server = TestServer::start(&restored, &Clock::system());
    let there = |person| Client::new(server.address).with_token(fleet.token(person));
    assert_eq!(stop(phone.ask(&there(fleet.technician), "")).0, "restarted", "shorter than the bookmark");
    let again = World { server, db: restored, clock: Clock::system() };
    tell(&again, &fleet, new_rows(&fleet, 9, 10));
    let there = |person| Client::new(again.server.address).with_token(fleet.token(person));
    let client = there(fleet.technician);
    assert_eq!(
        stop(phone.ask(&client, "")),
        ("restarted".into(), "fresh_copy".into(), serde_json::json!([])),
        "grown past the bookmark"
    );
    let lost = phone.rows.len();
    phone = Reader::fresh_copy(&client);
    assert_eq!(phone.rows.len(), lost + 6, "nine came, three were lost with the database");
    let _ = phone.ask(&client, "").expect(200);
    assert_eq!(notes(&fleet, &there(fleet.owner)), ["restored_database_lives_elsewhere"]);
}

#[test]
fn an_operator_may_keep_the_era_over_a_move_and_begin_another_over_a_disk_image() {
    let world = World::new();
    let fleet = world.fleet("harbour");
    let mut phone = Reader::default();
    phone.read_on(&fleet.as_technician());
    let era = era_command(&world.db, "show");
    let moved = Dump::of(&world.db).restored();
    assert!(era_command(&moved, "show").contains("restored"));
    assert_eq!(era_command(&moved, "keep"), era);
    let server = TestServer::start(&moved, &Clock::system());
    let client = Client::new(server.address).with_token(fleet.token(fleet.technician));
    let page = phone.ask(&client, "").expect(200).json();
    assert!(era.contains(page["era"].as_str().expect("an era")), "{era}");
    let other = era_command(&moved, "rotate");
    assert_ne!(other, era);
    assert_eq!(stop(phone.ask(&client, "")).0, "restarted");
    assert_eq!(
        notes(&fleet, &Client::new(server.address).with_token(fleet.token(fleet.owner))),
        ["era_rotated_by_operator"]
    );
}

#[test]
fn a_bookmark_above_the_head_rotates_the_era_once_however_many_phones_show_it() {
    let world = World::new();
    let fleet = world.fleet("harbour");
    let mut owner = world.db.as_owner();
    // As a disk image put back: the same cluster, database and table, only earlier.
    owner
        .batch_execute("create table kept_heads as table heads; create table kept_trail as table trail")
        .expect("an image");
    tell(&world, &fleet, new_rows(&fleet, 5, 10));
    let client = fleet.as_technician();
    let mut phone = Reader::default();
    phone.read_on(&client);
    owner
        .batch_execute(
            "delete from trail; insert into trail select * from kept_trail;
             update heads h set head = k.head from kept_heads k where k.fleet_id = h.fleet_id",
        )
        .expect("the image put back");
    // Whoever was not beyond the end may not go on either once somebody was.
    let mut careful = Reader::default();
    careful.read_on(&client);
    std::thread::scope(|scope| {
        for _ in 0..20 {
            scope.spawn(|| assert_eq!(stop(phone.ask(&client, "")).0, "restarted"));
        }
    });
    assert_eq!(stop(careful.ask(&client, "")).0, "restarted");
    assert_eq!(notes(&fleet, &fleet.as_owner()), ["restored_bookmark_above_head"]);
    phone = Reader::fresh_copy(&client);
    assert_eq!(phone.picture(), careful.picture());
    // Growing past it again makes the old bookmark no better.
    tell(&world, &fleet, new_rows(&fleet, 50, 10));
    assert_eq!(stop(careful.ask(&client, "")).0, "restarted");
    phone.read_on(&client);
    assert_eq!(phone.rows.len(), careful.rows.len() + 50);
}

#[test]
fn a_receipt_above_the_lanes_number_tells_of_a_restore_once() {
    let world = World::new();
    let fleet = world.fleet("harbour");
    let cards = Cards::create(&fleet.as_office());
    let mut lane = Lane::enrol(fleet.as_office(), cards.van);
    let mut other = Lane::enrol(fleet.as_office(), cards.van);
    let show = |lane: &Lane, receipt: &Value, entries: &[Value]| {
        let mut body = lane.body(entries);
        body["receipt"] = receipt.clone();
        lane.client.post("/v1/device/handover", &body)
    };
    let first = lane.hand_over(&lane.clone().note(2));
    lane.last_n = 2;
    let run = lane.note(3);
    let last = show(&lane, &first["receipt"], &run).expect(200).json();
    assert_eq!((&last["era"], &last["expected"]), (&first["era"], &json!(6)));
    let theirs = other.hand_over(&other.clone().note(9));
    other.last_n = 9;
    assert_eq!(
        show(&lane, &theirs["receipt"], &[]).expect(200).json()["era"],
        first["era"],
        "another lane's"
    );
    let bent = json!(last["receipt"].as_str().expect("a receipt").replace('A', "B"));
    show(&lane, &bent, &[]).expect_problem(422, "bad_receipt");

    // As a disk image put back: the lane has not come as far as it was told.
    let sql = "update lanes set last_n = 2 where fleet_id = $1 and lane_id = $2";
    assert_eq!(world.db.as_owner().execute(sql, &[&fleet.id.0, &lane.id]).expect("an image"), 1);
    let after = show(&lane, &last["receipt"], &[]).expect(200).json();
    assert_ne!(after["era"], first["era"], "another history");
    assert_eq!(after["expected"], 3);
    let again = show(&lane, &last["receipt"], &[]).expect(200).json();
    assert_eq!(again["era"], after["era"], "the receipt is of the history before");
    assert_eq!(notes(&fleet, &fleet.as_owner()), ["restored_lane_above_last"]);
}
