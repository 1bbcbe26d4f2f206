//! Passwords: what is accepted, how they are kept (T01, T03), and that hashing starves nobody (T02).

use dropwise::auth::password::Hasher;
use dropwise::config::HashingConfig;
use end_to_end::server::parts;
use end_to_end::sign_in::{PASSWORD, set_password, sign_in};
use end_to_end::{Client, ProcessWorld, TestServer, World};
use serde_json::json;
use std::time::{Duration, Instant};

/// The stored hash of the fleet's owner.
fn stored(world: &World) -> String {
    let sql = "select phc from passwords join members using (fleet_id, member_id) where role = 'owner'";
    world.db.as_owner().query_one(sql, &[]).expect("a hash").get(0)
}

#[test]
fn every_stored_hash_is_argon2id_of_the_published_strength() {
    let world = World::new();
    let _fleet = world.fleet_with_passwords("harbour");
    for row in world.db.as_owner().query("select phc from passwords", &[]).expect("hashes") {
        let phc: String = row.get(0);
        // OWASP Password Storage Cheat Sheet: Argon2id with at least 19 MiB, two passes, one lane.
        let parts: Vec<&str> = phc.split('$').collect();
        assert_eq!(&parts[1..3], ["argon2id", "v=19"], "{phc}");
        let cost: Vec<u32> = parts[3].split(',').map(|p| p[2..].parse().expect("a number")).collect();
        assert!(cost[0] >= 19_456 && cost[1] >= 2 && cost[2] == 1, "{phc}");
        assert!(parts[4].len() >= 22, "at least 16 bytes of salt: {phc}");
    }
}

#[test]
fn raised_parameters_rehash_at_the_next_right_sign_in_and_only_then() {
    let world = World::new();
    let _fleet = world.fleet_with_passwords("harbour");
    let before = stored(&world);
    let stronger = HashingConfig { memory_kib: 20_480, passes: 3 };
    let hasher = Hasher::new(stronger, 1).expect("a hasher");
    let parts = parts(&world.db.server_url(), &world.clock, 1);
    let raised = TestServer::start_parts(dropwise::server::Parts { hasher, ..parts });
    let client = Client::new(raised.address);
    sign_in(&client, "harbour", "owner", "a wrong one of words").expect_problem(401, "sign_in_refused");
    assert_eq!(stored(&world), before, "a wrong password changes nothing");
    let _ = sign_in(&client, "harbour", "owner", PASSWORD).expect(201);
    let after = stored(&world);
    assert!(after.starts_with("$argon2id$v=19$m=20480,t=3,p=1$"), "{after}");
    let _ = sign_in(&client, "harbour", "owner", PASSWORD).expect(201);
    assert_eq!(stored(&world), after, "strong enough is left alone");
    // A server with the settings of before still lets them in, and does not weaken the hash.
    let _ = sign_in(&world.as_nobody(), "harbour", "owner", PASSWORD).expect(201);
    assert_eq!(stored(&world), after);
}

#[test]
fn length_and_guesses_decide_and_nothing_is_cut_or_folded() {
    let world = World::new();
    let fleet = world.fleet_with_passwords("harbour");
    let owner = world.enter("harbour", "owner", PASSWORD);
    let long =
        |last: char| format!("{}{last}", "river stones under slow water, ".repeat(3).get(..63).unwrap());
    let mut current = PASSWORD.to_owned();
    let mut change = |new: &str| {
        let body = json!({"current_password": current, "new_password": new});
        let status = owner.put("/v1/members/self/password", &body).status;
        if status == 204 {
            new.clone_into(&mut current);
        }
        status
    };
    for refused in ["", "fourteen chars", "ünf grüne äpfe", &"ab".repeat(20), &"long words, ".repeat(22)] {
        assert_eq!(change(refused), 422, "{} characters: {refused}", refused.chars().count());
    }
    for soon_guessed in ["passwordpassword", "qwertyuiopasdfgh", "detailingdetailing"] {
        assert_eq!(change(soon_guessed), 422, "{soon_guessed}");
    }
    for accepted in [
        "fifteen  chars!",
        "all small and no digit",
        "  blanks around count  ",
        "пять серых цапель",
        "鷺が五羽、川の浅瀬に立っている。",
        "🦢🦆🦉🦩🦚🦜🐦🐧🕊🦃🐓🐤🐣🐥🪿",
        &"long words, ".repeat(21),
    ] {
        assert_eq!(change(accepted), 204, "{} characters: {accepted}", accepted.chars().count());
        let _ = sign_in(&world.as_nobody(), &fleet.handle, "owner", accepted).expect(201);
    }
    // Sixty-four characters that differ in the last, or in case, or in a blank.
    assert_eq!(change(&long('x')), 204);
    for other in [
        long('y'),
        long('X'),
        long('x').to_uppercase(),
        long('x')[..63].to_owned(),
        format!("{} ", long('x')),
    ] {
        sign_in(&world.as_nobody(), "harbour", "owner", &other).expect_problem(401, "sign_in_refused");
    }
    let _ = sign_in(&world.as_nobody(), "harbour", "owner", &long('x')).expect(201);
}

/// Resident memory of a process, in KiB.
fn resident_kib(process: u32, field: &str) -> u64 {
    let status = std::fs::read_to_string(format!("/proc/{process}/status")).expect("its status");
    let line = status.lines().find(|line| line.starts_with(field)).expect("its memory");
    line.split_whitespace().nth(1).and_then(|kib| kib.parse().ok()).expect("a number")
}

#[test]
fn a_storm_of_sign_ins_is_bounded_in_memory_and_starves_nobody() {
    let allowance = ("DROPWISE_TRIES_PER_SOURCE_PER_MIN", "1000000");
    let account = ("DROPWISE_TRIES_PER_MEMBER_PER_HOUR", "1000000");
    let world = ProcessWorld::start(&[allowance, account]);
    set_password(&world.db, &world.fleet, world.fleet.owner, PASSWORD);
    let (client, serving) = (world.as_nobody(), &world.serving);
    let _ = sign_in(&client, "harbour", "owner", PASSWORD).expect(201);
    let before = resident_kib(serving.process(), "VmRSS");

    let (answers, waits) = std::thread::scope(|scope| {
        let storm: Vec<_> = (0..200)
            .map(|_| scope.spawn(|| sign_in(&Client::new(serving.address), "harbour", "owner", PASSWORD)))
            .collect();
        let others = scope.spawn(|| {
            let mut waits = Vec::new();
            let until = Instant::now() + Duration::from_secs(2);
            while Instant::now() < until {
                waits.push(client.get("/health/live").expect(200).took);
                std::thread::sleep(Duration::from_millis(5));
            }
            waits
        });
        let answers: Vec<_> = storm.into_iter().map(|t| t.join().expect("an answer")).collect();
        (answers, others.join().expect("waits"))
    });

    let count = |status: u16| answers.iter().filter(|answer| answer.status == status).count();
    assert!(answers.iter().all(|answer| matches!(answer.status, 201 | 503)), "{answers:?}");
    assert!(count(201) > 0 && count(503) > 0, "{} let in, {} told to come back", count(201), count(503));
    for answer in answers.iter().filter(|answer| answer.status == 503) {
        assert!(answer.header("retry-after").is_some_and(|wait| wait.parse::<u64>().is_ok()));
    }
    let grown = resident_kib(serving.process(), "VmHWM").saturating_sub(before);
    assert!(grown < 100 * 1024, "grew by {grown} KiB");
    let mut waits = waits;
    waits.sort_unstable();
    let p99 = waits[waits.len() * 99 / 100];
    println!(
        "{} let in, {} told to come back; grew by {grown} KiB; others waited {p99:?} at p99",
        count(201),
        count(503)
    );
    assert!(p99 < Duration::from_millis(200), "others waited {p99:?}");
}
