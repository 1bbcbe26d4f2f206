//! The signal: says soon, seldom and to the right ones where the head is, and ends in time.

use super::ear::Ear;
use chrono::{DateTime, TimeDelta, Utc};
use dropwise::config::PhonesConfig;
use dropwise::ids::fresh;
use dropwise::server::Parts;
use end_to_end::fleet::Person;
use end_to_end::server::parts;
use end_to_end::world::ProcessWorld;
use end_to_end::{Fleet, TestServer, World};
use serde_json::json;
use std::time::{Duration, Instant};

const SOON: Duration = Duration::from_secs(3);

fn write(fleet: &Fleet) {
    let body = json!({"kind": "place", "body": {"name": "New", "what": "depot"}});
    let _ = fleet.as_office().put(&format!("/v1/cards/{}", fresh()), &body).expect(201);
}

/// The same, sent again while the server is told by its database that it was cut off.
fn write_at_last(fleet: &Fleet) {
    let body = json!({"kind": "place", "body": {"name": "New", "what": "depot"}});
    let path = format!("/v1/cards/{}", fresh());
    for _ in 0..50 {
        if fleet.as_office().put(&path, &body).expect_any(&[200, 201, 503]).status < 300 {
            return;
        }
        std::thread::sleep(Duration::from_millis(100));
    }
    panic!("the server does not find back to its database");
}

fn head(world: &World, fleet: &Fleet) -> i64 {
    let sql = "select head from heads where fleet_id = $1";
    world.db.as_owner().query_one(sql, &[&fleet.id.0]).unwrap().get(0)
}

fn open(world: &World, fleet: &Fleet, person: Person) -> Ear {
    Ear::open(world.server.address, &fleet.token(person))
}

#[test]
fn whoever_listens_is_told_where_the_head_is_at_once_and_soon_after_it_has_moved() {
    let world = World::new();
    let (fleet, other) = (world.fleet("ours"), world.fleet("theirs"));
    let mut ear = open(&world, &fleet, fleet.technician);
    assert_eq!(ear.hear(SOON), Some(head(&world, &fleet)));
    let answer = ear.heard.to_ascii_lowercase();
    assert!(
        answer.starts_with("http/1.1 200") && answer.contains("content-type: text/event-stream"),
        "{answer}"
    );
    assert!(!answer.contains("gzip") && !answer.contains("zstd"), "packed events wait for more: {answer}");
    let retry = answer.split("retry: ").nth(1).and_then(|rest| rest.lines().next()?.parse::<u64>().ok());
    assert!(retry.is_some_and(|ms| (2_000..=12_000).contains(&ms)), "{answer}");
    let mut took = Vec::new();
    for _ in 0..12 {
        std::thread::sleep(Duration::from_millis(300));
        write(&fleet);
        let start = Instant::now();
        let told = ear.hear(SOON);
        took.push(start.elapsed());
        assert_eq!(told, Some(head(&world, &fleet)));
    }
    took.sort();
    println!("told after the answer to the write: median {:?}, longest {:?}", took[6], took[11]);
    assert!(took[6] < Duration::from_millis(100), "{took:?}");
    write(&other);
    assert_eq!(ear.hear(Duration::from_millis(700)), None, "another fleet's head");
    let data = ear.heard.lines().filter(|line| line.starts_with("data:"));
    assert!(data.into_iter().all(|line| line == "data:"), "nothing but the number: {}", ear.heard);
}

#[test]
fn a_hundred_moves_are_a_few_signals_and_the_last_one_is_the_head() {
    let world = World::new();
    let fleet = world.fleet("busy");
    let mut ear = open(&world, &fleet, fleet.technician);
    let first = ear.hear(SOON).unwrap();
    let start = Instant::now();
    for _ in 0..100 {
        write(&fleet);
    }
    let (last, mut told, mut seen) = (head(&world, &fleet), 0, first);
    while seen != last {
        let next = ear.hear(SOON).expect("the last head");
        assert!(next > seen, "heads rise");
        (seen, told) = (next, told + 1);
    }
    let most = 4.0 * start.elapsed().as_secs_f64() + 1.0;
    println!("100 moves, {told} signals in {:?}", start.elapsed());
    assert!(f64::from(told) <= most && told < 100, "{told} signals, at most {most}");
    assert_eq!(ear.hear(Duration::from_millis(600)), None);
}

#[test]
fn phones_of_another_server_hear_it_too_also_after_the_line_between_servers_was_cut() {
    let world = World::new();
    let fleet = world.fleet("two");
    let other = TestServer::start(&world.db, &world.clock);
    let mut ear = Ear::open(other.address, &fleet.token(fleet.technician));
    assert_eq!(ear.hear(SOON), Some(head(&world, &fleet)));
    // The other server begins to listen a moment after its start; whatever it missed it looks up then.
    write(&fleet);
    let told = ear.hear(Duration::from_secs(10));
    assert_eq!(told, Some(head(&world, &fleet)));
    let mut took = Vec::new();
    for _ in 0..8 {
        std::thread::sleep(Duration::from_millis(400));
        write(&fleet);
        let start = Instant::now();
        let told = ear.hear(SOON);
        took.push(start.elapsed());
        assert_eq!(told, Some(head(&world, &fleet)));
    }
    took.sort();
    println!("told by another server: median {:?}, longest {:?}", took[4], took[7]);
    assert!(took[4] < Duration::from_millis(300), "{took:?}");

    // Every connection of both servers, the line between them too.
    let cut = "select count(pg_terminate_backend(pid)) from pg_stat_activity \
               where datname = current_database() and pid <> pg_backend_pid()";
    let gone: i64 = world.db.as_owner().query_one(cut, &[]).unwrap().get(0);
    assert!(gone >= 4, "both servers were cut off: {gone}");
    write_at_last(&fleet);
    assert_eq!(ear.hear(Duration::from_secs(10)), Some(head(&world, &fleet)), "what moved meanwhile is told");
    write_at_last(&fleet);
    assert_eq!(ear.hear(Duration::from_secs(10)), Some(head(&world, &fleet)));
}

#[test]
fn seats_are_bounded_and_free_again_when_a_phone_goes() {
    let world = World::new();
    let (one, two) = (world.fleet("one"), world.fleet("two"));
    let phones = PhonesConfig { signals: 3, signals_per_fleet: 2, ..PhonesConfig::default() };
    let server = TestServer::start_parts(Parts { phones, ..parts(&world.db.server_url(), &world.clock, 1) });
    let sit = |fleet: &Fleet| {
        let mut ear = Ear::open(server.address, &fleet.token(fleet.technician));
        let told = ear.hear(SOON).is_some();
        (ear, told)
    };
    let (first, second) = (sit(&one), sit(&one));
    assert!(first.1 && second.1);
    let (refused, told) = sit(&one);
    assert!(!told && refused.heard.starts_with("HTTP/1.1 503"), "{}", refused.heard);
    assert!(refused.heard.to_ascii_lowercase().contains("retry-after: "), "{}", refused.heard);
    let third = sit(&two);
    assert!(third.1, "another fleet still may");
    assert!(!sit(&two).1, "and then the process is full");
    drop(first);
    let until = Instant::now() + Duration::from_secs(15);
    while !sit(&two).1 {
        assert!(Instant::now() < until, "the seat of a phone that went stays taken");
        // It is found out when something is to be said to it, at the latest after 25 s.
        write(&one);
        std::thread::sleep(Duration::from_millis(300));
    }
}

#[test]
fn the_stream_ends_before_the_token_does() {
    let at: DateTime<Utc> = "2026-03-02T21:00:00Z".parse().unwrap();
    let world = World::at(at);
    let fleet = world.fleet("ending");
    let mut ear = open(&world, &fleet, fleet.technician);
    assert!(ear.hear(SOON).is_some());
    world.clock.advance(TimeDelta::minutes(14) + TimeDelta::seconds(20));
    assert!(!ear.ends(Duration::from_secs(5)), "half a minute is left");
    world.clock.advance(TimeDelta::seconds(36));
    assert!(ear.ends(Duration::from_secs(5)), "four seconds are left: {}", ear.heard);
}

#[test]
fn a_member_who_goes_or_becomes_another_is_told_nothing_more_within_five_seconds() {
    let world = World::new();
    let fleet = world.fleet("leaving");
    let owner = fleet.as_owner();
    let change = |person: Person, patch: serde_json::Value| {
        let path = format!("/v1/members/{}", person.id);
        let etag = owner.get(&path).expect(200).etag();
        let _ = owner.patch(&path, &etag, &patch).expect(200);
    };
    let mut staying = open(&world, &fleet, fleet.owner);
    let mut changing = open(&world, &fleet, fleet.office);
    let mut leaving = open(&world, &fleet, fleet.technician);
    for ear in [&mut staying, &mut changing, &mut leaving] {
        assert!(ear.hear(SOON).is_some());
    }
    change(fleet.office, json!({"role": "technician"}));
    let path = format!("/v1/members/{}", fleet.technician.id);
    let etag = owner.get(&path).expect(200).etag();
    owner.send("POST", &format!("{path}/retire"), &[("if-match", &etag)], None).expect_any(&[200, 204]);
    let start = Instant::now();
    assert!(changing.ends(Duration::from_secs(5)), "{}", changing.heard);
    assert!(leaving.ends(Duration::from_secs(6).saturating_sub(start.elapsed())), "{}", leaving.heard);
    println!("both ended after {:?}", start.elapsed());
    assert!(!staying.ends(Duration::from_secs(1)), "the owner was not touched");
}

#[test]
fn a_quiet_line_says_that_it_still_stands() {
    let world = World::new();
    let fleet = world.fleet("quiet");
    let mut ear = open(&world, &fleet, fleet.technician);
    assert!(ear.hear(SOON).is_some());
    let start = Instant::now();
    while !ear.heard.contains("\n: ") && start.elapsed() < Duration::from_secs(27) {
        assert_eq!(ear.hear(Duration::from_millis(500)), None);
    }
    assert!(ear.heard.contains(": still here\n\n"), "{}", ear.heard);
    assert!(start.elapsed() > Duration::from_secs(20), "{:?}", start.elapsed());
}

#[test]
fn open_streams_end_well_and_do_not_hold_up_the_end_of_the_process() {
    let mut world = ProcessWorld::start(&[]);
    let token = world.fleet.token_signed_with(&world.serving.keys(), world.fleet.technician);
    let mut ears: Vec<_> = (0..10).map(|_| Ear::open(world.serving.address, &token)).collect();
    for ear in &mut ears {
        assert!(ear.hear(SOON).is_some());
    }
    world.serving.signal("TERM");
    let start = Instant::now();
    for ear in &mut ears {
        assert!(ear.ends(SOON), "a whole answer: {}", ear.heard);
    }
    println!("streams ended after {:?}", start.elapsed());
    let (status, after) = world.serving.wait_for_end(Duration::from_secs(31)).expect("an end");
    println!("process ended after {after:?}");
    assert!(status.success() && start.elapsed() < Duration::from_secs(5), "{:?}", start.elapsed());
}
