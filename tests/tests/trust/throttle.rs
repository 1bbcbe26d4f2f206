//! Guessing is slow, per member and per address, known or not (the part of T04 kept in the process).

use dropwise::config::ThrottleConfig;
use dropwise::server::Parts;
use end_to_end::server::parts;
use end_to_end::sign_in::{PASSWORD, sign_in};
use end_to_end::{Answer, Client, TestServer, World};
use std::num::NonZeroU32;

fn guarded(world: &World, per_source_per_min: u32, per_member_per_hour: u32) -> TestServer {
    let throttle = ThrottleConfig {
        per_source_per_min: NonZeroU32::new(per_source_per_min).expect("some"),
        per_member_per_hour: NonZeroU32::new(per_member_per_hour).expect("some"),
        trusted_proxies: 0,
    };
    TestServer::start_parts(Parts { throttle, ..parts(&world.db.server_url(), &world.clock, 1) })
}

fn wait_s(answer: &Answer) -> u64 {
    answer.header("retry-after").and_then(|text| text.parse().ok()).expect("when to come back")
}

#[test]
fn guesses_at_one_member_run_out_and_the_next_member_still_gets_in() {
    let world = World::new();
    let _fleet = world.fleet_with_passwords("harbour");
    let server = guarded(&world, 1_000, 4);
    let client = Client::new(server.address);
    for (fleet, member) in [("harbour", "owner"), ("harbour", "nobody"), ("nowhere", "owner")] {
        for _ in 0..4 {
            sign_in(&client, fleet, member, "six brown herons flying").expect_problem(401, "sign_in_refused");
        }
        // Spelled otherwise it is the same member.
        let spelled = format!(" {}", member.to_uppercase());
        let refused = sign_in(&client, fleet, &spelled, PASSWORD);
        assert!((1..=901).contains(&wait_s(&refused)), "a quarter of an hour: {}", wait_s(&refused));
        refused.expect_problem(429, "too_many_requests");
    }
    let _ = sign_in(&client, "harbour", "office", PASSWORD).expect(201);
}

#[test]
fn tries_from_one_address_run_out_whatever_header_is_sent() {
    let world = World::new();
    let server = guarded(&world, 5, 1_000);
    let client = Client::new(server.address);
    let body = serde_json::json!({"fleet": "nowhere", "member": "owner", "password": PASSWORD});
    let statuses: Vec<u16> = (0..7)
        .map(|i| {
            let forged = format!("192.0.2.{i}");
            client.send_json("POST", "/v1/sessions", &[("x-forwarded-for", &forged)], &body).status
        })
        .collect();
    assert_eq!(statuses, [401, 401, 401, 401, 401, 429, 429]);
    let refresh = serde_json::json!({"refresh_token": "x"});
    assert!(wait_s(&client.post("/v1/sessions/refresh", &refresh)) <= 13);
    let _ = client.get("/health/live").expect(200);
}
