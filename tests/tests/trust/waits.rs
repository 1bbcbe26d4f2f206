//! A limit on every wait: slow senders, held locks.

use end_to_end::{World, raw};
use std::io::Write;
use std::time::Duration;

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
        assert!(after <= Duration::from_secs(13), "held for {after:?}");
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
        assert!(after <= Duration::from_secs(33), "held for {after:?}");
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
    assert!(answer.took < Duration::from_secs(6), "waited {:?}", answer.took);
    assert!(answer.header("retry-after").is_some());
    answer.expect_problem(503, "try_later");
    assert!(world.as_nobody().get("/health/ready").expect(200).took < Duration::from_secs(1));
    tx.rollback().expect("the lock let go");
    fleet.as_owner().get(path).expect(200);
}
