//! Limits are the same wherever they are told, and hold against what is made to pass them.

use super::lane::{Lane, verdicts};
use crate::invariants::desk::Desk;
use end_to_end::cards::Cards;
use end_to_end::world::ProcessWorld;
use flate2::Compression;
use flate2::write::GzEncoder;
use serde_json::{Value, json};
use std::io::Write;

fn gzip(bytes: &[u8]) -> Vec<u8> {
    let mut writer = GzEncoder::new(Vec::new(), Compression::best());
    writer.write_all(bytes).unwrap();
    writer.finish().unwrap()
}

fn lane(desk: &Desk) -> Lane {
    Lane::enrol(desk.fleet.as_technician(), desk.cards.van)
}

#[test]
fn the_limits_that_are_published_are_those_that_hold_and_every_413_repeats_them() {
    let desk = Desk::new("limits");
    let mut lane = lane(&desk);
    let limits = lane.client.get("/v1/device/limits").expect(200).json();
    assert_eq!(
        limits,
        json!({"handover_entries": 500, "handover_bytes": 1 << 20, "handovers_per_lane_per_min": 60,
               "entry_bytes": 1 << 16, "entry_depth": 16, "body_bytes": 1 << 20, "body_depth": 32,
               "page_rows": 500, "page_bytes": 1 << 20, "file_part_bytes": 8 << 20, "file_bytes": 25 << 20})
    );
    let run = lane.note(501);
    let spaces = vec![b' '; (1 << 20) + 1];
    let name = "n".repeat(1 << 20);
    let desk_body = json!({"kind": "place", "body": {"name": name, "what": "depot"}});
    let refused = [
        (lane.send(&run), "too_many_entries"),
        (lane.send_bytes(&spaces, None), "body_too_large"),
        (lane.send_bytes(&gzip(&spaces), Some("gzip")), "body_too_large"),
        (desk.fleet.as_office().put(&format!("/v1/cards/{}", desk.cards.van), &desk_body), "body_too_large"),
    ];
    for (answer, code) in refused {
        let problem = answer.expect(413).json();
        assert_eq!((&problem["code"], &problem["limits"]), (&json!(code), &limits));
    }
    assert_eq!(verdicts(&lane.hand_over(&run[..500])), ["taken"; 500]);
}

#[test]
fn an_entry_may_be_as_large_and_as_deep_as_is_promised() {
    let desk = Desk::new("to-the-byte");
    let mut lane = lane(&desk);
    // Unknown kinds are kept as they are, so that nothing but size and depth is judged.
    let filled = |mut entry: Value, bytes: usize| {
        entry["kind"] = json!("pad_dream");
        entry["body"] = json!({"x": ""});
        let missing = bytes - entry.to_string().len();
        entry["body"]["x"] = json!("x".repeat(missing));
        assert_eq!(entry.to_string().len(), bytes);
        entry
    };
    let nested = |mut entry: Value, levels: usize| {
        entry["kind"] = json!("pad_dream");
        entry["body"] = (1..levels).fold(json!({}), |inner, _| json!({"x": inner}));
        entry
    };
    let run = lane.note(4);
    let sent = [
        filled(run[0].clone(), 65_536),
        filled(run[1].clone(), 65_537),
        nested(run[2].clone(), 16),
        nested(run[3].clone(), 17),
    ];
    let reply = lane.hand_over(&sent);
    assert_eq!(verdicts(&reply), ["parked", "refused", "parked", "refused"]);
    let code = |i: usize| reply["verdicts"][i]["code"].as_str().unwrap().to_owned();
    assert_eq!((code(1).as_str(), code(3).as_str()), ("entry_too_large", "entry_too_deep"));
}

#[test]
fn a_handover_may_come_packed_once() {
    let desk = Desk::new("packed");
    let mut lane = lane(&desk);
    let run = lane.note(100);
    let plain = lane.body(&run).to_string();
    let packed = gzip(plain.as_bytes());
    println!("{} bytes packed to {}", plain.len(), packed.len());
    lane.send_bytes(&gzip(&packed), Some("gzip")).expect_problem(422, "bad_json");
    lane.send_bytes(&gzip(&packed), Some("gzip, gzip")).expect_problem(415, "encoded_body");
    for other in ["deflate", "br", "zstd", "compress", "x-ours"] {
        lane.send_bytes(&packed, Some(other)).expect_problem(415, "encoded_body");
    }
    let reply = lane.send_bytes(&packed, Some("gzip")).expect(200).json();
    assert_eq!(verdicts(&reply), ["taken"; 100]);
    assert_eq!(lane.hand_over(&run)["verdicts"], reply["verdicts"], "plain or packed, the same");
}

#[test]
fn what_is_no_json_is_said_to_be_none_and_stores_nothing() {
    let desk = Desk::new("no-json");
    let mut lane = lane(&desk);
    let run = lane.note(2);
    let before = desk.books();
    let body = lane.body(&run).to_string();
    for spoilt in ["NaN", "Infinity", "-Infinity", "01", "'2.5'", "\"2.5", "undefined"] {
        let body = body.replacen("\"2.5\"", spoilt, 1);
        lane.send_bytes(body.as_bytes(), None).expect_problem(422, "bad_json");
    }
    let twice = body.replacen('{', &format!("{{\"lane_id\":\"{}\",", lane.id), 1);
    lane.send_bytes(twice.as_bytes(), None).expect_problem(422, "bad_field");
    assert_eq!(desk.books(), before);
    assert_eq!(verdicts(&lane.hand_over(&run)), ["taken"; 2]);
}

#[test]
fn bombs_and_towers_leave_the_servers_memory_as_it_was() {
    let world = ProcessWorld::start(&[]);
    let client = world.as_nobody();
    let ask = |person| client.with_token(world.fleet.token_signed_with(&world.serving.keys(), person));
    let cards = Cards::create(&ask(world.fleet.office));
    let lane = Lane::enrol(ask(world.fleet.technician), cards.van);
    let _ = lane.hand_over(&[]);
    let bomb = gzip(&vec![0; 100 << 20]);
    let tower =
        gzip(format!("{{\"lane_id\":\"{}\",\"entries\":[{}", lane.id, "[".repeat(1_000_000)).as_bytes());
    let before = world.serving.resident_mib();
    for _ in 0..20 {
        lane.send_bytes(&bomb, Some("gzip")).expect_problem(413, "body_too_large");
        lane.send_bytes(&tower, Some("gzip")).expect_problem(422, "bad_json");
    }
    let grown = world.serving.resident_mib() - before;
    println!("{} bytes, twenty times inflating to 100 MiB: {grown:.1} MiB more resident", bomb.len());
    assert!(grown < 20.0, "{grown} MiB");
    let _ = lane.hand_over(&[]);
}
