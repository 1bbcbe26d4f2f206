//! A limit on every wait: slow senders.

use end_to_end::{World, raw};
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
