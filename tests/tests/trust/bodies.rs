//! What is sent is bounded: headers, targets, bodies, their encoding and their depth.

use end_to_end::{World, raw};
use std::time::Duration;

const PATIENCE: Duration = Duration::from_secs(3);

#[test]
fn headers_beyond_all_measure_end_the_connection() {
    let world = World::new();
    let head = format!("GET /health/live HTTP/1.1\r\nhost: x\r\nx-long: {}\r\n\r\n", "a".repeat(1 << 20));
    let heard = raw::talk(world.server.address, head.as_bytes(), PATIENCE);
    assert!(heard.is_empty() || heard.starts_with("HTTP/1.1 4"), "{heard}");
    world.as_nobody().get("/health/live").expect(200);
}

#[test]
fn what_is_not_http_ends_the_connection_and_nothing_else() {
    let world = World::new();
    for bytes in [
        b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03".as_slice(),
        b"GET\r\n\r\n",
        b"GET /health/live HTTP/9.9\r\nhost: x\r\n\r\n",
        b"GET /health/live HTTP/1.1\r\nhost: x\r\ncontent-length: -1\r\n\r\n",
        b"POST /health/live HTTP/1.1\r\nhost: x\r\ncontent-length: 5\r\ntransfer-encoding: chunked\r\n\r\n0\r\n\r\n",
        b"POST /health/live HTTP/1.1\r\nhost: x\r\ncontent-length: 5\r\ncontent-length: 6\r\n\r\nhello",
        b"POST /health/live HTTP/1.1\r\nhost: x\r\ntransfer-encoding: chunked\r\n\r\nZZ\r\n",
        &[0; 4096],
    ] {
        let heard = raw::talk(world.server.address, bytes, Duration::from_millis(700));
        assert!(heard.is_empty() || heard.starts_with("HTTP/1.1 4"), "{bytes:?}: {heard}");
        world.as_nobody().get("/health/live").expect(200);
    }
}
