//! A client that goes away in the middle never leaves an open transaction behind.

use super::load::CARD;
use dropwise::ids::fresh;
use end_to_end::{World, raw};
use std::io::Write;
use std::time::Duration;

/// The short form; the long one is ten thousand.
const DROPPED: usize = 2_000;

#[test]
fn thousands_of_clients_that_vanish_leave_no_transaction_open() {
    let world = World::new();
    let fleet = world.fleet("amber");
    let token = fleet.token(fleet.owner);
    // A fixed sequence (linear congruence, Knuth's MMIX constants): a failure can be had again.
    let mut state: u64 = 57;
    for n in 0..DROPPED {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        let (what, body) = match n % 4 {
            0 => ("GET /v1/members/self".to_owned(), ""),
            1 => ("GET /v1/cards?kind=place".to_owned(), ""),
            _ => (format!("PUT /v1/cards/{}", fresh()), CARD),
        };
        let request = format!(
            "{what} HTTP/1.1\r\nhost: x\r\nauthorization: Bearer {token}\r\ncontent-type: application/json\r\n\
             content-length: {}\r\n\r\n{body}",
            body.len()
        );
        let mut socket = raw::open(world.server.address);
        socket.write_all(request.as_bytes()).expect("a request");
        std::thread::sleep(Duration::from_micros((state >> 40) % 5_000));
        drop(socket);
    }
    let mut owner = world.db.as_owner();
    // Those under way may end; nothing may stay.
    std::thread::sleep(Duration::from_millis(500));
    let open: i64 = owner
        .query_one(
            "select count(*) from pg_stat_activity where datname = current_database()
                    and usename = 'dropwise_server' and state like 'idle in transaction%'",
            &[],
        )
        .expect("activity")
        .get(0);
    assert_eq!(open, 0, "transactions were left open");
    // What was stored was stored whole, and every connection serves the next one well.
    let row = owner
        .query_one(
            "select count(*), count(*) filter (where not exists
                    (select from trail t where t.fleet_id = c.fleet_id and t.record_id = c.card_id))
                    from cards c where kind = 'place'",
            &[],
        )
        .expect("counts");
    let (stored, half): (i64, i64) = (row.get(0), row.get(1));
    println!("{stored} of {} writes were stored though nobody waited", DROPPED / 2);
    assert!(stored > 50, "the requests never arrived");
    assert_eq!(half, 0);
    for _ in 0..20 {
        fleet.as_owner().get("/v1/members/self").expect(200);
        fleet
            .as_owner()
            .put(&format!("/v1/cards/{}", fresh()), &serde_json::from_str(CARD).expect("JSON"))
            .expect(201);
    }
}
