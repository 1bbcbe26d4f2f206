//! A limit on every wait (T56): slow senders, held locks, long statements, a server that stops in the
//! middle of a transaction.

use end_to_end::sign_in::{PASSWORD, sign_in};
use end_to_end::{ProcessWorld, World, raw};
use std::io::Write;
use std::time::{Duration, Instant};

#[test]
fn whoever_sends_headers_a_byte_a_second_is_let_go_in_time_and_others_do_not_notice() {
    let world = World::new();
    let address = world.server.address;
    let slow: Vec<_> = (0..50)
        .map(|_| {
            std::thread::spawn(move || {
                let head = format!("GET /health/live HTTP/1.1\r\nhost: x\r\nx-slow: {}", "a".repeat(60));
                raw::drip(address, head.as_bytes(), Duration::from_secs(1), Duration::from_secs(20))
            })
        })
        .collect();
    std::thread::sleep(Duration::from_secs(2));
    for _ in 0..50 {
        let took = world.as_nobody().get("/health/ready").expect(200).took;
        assert!(took < Duration::from_secs(1), "another client waited {took:?}");
    }
    for one in slow {
        let (heard, after) = one.join().expect("a slow sender");
        assert!(after <= Duration::from_secs(12), "held for {after:?}");
        assert!(heard.is_empty() || heard.starts_with("HTTP/1.1 408"), "{heard}");
    }
}

#[test]
fn whoever_sends_a_body_a_byte_at_a_time_is_told_so_in_time() {
    let world = World::new();
    let fleet = world.fleet("amber");
    let (address, token) = (world.server.address, fleet.token(fleet.owner));
    let slow: Vec<_> = (0..20)
        .map(|_| {
            let head = format!(
                "PUT /v1/members/{} HTTP/1.1\r\nhost: x\r\nauthorization: Bearer {token}\r\n\
                 content-type: application/json\r\ncontent-length: 1000\r\n\r\n",
                dropwise::ids::fresh()
            );
            std::thread::spawn(move || {
                let mut socket = raw::open(address);
                socket.write_all(head.as_bytes()).expect("a head");
                raw::drip_on(&mut socket, &[b' '; 1000], Duration::from_millis(500), Duration::from_secs(40))
            })
        })
        .collect();
    for one in slow {
        let (heard, after) = one.join().expect("a slow sender");
        assert!(after <= Duration::from_secs(32), "held for {after:?}");
        assert!(heard.starts_with("HTTP/1.1 408") && heard.contains("too_slow"), "{heard}");
    }
}

#[test]
fn a_held_lock_is_waited_for_only_so_long_and_nobody_else_waits() {
    let world = World::new();
    let fleet = world.fleet("amber");
    let path = "/v1/members/self";
    let mut holder = world.db.as_owner();
    let mut tx = holder.transaction().expect("a transaction");
    tx.batch_execute("lock table sessions in access exclusive mode").expect("a lock");
    let answer = fleet.as_owner().get(path);
    assert!(answer.took >= Duration::from_millis(1_900), "not for the lock: {:?}", answer.took);
    assert!(answer.took < Duration::from_secs(4), "waited {:?}", answer.took);
    assert!(answer.header("retry-after").is_some());
    answer.expect_problem(503, "try_later");
    assert!(world.as_nobody().get("/health/ready").expect(200).took < Duration::from_secs(1));
    tx.rollback().expect("the lock let go");
    fleet.as_owner().get(path).expect(200);
}

#[test]
fn a_statement_that_takes_too_long_is_ended_and_told_so() {
    let world = World::new();
    let _fleet = world.fleet_with_passwords("amber");
    let mut owner = world.db.as_owner();
    let door: String = owner
        .query_one("select pg_get_functiondef('fleet_of_handle'::regproc)", &[])
        .expect("the door's text")
        .get(0);
    let slow = door.replace(" where handle = named", " where handle = named and pg_sleep(60) is not null");
    assert_ne!(door, slow);
    owner.batch_execute(&slow).expect("a slow door");
    let answer = sign_in(&world.as_nobody(), "amber", "owner", PASSWORD);
    assert!(answer.took >= Duration::from_millis(4_900), "not for the statement: {:?}", answer.took);
    assert!(answer.took < Duration::from_secs(7), "waited {:?}", answer.took);
    assert!(answer.header("retry-after").is_some());
    answer.expect_problem(503, "try_later");
    owner.batch_execute(&door).expect("the door as it was");
    let _ = sign_in(&world.as_nobody(), "amber", "owner", PASSWORD).expect(201);
}

#[test]
fn a_server_that_stops_in_a_transaction_loses_it_and_goes_on_with_another_connection() {
    let world = ProcessWorld::start(&[]);
    let token = world.fleet.token_signed_with(&world.serving.keys(), world.fleet.owner);
    let client = world.as_nobody().with_token(token);
    let mut owner = world.db.as_owner();
    let mut held = owner.transaction().expect("a transaction");
    held.batch_execute("lock table sessions in access exclusive mode").expect("a lock");
    let asked = {
        let client = client.clone();
        std::thread::spawn(move || client.get("/v1/members/self"))
    };
    let mut watch = world.db.as_owner();
    let mut count = |state: &str| -> i64 {
        let sql = "select count(*) from pg_stat_activity where datname = current_database()
                   and usename = 'dropwise_server' and (state = $1 or wait_event_type = $1)";
        watch.query_one(sql, &[&state]).expect("activity").get(0)
    };
    while count("Lock") == 0 {
        std::thread::sleep(Duration::from_millis(5));
    }
    world.serving.signal("STOP");
    held.rollback().expect("the lock let go");
    let stopped = Instant::now();
    while count("idle in transaction") == 0 {
        assert!(stopped.elapsed() < Duration::from_secs(3), "the server was never seen in a transaction");
    }
    while count("idle in transaction") > 0 {
        assert!(stopped.elapsed() < Duration::from_secs(12), "still open after {:?}", stopped.elapsed());
        std::thread::sleep(Duration::from_millis(20));
    }
    assert!(stopped.elapsed() > Duration::from_secs(9), "ended early: {:?}", stopped.elapsed());
    world.serving.signal("CONT");
    let answer = asked.join().expect("an answer");
    assert!([200, 503].contains(&answer.status), "{}", answer.text());
    let _ = client.get("/v1/members/self").expect(200);
}
